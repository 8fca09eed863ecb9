"""What can be promised: tolerances that predictions and past errors bear out, and how orders fared."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from datasets.contents import Contents
from datasets.schema import KINDS
from predictor.belief.mixture import NormalMixture
from tests import shop
from training.studies.promises import (
    delivered,
    judged_sd,
    share_within,
    tolerance_by_rank,
    tolerance_for,
)
from training.studies.reading_error import ReadingError


def predicted(median_lbf: float, *log_sds: float) -> NormalMixture:
    """Return bows of one median with a plain normal each."""
    sds = np.array([log_sds])
    return NormalMixture(np.ones_like(sds), np.full_like(sds, np.log(median_lbf)), sds)


def test_one_narrow_bow_has_the_normal_quantile() -> None:
    """For one bow of small sd s the tolerance of 90 % is 1.645 s of its weight, to second order in s."""
    assert tolerance_for(predicted(50, 0.01), 0.9) == pytest.approx(1.6449 * 0.5, rel=1e-3)


def test_tolerance_is_kept_by_simulation() -> None:
    """Of bows drawn from unlike predictions the share promised lies within the tolerance, to 0.5 %."""
    bows = predicted(50, 0.01, 0.03, 0.05)
    rng = np.random.default_rng(5)
    drawn = np.exp(np.log(50) + bows.sds * rng.standard_normal((100_000, 3)))
    for share in (0.9, 0.95, 0.99):
        assert np.mean(np.abs(drawn - 50) <= tolerance_for(bows, share)) == pytest.approx(share, abs=0.005)


@settings(max_examples=30)
@given(st.lists(st.floats(0.005, 0.1), min_size=1, max_size=5), st.floats(0.5, 0.99), st.floats(1.01, 3))
def test_tolerance_is_the_inverse_of_the_share_and_widens(
    sds: list[float], share: float, factor: float
) -> None:
    """The share within the tolerance for a share is that share; wider predictions need a wider tolerance."""
    bows, wider = predicted(50, *sds), predicted(50, *(factor * sd for sd in sds))

    assert share_within(bows, tolerance_for(bows, share)) == pytest.approx(share, abs=1e-9)
    assert tolerance_for(wider, share) > tolerance_for(bows, share)


def test_ranks_are_those_of_exact_arithmetic() -> None:
    """Nine errors bear out 90 % by the largest of them and nothing higher; eight bear out no 90 %.

    The smallest numbers of cases for 90 and 95 % are 9 and 19: k = ceil((n + 1) level) at most n.
    """
    errors = [-1.0, 2.0, -3.0, 4.0, -5.0, 6.0, -7.0, 8.0, -9.0]

    assert tolerance_by_rank(errors, 0.9) == 9.0
    assert tolerance_by_rank(errors[1:], 0.9) is None
    assert tolerance_by_rank(errors, 0.95) is None
    assert tolerance_by_rank([*errors, *errors, 10.0], 0.95) == 10.0


def book(*orders: shop.Typed, **weighing: Any) -> Contents:
    """Return a book with one bow, one weighing of it at 26, 27 and 28 in, and orders."""
    typed = [shop.form(), shop.build(id="K-001"), shop.weigh_in(id="K-001/1", **weighing), *orders]
    return Contents.of(KINDS[kind].model_validate(data) for kind, data in typed)


def promised(number: int = 1, **changes: Any) -> shop.Typed:
    """Return a delivered order."""
    return shop.order(id=f"ORDER-{number:03d}", delivered="K-001/1", **changes)


@pytest.mark.parametrize(
    ("changes", "read", "met"),
    [
        ({"weight": "45.5", "draw": "28"}, 45.0, True),
        ({"weight": "46.5", "draw": "28"}, 45.0, False),
        ({"weight": "46.5", "draw": "28", "tolerance_lbf": 2}, 45.0, True),
        ({"weight": "44", "draw": "27 1/2"}, 43.75, True),
        ({"weight": "44", "draw": "26 1/4 pivot"}, 45.0, True),
        ({"weight": "40", "draw": "25"}, None, None),
        ({"weight": "48", "draw": "29"}, None, None),
    ],
)
def test_orders_are_judged_at_their_draw(
    changes: dict[str, Any], read: float | None, met: bool | None
) -> None:
    """A delivered bow is judged at the order's draw, between its readings and not beyond, within its tolerance.

    Without one of its own the order has the shop's, which is 1 lb unless set.
    """
    (kept,) = delivered(book(promised(**changes)))

    assert kept.read_lbf == (None if read is None else pytest.approx(read))
    assert kept.met is met


def test_open_orders_do_not_count() -> None:
    """An order that was not delivered is not among those kept or missed."""
    assert delivered(book(shop.order(id="ORDER-001"))) == ()


def test_uncertainty_of_a_judgement() -> None:
    """Scale, reading and draw add up in squares; on the scale that weighed the bow its bias does not count."""
    elsewhere, same = delivered(book(promised(1, scale="customer"), promised(2, scale="hook"), scale="hook"))
    sds = {"hook": 0.006}

    reading, draw, usual = 0.15, 0.06 * 2.5, ReadingError(None)
    assert judged_sd(same, sds, 0.01, usual) == pytest.approx(np.hypot(reading, draw))
    assert judged_sd(elsewhere, sds, 0.01, usual) == pytest.approx(
        np.sqrt((0.006 * 45) ** 2 + reading**2 + draw**2)
    )
    assert judged_sd(elsewhere, {}, 0.01, usual) > judged_sd(elsewhere, sds, 0.01, usual)
