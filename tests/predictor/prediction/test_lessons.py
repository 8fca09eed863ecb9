"""What readings to come would teach: arithmetic by hand, and laws."""

from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from datasets.materials import handbook
from datasets.record import DrawLength, ZeroPoint
from datasets.schema import Stage
from predictor.belief import posterior
from predictor.belief.columns import STIFFNESS, Columns, columns
from predictor.belief.model import prior_belief
from predictor.belief.scatter import PRIOR_SCATTER
from predictor.belief.seen import seen_by
from predictor.belief.weighings import draws_from_back, moment_at
from predictor.bows.features import Case, Features, features
from predictor.prediction.lessons import Lesson, after_all, after_each, doubt, half_widths, weighing
from tests.predictor.example_bows import STRAIGHT, build

DRAW = DrawLength(inch=28, zero=ZeroPoint.STANDARD)
Z90 = 1.6448536269514722


def bow(**changes: Any) -> Columns:
    """Return the columns of a bow's weight at 28 in."""
    made = build(**changes)
    (found,) = features([Case(STRAIGHT, made, (), draws_from_back(STRAIGHT, [DRAW]))], handbook())
    assert isinstance(found, Features)
    return columns(found, moment_at(STRAIGHT, made, [DRAW], Stage.TILLERED), handbook(), PRIOR_SCATTER)


def own_variance(told: Columns) -> float:
    """Return the variance of a bow's reading that no shared effect explains, before training."""
    belief = prior_belief()
    alone = Columns(**{**vars(told), "common": {}, "groups": {}})
    return float(posterior.predict(belief, seen_by(belief, alone).rows).marginal().sd[0] ** 2)


def test_half_width_is_that_of_the_prediction() -> None:
    """Before any lesson the half width is 1.645 standard deviations of the prediction."""
    told, belief = bow(), prior_belief()
    sd = posterior.predict(belief, seen_by(belief, told).rows).marginal().sd

    assert half_widths(doubt(belief, [told]), [told]) == pytest.approx(Z90 * sd, rel=1e-10)


def test_weighing_a_like_bow_by_hand() -> None:
    """For a like bow the shared variance s and the own variance v leave s v / (s + v) + v after one weighing."""
    told, belief = bow(), prior_belief()
    own = own_variance(told)
    left = doubt(belief, [told])
    shared = float((half_widths(left, [told])[0] / Z90) ** 2) - own
    after = after_each(left, [told], [weighing("another", told)])

    assert (after[0, 0] / Z90) ** 2 == pytest.approx(shared * own / (shared + own) + own, rel=1e-9)


def test_many_like_bows_leave_their_own_scatter() -> None:
    """After ever more like bows only what each bow has of its own is left, to 1 %."""
    told = bow()
    left = doubt(prior_belief(), [told])
    widths = [
        half_widths(after_all(left, [weighing("one", told)] * n), [told])[0] for n in (1, 4, 16, 64, 256)
    ]

    assert all(more < less for less, more in pairwise(widths))
    assert widths[-1] == pytest.approx(Z90 * np.sqrt(own_variance(told)), rel=0.01)


def test_one_lesson_is_the_same_by_both_ways() -> None:
    """A lesson by itself and the same one among all give one answer."""
    bows = [bow(), bow(length_in="66")]
    left = doubt(prior_belief(), bows)
    lesson = weighing("first", bows[0])

    assert after_each(left, bows, [lesson])[0] == pytest.approx(half_widths(after_all(left, [lesson]), bows))


def test_order_of_lessons_does_not_matter() -> None:
    """Lessons one after another are the same lessons together, in whichever order."""
    bows = [bow(), bow(length_in="66")]
    left = doubt(prior_belief(), bows)
    first, second = (weighing("", told) for told in bows)
    together = half_widths(after_all(left, [first, second]), bows)

    for one, other in ((first, second), (second, first)):
        assert half_widths(after_all(after_all(left, [one]), [other]), bows) == pytest.approx(together)


def test_exact_strip_leaves_nothing_of_the_modulus() -> None:
    """A strip without error takes the whole variance of the lot's modulus: its column squared times the priors'."""
    told = bow()
    name = f"{STIFFNESS}hard maple"
    left = doubt(prior_belief(), [told])
    after = after_each(left, [told], [Lesson("strip", {name: 1.0}, sd=1e-9)])
    taken = (float(told.common[name][0]) * told.priors[name].sd) ** 2

    saved = (half_widths(left, [told])[0] / Z90) ** 2 - (after[0, 0] / Z90) ** 2
    assert saved == pytest.approx(taken, rel=1e-6)


BOWS: list[Columns] = []


def usual() -> list[Columns]:
    """Return three unlike bows."""
    if not BOWS:
        BOWS.extend([bow(), bow(length_in="66"), bow(planned=True)])
    return BOWS


@given(st.integers(0, 2), st.floats(0.001, 0.1), st.floats(1.1, 5))
def test_no_lesson_widens_and_a_finer_one_teaches_more(place: int, sd: float, factor: float) -> None:
    """After any lesson no interval is wider; the same lesson with a larger error teaches less."""
    bows = usual()
    left = doubt(prior_belief(), bows)
    effects = weighing("", bows[place]).effects
    fine, coarse = after_each(
        left, bows, [Lesson("fine", effects, sd), Lesson("coarse", effects, factor * sd)]
    )
    now = half_widths(left, bows)

    assert np.all(fine <= coarse * (1 + 1e-12))
    assert np.all(coarse <= now * (1 + 1e-12))
