"""How thick a stack's lams are to be ground for a weight by the statics, many stacks side by side."""

from collections.abc import Mapping, Sequence

import numpy as np

from datasets.history import BowAt, GeometryError, bow_at
from datasets.materials import Material
from datasets.record import DrawLength
from datasets.schema import Build, Form
from predictor.belief.posterior import Array
from predictor.belief.weighings import draws_from_back
from predictor.bows.bow import handbook_moduli, weights
from predictor.mechanics.secant import solved
from predictor.pressing.blanks import Blank
from predictor.pressing.stacks import Stack

GRIND_STEP_IN = 0.001
"""Lams are ground to this."""


def log_statics(
    form: Form, builds: Sequence[Build], draw: DrawLength, materials: Mapping[str, Material]
) -> Array:
    """Return the logarithms of what planned bows weigh, by the statics at handbook moduli, in pounds.

    Args:
        form: that they are pressed on.
        builds: as they are cut.
        draw: at which they are weighed.
        materials: every material that the layers name.

    Returns:
        Shape (n,); not a number where the lams add up to no bow, or the statics refuse it.
    """
    bows = [_bow(form, build) for build in builds]
    there = [bow for bow in bows if bow is not None]
    logs = np.full(len(bows), np.nan)
    if there:
        draws_in = np.tile(draws_from_back(form, [draw]), (len(there), 1))
        told = weights(there, [handbook_moduli(bow, materials) for bow in there], draws_in)
        logs[[bow is not None for bow in bows]] = np.log(told.lbf[:, 0])
    return logs


def _bow(form: Form, build: Build) -> BowAt | None:
    try:
        return bow_at(form, build)
    except GeometryError:  # a lam so tapered that nothing is left of its tip
        return None


def thickness_for(
    blank: Blank,
    stacks: Sequence[Stack],
    draw: DrawLength,
    materials: Mapping[str, Material],
    log_lbf: Array,
) -> Array:
    """Return the ground thickness at which the statics give each stack a weight, as near as it may be ground.

    Args:
        blank: that they are pressed in.
        stacks: that are to be ground.
        draw: at which they are weighed.
        materials: every material that the layers name.
        log_lbf: logarithms of the weights, shape (n,).

    Returns:
        Inches, shape (n,); not a number where the statics refuse the stack.
    """

    def value(inches: Array) -> Array:
        builds = [
            blank.build(stack.layers(inch)) for stack, inch in zip(stacks, inches.tolist(), strict=True)
        ]
        return log_statics(blank.form, builds, draw, materials)

    bounds = np.array([stack.bounds_in for stack in stacks], dtype=np.float64).reshape(-1, 2)
    return solved(value, log_lbf, bounds[:, 0], bounds[:, 1])


def rounded_up(inches: Array, most_in: Array) -> Array:
    """Return thicknesses as they are ground, none thinner, as far as there is wood."""
    up: Array = np.ceil(inches / GRIND_STEP_IN - 1e-6) * GRIND_STEP_IN
    return np.minimum(up, most_in)
