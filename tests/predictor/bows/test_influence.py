"""Where stiffness makes the weight: the one-solve density against differences of solved bows, sums, limits."""

from dataclasses import dataclass, replace

import numpy as np
import pytest
from numpy.typing import NDArray

from predictor.bows.influence import influence
from predictor.mechanics.elastica import LimbGrid
from predictor.mechanics.statics import Braced, brace, draw
from tests.predictor.mechanics import test_contact as recurve
from tests.predictor.mechanics.test_statics import BRACE, REFLEXED, STIFFNESS, bow

DRAWS = [0.4, 0.7, 1.0]


def integral(limb: LimbGrid, density: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the integral along each limb of a density at the nodes of its steps, shape (n, d, m, 3) to (n, d)."""
    weights = limb.step[:, None, :, None] / 6 * np.array([1.0, 4.0, 1.0])
    return np.asarray((weights * density).sum(axis=(-2, -1)))


@dataclass(frozen=True)
class Bow:
    """A bow to be strung and drawn."""

    limb: LimbGrid
    string: float = np.inf
    height: float = BRACE
    draws: tuple[float, ...] = tuple(DRAWS)

    def braced(self) -> Braced:
        """String it."""
        return brace(self.limb, self.height, self.string)

    def log_weights(self) -> NDArray[np.float64]:
        """Return logarithms of the solved weights at the draws."""
        return np.log(draw(self.limb, self.braced(), self.draws).force)


def in_contact(name: str) -> Bow:
    """Return a recurve whose string lies on the limb at brace."""
    return Bow(recurve.limb(recurve.SHAPES[name]), recurve.STRING, recurve.HEIGHT, (9.5, 18.0, 28.0))


BOWS = {
    "even": Bow(bow()),
    "tapered": Bow(bow(STIFFNESS["D"])),
    "reflexed": Bow(REFLEXED),
    "reflexed, string that stretches": Bow(REFLEXED, 60.0),
    "string on the limb at all draws": in_contact("whole tip"),
    "string on the limb at brace": in_contact("mild"),
}


@pytest.mark.parametrize("name", BOWS)
def test_shares_of_stiffness_add_up_to_one(name: str) -> None:
    """Weight goes with stiffness: the density's integral and the string's part are 1, to 1e-5."""
    one = BOWS[name]
    found = influence(one.limb, one.braced(), one.draws)

    np.testing.assert_allclose(integral(one.limb, found.density) + found.string, 1.0, atol=1e-5)


@pytest.mark.parametrize("name", BOWS)
def test_density_agrees_with_stiffened_bows(name: str) -> None:
    """A fifth of the limb made stiffer changes the solved weight as the density says, to 1e-5 of it."""
    one = BOWS[name]
    limb, density = one.limb, influence(one.limb, one.braced(), one.draws).density
    change, steps = 1e-3, limb.step.shape[1]
    for part in np.split(np.arange(steps), 5):
        logs = []
        for sign in (-1, 1):
            flexibility = limb.flexibility.copy()
            flexibility[:, part] *= np.exp(-sign * change)
            logs.append(replace(one, limb=replace(limb, flexibility=flexibility)).log_weights())
        there = np.isin(np.arange(steps), part)[:, None]

        np.testing.assert_allclose(
            integral(limb, there * density), (logs[1] - logs[0]) / (2 * change), rtol=0, atol=1e-5
        )


def test_the_strings_part_agrees_with_stiffer_strings() -> None:
    """A string one percent stiffer changes the solved weight by a hundredth of its part."""
    found = influence(REFLEXED, brace(REFLEXED, BRACE, 60.0), DRAWS).string
    less, more = (Bow(REFLEXED, 60.0 * np.exp(sign * 1e-3)).log_weights() for sign in (-1, 1))

    np.testing.assert_allclose(found, (more - less) / 2e-3, rtol=1e-4)


def test_a_string_that_does_not_stretch_has_no_part() -> None:
    """With an endless stiffness the string's part is nought."""
    found = influence(REFLEXED, brace(REFLEXED, BRACE), DRAWS)

    np.testing.assert_array_equal(found.string, 0.0)


def test_the_fade_counts_most_on_an_even_limb() -> None:
    """On a limb as stiff all along, stiffness counts the more the nearer to the fade it is."""
    limb = bow()
    density = influence(limb, brace(limb, BRACE), [1.0]).density[0, 0, :, 1]

    assert np.all(np.diff(density) > 0)


def test_bows_that_cannot_be_drawn_have_no_numbers() -> None:
    """At a draw that is not reached the density is not a number, and at others it is what it is alone."""
    limb = bow()
    both = influence(limb, brace(limb, BRACE), [1.0, 2.6]).density
    alone = influence(limb, brace(limb, BRACE), [1.0]).density

    assert np.all(np.isnan(both[:, 1]))
    np.testing.assert_allclose(both[:, 0], alone[:, 0], rtol=1e-6)
