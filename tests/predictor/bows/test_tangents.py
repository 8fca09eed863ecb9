"""Derivatives from one Newton step: against bows that are strung and drawn anew."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from predictor.bows.tangents import Neighbours, forces, half_strings
from predictor.mechanics.batch import Array
from predictor.mechanics.statics import Status, brace, draw
from tests.predictor.mechanics import test_contact as recurve
from tests.predictor.mechanics.test_statics import BRACE, REFLEXED, STIFFNESS, bow

STEP = 1e-6
DIFFERENCE = 1e-4
"""Step of the central differences of solved bows."""

BOWS = {
    "tapered": (Neighbours(bow(STIFFNESS["D"]), np.array([BRACE]), np.array([60.0])), (0.4, 0.7, 1.0)),
    "reflexed": (Neighbours(REFLEXED, np.array([BRACE]), np.array([60.0])), (0.4, 0.7, 1.0)),
    **{
        name: (
            Neighbours(
                recurve.limb(recurve.SHAPES[name], 80), np.array([recurve.HEIGHT]), np.array([recurve.STRING])
            ),
            (9.5, 18.0, 28.0),
        )
        for name in ("whole tip", "mild")
    },
}
"""Bows, two of them with the string on the limb at some draws, and draws."""


def longer(one: Neighbours, by: float) -> Neighbours:
    """Return a bow whose limbs are longer, each step by the same share."""
    return replace(one, limb=replace(one.limb, step=one.limb.step * (1 + by)))


def stiffer_outside(one: Neighbours, by: float) -> Neighbours:
    """Return a bow whose limbs are stiffer over the outer third."""
    flexibility = one.limb.flexibility.copy()
    flexibility[:, : flexibility.shape[1] // 3] *= 1 - by
    return replace(one, limb=replace(one.limb, flexibility=flexibility))


def with_part(name: str) -> Callable[[Neighbours, float], Neighbours]:
    """Return what makes one number of a limb larger."""

    def larger(one: Neighbours, by: float) -> Neighbours:
        return replace(one, limb=replace(one.limb, **{name: getattr(one.limb, name) + by}))

    return larger


CHANGES: dict[str, Callable[[Neighbours, float], Neighbours]] = {
    "longer": longer,
    "stiffer outside": stiffer_outside,
    **{name: with_part(name) for name in ("unstrung_curvature", "nock_offset", "root_depth", "root_angle")},
    "brace": lambda one, by: replace(one, height=one.height + by),
    "string": lambda one, by: replace(one, string_stiffness=one.string_stiffness * (1 + by)),
}


def solved_anew(one: Neighbours, draws: tuple[float, ...]) -> Array:
    """Return the weights by the full solution."""
    drawn = draw(one.limb, brace(one.limb, one.height, one.string_stiffness), draws)
    assert np.all(drawn.status == Status.OK)
    return drawn.force[0]


def by_tangents(one: Neighbours, near: Neighbours, draws: tuple[float, ...]) -> Array:
    """Return the weights of a bow near a solved one."""
    braced = brace(one.limb, one.height, one.string_stiffness)
    drawn = draw(one.limb, braced, draws)
    half = half_strings(near, braced.hold)
    columns = enumerate(draws)
    return np.array([forces(near, half, drawn.hold(c), np.array([to]))[0] for c, to in columns])


@pytest.mark.parametrize("change", CHANGES)
@pytest.mark.parametrize("name", BOWS)
def test_changes_agree_with_bows_solved_anew(name: str, change: str) -> None:
    """What a small change does to the weight is what central differences of solved bows say, to 1e-4 of it."""
    one, draws = BOWS[name]
    changed = CHANGES[change]
    less, more = (solved_anew(changed(one, sign * DIFFERENCE), draws) for sign in (-1, 1))

    found = (by_tangents(one, changed(one, STEP), draws) - by_tangents(one, one, draws)) / STEP

    np.testing.assert_allclose(found, (more - less) / (2 * DIFFERENCE), rtol=1e-4)


@pytest.mark.parametrize("name", BOWS)
def test_what_is_left_out_is_of_second_order(name: str) -> None:
    """Of bows a hundredth and a thousandth longer, the error of the second is under a fiftieth of the first's."""
    one, draws = BOWS[name]
    errors = [
        np.abs(by_tangents(one, longer(one, by), draws) - solved_anew(longer(one, by), draws))
        for by in (1e-2, 1e-3)
    ]

    assert np.all(errors[1] < errors[0] / 50)


def test_of_a_bow_that_is_refused_nothing_is_said() -> None:
    """Where the solved bow has no numbers its neighbours have none."""
    one = Neighbours(bow(), np.array([BRACE]), np.array([np.inf]))

    assert np.isnan(by_tangents(one, longer(one, STEP), (2.6,))).all()
