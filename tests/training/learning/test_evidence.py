"""What a fit learns from: every weighing that may teach, laid out as columns."""

import numpy as np
import pytest

from datasets.contents import Contents
from datasets.materials import handbook
from datasets.schema import WeighIn
from predictor.belief.scatter import BUILD_COLUMNS, GROUPS
from tests.predictor.example_bows import STRAIGHT, build
from training.learning.evidence import Evidence, evidence, evidence_side_by_side, readings


def weigh_in(number: int, **changes: object) -> WeighIn:
    """Return a weighing of the plain bow at two draws, with some fields changed."""
    plain = {
        "id": f"K-001/{number}",
        "build": "K-001",
        "on": f"2026-03-{number:02d}",
        "stage": "tillered",
        "readings": [{"draw": "27", "weight": "48"}, {"draw": "28", "weight": "51"}],
        "scale": "hanging",
    }
    return WeighIn.model_validate({**plain, **changes})


@pytest.fixture(scope="module")
def found() -> Evidence:
    """Evidence of one bow weighed when tillered and when shot in, and of one that may not teach."""
    settled = weigh_in(2, stage="settled", shots=500, readings=[{"draw": "28", "weight": "49.5"}])
    spoilt = build(id="K-002", teaches=False, why_not="glued upside down")
    return evidence(Contents.of([STRAIGHT, build(), spoilt, weigh_in(1), settled]))


def test_what_is_left_out_says_why(found: Evidence) -> None:
    """A build that may not teach is named with its reason."""
    assert [(left.record, left.reason) for left in found.left_out] == [("K-002", "glued upside down")]
    assert found.builds == ("K-001",)


def test_a_reading_after_few_full_draws_does_not_teach(found: Evidence) -> None:
    """It is left out with its reason, and what else the bow taught stays as it is."""
    events = [
        weigh_in(1),
        weigh_in(2, stage="settled", shots=500, readings=[{"draw": "28", "weight": "49.5"}]),
    ]
    early = weigh_in(3, pulls=3, stage="settled", readings=[{"draw": "28", "weight": "53"}])
    told = evidence(Contents.of([STRAIGHT, build(), *events, early]))

    assert [(left.record, left.reason) for left in told.left_out] == [
        ("K-001/3", "read after 3 full draws: does not count before about 30")
    ]
    assert [one.weigh_in for one in told.weighings] == [one.weigh_in for one in found.weighings]


def test_moduli_share_the_weight(found: Evidence) -> None:
    """The sensitivities to all moduli add up to one, less what glue and string carry."""
    for weighing in found.weighings:
        moduli = [c for name, c in weighing.columns.common.items() if name.startswith("stiffness of ")]

        assert np.all((np.sum(moduli, axis=0) > 0.98) & (np.sum(moduli, axis=0) <= 1.001))


def test_the_losses_show_where_they_have_happened(found: Evidence) -> None:
    """Finish sanding and shooting in count nothing before they happen, and wholly after 500 shots."""
    tillered, settled = (weighing.columns for weighing in found.weighings)

    assert np.all(tillered.common["finish sanding"] == 0)
    assert np.all(tillered.common["shooting in"] == 0)
    assert np.all(settled.common["finish sanding"] == 1)
    assert settled.common["shooting in"] == pytest.approx(1.0)


def test_layout(found: Evidence) -> None:
    """Readings of one build stand together, and carry every group and effect of a build that the fit knows."""
    laid_out = readings(found.weighings)

    assert laid_out.values.shape == (3,)
    assert laid_out.build.tolist() == [0, 0, 0]
    assert tuple(group.name for group in laid_out.groups) == GROUPS
    assert tuple(column.name for column in laid_out.build_columns) == BUILD_COLUMNS
    assert laid_out.values == pytest.approx(
        np.log([48, 51, 49.5]) - np.concatenate([w.columns.offset for w in found.weighings])
    )


def test_weighings_share_their_dimensions_but_not_their_weather(found: Evidence) -> None:
    """An error in a lam's thickness moves all weighings of a bow alike; the weather moves one."""
    tolerances = readings(found.weighings).tolerances
    shared = [column for column in tolerances.T if np.all(column != 0)]
    own = [column for column in tolerances.T if np.any(column == 0) and np.any(column != 0)]

    assert len(shared) > 10
    assert len(own) == 2
    assert sorted(np.flatnonzero(column).tolist() for column in own) == [[0, 1], [2]]


def test_reading_error_is_in_pounds(found: Evidence) -> None:
    """A reading's relative error is the scale's and the draw's, .15 lb and .06 in of slope, over the weight."""
    (columns, *_) = (weighing.columns for weighing in found.weighings)
    weight = np.exp(columns.offset)
    slope = weight[1] - weight[0]

    assert columns.sd == pytest.approx(np.hypot(0.15, 0.06 * slope) / weight, rel=0.03)


def test_books_side_by_side_are_as_each_alone() -> None:
    """Each of several books keeps its own weighings, left-out records and materials; the sums agree to 1e-9."""
    glass = handbook()["limb glass"]
    stiffer = glass.model_copy(update={"modulus_psi": 1.1 * glass.modulus_psi})
    spoilt = build(id="K-002", teaches=False, why_not="glued upside down")
    light = weigh_in(3, readings=[{"draw": "28", "weight": "41"}])
    below = weigh_in(4, readings=[{"draw": "8", "weight": "48"}])
    books = [
        Contents.of([STRAIGHT, build(), weigh_in(1), spoilt]),
        Contents.of([STRAIGHT, build(), weigh_in(1), stiffer]),
        Contents.of([STRAIGHT]),
        Contents.of([STRAIGHT, build(), light, below]),
    ]
    alone = [evidence(book) for book in books]
    together = evidence_side_by_side(books)
    assert [found.left_out for found in together] == [found.left_out for found in alone]
    assert [len(found.weighings) for found in together] == [1, 1, 0, 1]
    for ours, theirs in zip(together, alone, strict=True):
        for one, other in zip(ours.weighings, theirs.weighings, strict=True):
            assert (one.weigh_in, one.columns.offset.shape) == (other.weigh_in, other.columns.offset.shape)
            assert one.columns.offset == pytest.approx(other.columns.offset, abs=1e-9)
            assert one.log_weight.tolist() == other.log_weight.tolist()
    plain, stiff, *_ = together
    assert np.all(stiff.weighings[0].columns.offset > plain.weighings[0].columns.offset + 0.05)
