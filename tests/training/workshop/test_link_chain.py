"""The link chain against bows computed in other ways, and against the statics."""

import tomllib
from pathlib import Path

import numpy as np
import pytest

from predictor.bows.bow import limb_by_limb
from predictor.mechanics.elastica import LimbGrid
from training.workshop.link_chain import LINKS, chain_weights, solve_chains
from training.workshop.virtual_shop import simulate

REFERENCE = tomllib.loads((Path(__file__).parents[2] / "reference" / "straight_bows.toml").read_text())
STIFFNESS = {
    "A": np.ones_like,
    "B": lambda t: 1 - 2 * t / 3,
    "C": lambda t: np.maximum(1 - t, 1 / 3),
    "D": lambda t: (1 - 0.4 * t) ** 3,
}
"""Of the reference's bows, as their file says in words."""


def straight_limb(stiffness, links):
    """Return one limb of a reference bow, whose draw is 1."""
    ends = np.linspace(1.0, 0.0, links + 1)
    part = np.stack([ends[:-1], (ends[:-1] + ends[1:]) / 2, ends[1:]], axis=-1)
    return LimbGrid(
        step=np.full((1, links), (36 - 4) / 28 / links),
        flexibility=1 / stiffness(part)[None],
        unstrung_curvature=np.zeros((1, links, 3)),
        nock_offset=np.zeros(1),
        root_distance=np.full(1, 4 / 28),
        root_depth=np.zeros(1),
        root_angle=np.zeros(1),
    )


def reference_forces(name, links):
    """Return the chain's forces at the reference's draws."""
    draws = np.array([REFERENCE["draws_in_28ths"]]) / 28
    return solve_chains(straight_limb(STIFFNESS[name], links), np.full(1, 6 / 28), np.full(1, np.inf), draws)[
        0
    ]


@pytest.mark.parametrize("name", STIFFNESS)
def test_straight_bows(name):
    """Forces agree with the computed benchmarks to 0.02 % at the number of links in use, most of it near brace."""
    assert reference_forces(name, LINKS) == pytest.approx(REFERENCE["bows"][name]["force"], rel=2e-4)


def test_error_falls_with_the_square_of_the_links():
    """Twice the links leave a quarter of the error."""
    wanted = np.array(REFERENCE["bows"]["D"]["force"])
    coarse, fine = (np.abs(reference_forces("D", links) - wanted).max() for links in (10, 20))
    assert coarse / fine == pytest.approx(4.0, rel=0.1)


@pytest.mark.parametrize("kind", ["straight", "reflex-deflex", "recurve"])
def test_agrees_with_the_statics(kind):
    """Chain and statics, which share no equation, agree to 0.03 % on bows of every form, contact included."""
    shop = simulate(seed=71, builds=40)
    bows = [
        (weighed.bow, bow.moduli)
        for bow in shop.truth.bows.values()
        for weighed in bow.weighed
        if weighed.bow.kind == kind
    ]
    geometry, moduli = zip(*bows, strict=True)
    draws = np.array([[bow.brace + 1.0, 20.0, 26.0, 30.0] for bow in geometry])
    chain = chain_weights(geometry, moduli, draws)
    solved = limb_by_limb(geometry, moduli, draws)
    assert chain == pytest.approx(solved.mean(solved.drawn.force), rel=3e-4)
