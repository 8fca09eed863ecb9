"""Two bows side by side: which weighings are compared, and what the other builds say of their difference."""

from typing import Any

import numpy as np
import pytest
from scipy.stats import chi2

from datasets.contents import Contents
from datasets.schema import KINDS
from predictor.prediction.between import WIDTHS
from tests import shop
from tests.reports.fitted import sources
from training.learning.train import train
from training.studies.two_bows import Difference, difference, sides

HASH = "0" * 64
LAYERS = [
    {"part": part, "material": material, "lot": "a1", "butt_in": thickness}
    for part, material, thickness in (
        ("glass", "limb glass", ".050"),
        ("core", "hard maple", ".240"),
        ("glass", "limb glass", ".050"),
    )
]
NARROW = [{"at": "fade", "belly_in": "1 3/16"}, {"at": "nock", "belly_in": "7/16"}]


def weighed(event: str, *readings: tuple[str, float], **changes: Any) -> shop.Typed:
    """Return a weighing of the build that the event's id names."""
    pairs = [{"draw": draw, "weight": lbf} for draw, lbf in readings]
    return shop.weigh_in(id=event, build=event.split("/")[0], readings=pairs, scale="hook", **changes)


def book(*events: shop.Typed, **changes_of_second: Any) -> Contents:
    """Return a book of three like bows; the second may be changed."""
    typed = [
        shop.form(),
        shop.build(id="K-001", layers=LAYERS),
        shop.build(id="K-002", layers=LAYERS, **changes_of_second),
        shop.build(id="K-003", layers=LAYERS),
        *events,
    ]
    return Contents.of(KINDS[kind].model_validate(data) for kind, data in typed)


def compared(contents: Contents, first: str = "K-001", second: str = "K-002") -> Difference:
    """Return the difference of two bows of a book, which taught the model as far as it was weighed."""
    trained = train(contents, HASH, 1) if contents.events else None
    found = difference(contents, sides(contents, first, second), trained)
    assert isinstance(found, Difference), found
    return found


def test_latest_stage_that_both_have_is_compared() -> None:
    """The last weighings of the latest stage that both were weighed at count, at the draw nearest 28 in of both."""
    contents = book(
        weighed("K-001/1", ("26", 40.0), ("27", 42.5), ("28", 45.0)),
        weighed("K-001/2", ("28", 43.0), stage="finished", on="2026-04-01"),
        weighed("K-002/1", ("26", 39.0), ("27", 41.0)),
    )
    one, other = sides(contents, "K-001", "K-002")

    assert (one.weigh_in and one.weigh_in.id, other.weigh_in and other.weigh_in.id) == ("K-001/1", "K-002/1")
    assert (one.read_lbf, other.read_lbf) == (42.5, 41.0)


def test_without_a_common_stage_or_draw_the_last_weighings_count() -> None:
    """Bows weighed at other stages and draws are compared as last weighed, each at its draw nearest to 28 in."""
    contents = book(
        weighed("K-001/1", ("26", 40.0), ("28", 45.0)),
        weighed("K-002/1", ("27", 41.0), stage="finished"),
    )

    assert [side.read_lbf for side in sides(contents, "K-001", "K-002")] == [45.0, 41.0]


def test_bow_that_was_never_weighed_takes_the_others_draw() -> None:
    """A bow without a weighing is compared at the other's draw, and there is no measured difference."""
    contents = book(weighed("K-001/1", ("27", 42.0)), widths=NARROW)
    found = compared(contents)

    assert sides(contents, "K-001", "K-002")[1].stood.draw_in == pytest.approx(27)
    assert found.read is None
    assert found.statics[WIDTHS] > 0


@pytest.mark.parametrize("name", ["K-009", "nonsense"])
def test_what_is_no_build(name: str) -> None:
    """A build that the book lacks is refused with its name."""
    with pytest.raises(LookupError, match=f"wanted a build of the book, got {name}"):
        sides(book(), "K-001", name)


READ = (
    weighed("K-001/1", ("28", 45.0)),
    weighed("K-002/1", ("28", 43.0)),
    weighed("K-003/1", ("28", 44.5), stage="finished"),
)


def test_parts_add_up_to_what_is_expected() -> None:
    """Statics and effects add up to the mean of the expected difference, without training and with.

    To 1e-7, for the two bows are solved anew on the way, in another batch.
    """
    for contents in (book(widths=NARROW), book(*READ, widths=NARROW)):
        found = compared(contents)
        assert found.told == pytest.approx(found.expected.mean[0], abs=1e-7)


def test_bows_change_places() -> None:
    """With the bows the other way round every part, the reading and the median change sign, and pounds stay."""
    contents = book(*READ, widths=NARROW)
    there, back = compared(contents), compared(contents, "K-002", "K-001")

    assert there.read == pytest.approx(-back.read)  # type: ignore[operator]  # both were read
    assert there.lbf_per_log == pytest.approx(back.lbf_per_log)
    for kind, part in there.statics.items():
        assert part == pytest.approx(-back.statics[kind], abs=1e-12)
    for effect, part in there.effects.items():
        assert part == pytest.approx(-back.effects[effect], abs=1e-12)
    assert there.expected.sd == pytest.approx(back.expected.sd)


def test_pounds_are_those_of_the_readings() -> None:
    """The logarithm of the readings' ratio times the factor is the difference read."""
    found = compared(book(*READ))

    assert found.read is not None
    assert found.read * found.lbf_per_log == pytest.approx(2.0)


def test_the_two_bows_do_not_teach_their_own_difference() -> None:
    """What is expected of a difference does not depend on what the two bows read."""
    as_read = compared(book(*READ))
    otherwise = compared(book(weighed("K-001/1", ("28", 55.0)), *READ[1:]))

    assert otherwise.expected.mean == pytest.approx(as_read.expected.mean, abs=1e-9)
    assert np.log(55 / 45) == pytest.approx(otherwise.read - as_read.read)  # type: ignore[operator]  # both were read


@pytest.mark.slow
def test_differences_stray_as_far_as_they_say() -> None:
    """In an invented shop the twelve pairs of bows next to each other stray by one sd, give or take luck.

    The sum of their squared scores lies where a chi-squared of twelve degrees of freedom lies 998 times in 1000.
    """
    known = sources(24)
    names = list(known.contents.builds)
    scores = []
    for first, second in zip(names[::2], names[1::2], strict=True):
        found = difference(known.contents, sides(known.contents, first, second), known.trained)
        assert isinstance(found, Difference), found
        assert found.read is not None
        scores.append(float(found.expected.normal_score(np.array([found.read]))[0]))

    low, high = chi2.ppf([0.001, 0.999], len(scores))
    assert low < np.sum(np.square(scores)) < high
