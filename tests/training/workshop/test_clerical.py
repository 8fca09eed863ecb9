"""Slips of the pen."""

import numpy as np
import pytest
from scipy import stats

from datasets.schema import KINDS
from training.workshop.clerical import ONE_IN, SLIPS, with_mistakes
from training.workshop.virtual_shop import simulate


@pytest.fixture(scope="module")
def records():
    """Return the records of a shop without slips."""
    return list(simulate(seed=21, builds=30).typed)


def test_one_in_twenty(records):
    """Over 200 writings of the same records the share of slips is one in twenty of builds and weigh-ins."""
    able = sum(record.kind in SLIPS for record in records)
    slips = sum(len(with_mistakes(np.random.default_rng(seed), records)[1]) for seed in range(200))
    low, high = stats.binom.ppf([5e-5, 1 - 5e-5], 200 * able, 1 / ONE_IN)
    assert low <= slips <= high


def test_every_kind_occurs_and_can_be_read(records):
    """Every kind of slip occurs, gives a record that the book can read, and changes that record."""
    seen = set()
    right = {record.data["id"]: record.data for record in records if record.kind in SLIPS}
    for seed in range(60):
        written, slips = with_mistakes(np.random.default_rng(seed), records)
        by_id = {record.data["id"]: record for record in written if record.kind in SLIPS}
        for slip in slips:
            record = by_id[slip.record]
            KINDS[record.kind].model_validate(record.data)
            assert record.data != right[slip.record]
            assert slip.right != slip.written
            seen.add(slip.kind)
    assert seen == {kind for kinds in SLIPS.values() for kind in kinds}


def test_right_records_stay_right(records):
    """Writing slips leaves the records that were given as they were."""
    before = [repr(record) for record in records]
    with_mistakes(np.random.default_rng(1), records)
    assert [repr(record) for record in records] == before
