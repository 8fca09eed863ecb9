"""Bent limbs against closed forms: cantilevers under dead loads, arcs, and laws of the integration."""

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad, solve_bvp
from scipy.optimize import root
from scipy.special import ellipe, ellipeinc, ellipk, ellipkinc

from predictor.mechanics.elastica import LimbGrid, pieces, shoot

MATTIASSON = tomllib.loads((Path(__file__).parents[2] / "reference" / "cantilever.toml").read_text())[
    "mattiasson"
]
LOADS = (0.2, 0.4, 0.6, 0.8, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0)


def straight(steps=120, stiffness=np.ones_like, curvature=0.0, offset=0.0, limbs=1):
    """Limbs of length 1 with a stiffness that depends on the part of the way from root to tip."""
    ends = np.linspace(1.0, 0.0, steps + 1)
    part = np.stack([ends[:-1], (ends[:-1] + ends[1:]) / 2, ends[1:]], axis=-1)
    ones = np.ones(limbs)
    return LimbGrid(
        step=np.full((limbs, steps), 1 / steps),
        flexibility=np.tile(1 / stiffness(part), (limbs, 1, 1)),
        unstrung_curvature=np.full((limbs, steps, 3), curvature),
        nock_offset=ones * offset,
        root_distance=ones * 0.0,
        root_depth=ones * 0.0,
        root_angle=ones * 0.0,
    )


def across_the_tip(limb, load):
    """Deflection, shortening and rotation of the tip under a load square to the unbent limb."""

    def at_right_angles(tip_angle):
        return shoot(limb, tip_angle, [load]).angle - math.pi / 2

    tip_angle = root(at_right_angles, [math.pi / 2 + 0.4], tol=1e-13).x
    shot = shoot(limb, tip_angle, [load])
    return -shot.along[0], 1 - shot.distance[0], tip_angle[0] - math.pi / 2


def by_elliptic_integrals(load):
    """Bisshopp and Drucker, "Large deflection of cantilever beams", Quart. Appl. Math. 3 (1945).

    The closed form of that paper; scipy takes the parameter k², not the modulus k.
    """
    size = math.sqrt(load)

    def mismatch(rotation):
        squared = (1 + np.sin(rotation)) / 2
        start = np.arcsin(1 / np.sqrt(2 * squared))
        return ellipk(squared) - ellipkinc(start, squared) - size

    rotation = root(mismatch, [min(load / 2, 1.4)], tol=1e-14).x[0]
    squared = (1 + math.sin(rotation)) / 2
    start = math.asin(1 / math.sqrt(2 * squared))
    deflection = 1 - 2 / size * (ellipe(squared) - ellipeinc(start, squared))
    return deflection, 1 - math.sqrt(2 * math.sin(rotation)) / size, rotation


@pytest.mark.parametrize("load", LOADS)
def test_a_cantilever_bends_as_elliptic_integrals_say(load):
    """Deflection, shortening and rotation agree to nine digits at sixteen loads."""
    assert across_the_tip(straight(), load) == pytest.approx(by_elliptic_integrals(load), abs=2e-9)


@pytest.mark.parametrize("row", MATTIASSON, ids=lambda row: f"load {row['load']:g}")
def test_a_cantilever_bends_as_published(row):
    """Four loads agree with Mattiasson's table in all digits that it gives."""
    deflection, shortening, rotation = across_the_tip(straight(), row["load"])
    assert deflection == pytest.approx(row["deflection"], abs=0.51e-5)
    assert shortening == pytest.approx(row["shortening"], abs=0.51e-5)
    assert rotation == pytest.approx(row.get("rotation", rotation), abs=0.51e-5)


@pytest.mark.parametrize("ratio", [0.75, 0.5, 1 / 3, 0.25])
@pytest.mark.parametrize("power", [1, 3], ids=["width", "thickness"])
def test_a_tapered_cantilever_bends_as_moment_area_says(ratio, power):
    """A small load gives ∫ x² P/EI dx for limbs whose width or thickness tapers in a straight line."""
    load = 1e-4
    limb = straight(stiffness=lambda part: (1 - (1 - ratio) * part) ** power)
    wanted = quad(lambda x: load * x**2 / (ratio + (1 - ratio) * x) ** power, 0, 1)[0]
    assert across_the_tip(limb, load)[0] == pytest.approx(wanted, rel=1e-6)


COMPUTED = {
    # Taper, tip over root and power: deflection, shortening, rotation at loads 0.5, 1, 2, 3 (`by_collocation`).
    (1 / 2, 1): [(.185788, .021560, .297243), (.337280, .073235, .548740), (.527296, .192271, .890768),
                 (.627833, .289372, 1.091117)],
    (1 / 3, 1): [(.196858, .024607, .325547), (.352733, .081684, .593771), (.540079, .206345, .943315),
                 (.636209, .303827, 1.139765)],
    (3 / 4, 3): [(.196794, .024501, .321233), (.352920, .081476, .586670), (.540930, .206355, .934331),
                 (.637368, .304198, 1.130887)],
    (1 / 2, 3): [(.250057, .042649, .464094), (.418158, .125115, .792654), (.586564, .267193, 1.143825),
                 (.665198, .362024, 1.309426)],
}  # fmt: skip


def by_collocation(ratio, power, load):
    """The same cantilever from its root outward, by scipy: moment = load × (tip's place along − own place along)."""

    def slopes(part, state, tip):
        stiffness = (1 - (1 - ratio) * part) ** power
        return np.stack([load * (tip[0] - state[1]) / stiffness, np.cos(state[0]), np.sin(state[0])])

    def ends(root, tip_state, tip):
        return np.array([*root, tip_state[1] - tip[0]])

    part = np.linspace(0.0, 1.0, 41)
    bent = solve_bvp(
        slopes, ends, part, np.stack([part / 2, part, part / 3]), p=[0.8], tol=1e-9, max_nodes=5000
    )
    assert bent.success
    rotation, along, deflection = bent.y[:, -1]
    return deflection, 1 - along, rotation


@pytest.mark.parametrize(("ratio", "power"), COMPUTED)
def test_a_tapered_cantilever_bends_far_as_collocation_says(ratio, power):
    """Deflection, shortening and rotation of tapered limbs under great loads agree to six digits."""
    limb = straight(stiffness=lambda part: (1 - (1 - ratio) * part) ** power)
    for load, row in zip((0.5, 1.0, 2.0, 3.0), COMPUTED[ratio, power], strict=True):
        assert by_collocation(ratio, power, load) == pytest.approx(row, abs=0.6e-6)
        assert across_the_tip(limb, load) == pytest.approx(row, abs=0.6e-6)


def test_the_jacobian_is_that_of_the_shot():
    """Derivatives by tip angle, tension and lift-off agree with differences, with contact and without."""
    limb = straight(steps=48, curvature=-0.9, offset=0.02, limbs=2)
    start = np.array([[0.3, 0.3], [1.3, 1.3], [-1.0, 0.1234]])
    jacobian = shoot(limb, *start).jacobian
    for column in range(3):
        change = np.zeros((3, 1))
        change[column] = 1e-5
        more, less = shoot(limb, *(start + change)), shoot(limb, *(start - change))
        for row, name in enumerate(("angle", "distance", "along")):
            slope = (getattr(more, name) - getattr(less, name)) / 2e-5
            np.testing.assert_allclose(jacobian[:, row, column], slope, atol=2e-7)


def test_the_integration_is_of_fourth_order():
    """Halving the steps divides the error by about sixteen."""
    distance = [shoot(straight(steps), [2.5], [5.0]).distance[0] for steps in (10, 20, 40, 320)]
    errors = [abs(value - distance[-1]) for value in distance]
    assert errors[0] / errors[1] == pytest.approx(16, rel=0.2)
    assert errors[1] / errors[2] == pytest.approx(16, rel=0.2)


def test_cut_steps_cover_what_lies_between():
    """Pieces between two stations add up to the distance between them and keep a parabola's integral."""
    limb = straight(steps=7, stiffness=lambda part: 1 / (1 + part**2), limbs=3)
    begin, end = np.array([0.0, 0.2, 0.55]), np.array([1.0, 0.21, 0.9])
    found = list(pieces(limb, begin, end))
    area = sum(p.step * (p.flexibility[0] + 4 * p.flexibility[1] + p.flexibility[2]) / 6 for p in found)
    outer, inner = 1 - begin, 1 - end
    np.testing.assert_allclose(sum(p.step for p in found), end - begin, rtol=1e-12)
    np.testing.assert_allclose(area, end - begin + (outer**3 - inner**3) / 3, rtol=1e-12)


def test_a_batch_gives_what_its_limbs_give_alone():
    """Each limb's result is the same to the last bit, whatever lies beside it."""
    limb = straight(steps=30, curvature=-0.5, offset=0.01, limbs=3)
    start = np.array([[0.3, 0.2, 0.1], [1.3, 2.0, 3.0], [-1.0, 0.1234, 0.4]])
    together = shoot(limb, *start)
    for row in range(3):
        alone = shoot(limb.take(np.array([row])), *start[:, [row]])
        np.testing.assert_array_equal(alone.jacobian[0], together.jacobian[row])


def test_a_wrong_shape_is_refused():
    """A grid whose arrays do not fit says which one, what was wanted and what came."""
    limb = straight()
    with pytest.raises(ValueError, match=r"nock_offset: wanted shape \(1,\), got \(2,\)"):
        LimbGrid(limb.step, limb.flexibility, limb.unstrung_curvature, np.zeros(2), *[np.zeros(1)] * 3)
