"""Symmetric bows without string contact: computed benchmarks, energy, laws, other methods, refusals."""

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import least_squares

from predictor.elastica import LimbGrid
from predictor.statics import Status, brace, draw, shape

REFERENCE = tomllib.loads((Path(__file__).parents[1] / "reference" / "straight_bows.toml").read_text())
BOWS = REFERENCE["bows"]
STIFFNESS = {
    "A": np.ones_like,
    "B": lambda t: 1 - 2 * t / 3,
    "C": lambda t: np.maximum(1 - t, 1 / 3),
    "D": lambda t: (1 - 0.4 * t) ** 3,
}
HALF, GRIP, BRACE = 36 / 28, 4 / 28, 6 / 28


def bow(stiffness=np.ones_like, steps=60, curvature=0.0, offset=0.0, limbs=1):
    """Bows of the benchmarks' proportions."""
    ends = np.linspace(1.0, 0.0, steps + 1)
    part = np.stack([ends[:-1], (ends[:-1] + ends[1:]) / 2, ends[1:]], axis=-1)
    ones = np.ones(limbs)
    return LimbGrid(
        step=np.full((limbs, steps), (HALF - GRIP) / steps),
        flexibility=np.tile(1 / stiffness(part), (limbs, 1, 1)),
        unstrung_curvature=np.full((limbs, steps, 3), curvature),
        nock_offset=ones * offset,
        root_distance=ones * GRIP,
        root_depth=ones * 0.0,
        root_angle=ones * 0.0,
    )


def energy(limb, braced, hold):
    """All that limbs and string store."""
    bent = shape(limb, braced, hold)
    return bent.bending_energy + bent.string_energy


@pytest.mark.parametrize("name", BOWS)
def test_straight_bows_agree_with_the_computed_benchmarks(name):
    """Forces, tensions, tip and energies agree in all six digits that the benchmarks give."""
    limb, wanted = bow(STIFFNESS[name]), BOWS[name]
    braced = brace(limb, BRACE)
    drawn = draw(limb, braced, np.array(REFERENCE["draws_in_28ths"]) / 28)
    full = shape(limb, braced, drawn.hold(-1))
    assert braced.half_string[0] == pytest.approx(wanted["half_string"], abs=1e-6)
    assert braced.hold.tension[0] == pytest.approx(wanted["brace_tension"], abs=1e-6)
    assert drawn.force[0] == pytest.approx(wanted["force"], abs=1e-6)
    assert drawn.tension[0, -1] == pytest.approx(wanted["tension"], abs=1e-6)
    assert drawn.string_angle[0, -1] == pytest.approx(wanted["string_angle"], abs=1e-6)
    assert full.lean[0, 0] == pytest.approx(wanted["tip_lean"], abs=1e-6)
    assert (full.x[0, 0], full.y[0, 0]) == pytest.approx(tuple(wanted["tip"]), abs=1e-6)
    assert energy(limb, braced, braced.hold)[0] == pytest.approx(wanted["energy_braced"], abs=1e-6)
    assert full.bending_energy[0] == pytest.approx(wanted["energy_drawn"], abs=1e-6)


def chain_force(stiffness, links):
    """Draw weight at full draw by rigid links: half a link at each end, springs of EI / link between them.

    Independent of the elastica: static balance of each joint under the string's pull, solved for the joints'
    turns, tension and string length at once.
    """
    link = (HALF - GRIP) / links
    length = np.full(links + 1, link)
    length[[0, -1]] = link / 2
    spring = stiffness((np.arange(links) + 0.5) / links) / link

    def joints(turns):
        lean = np.concatenate([[0.0], np.cumsum(turns)])
        x = np.cumsum(length * np.sin(lean))
        y = GRIP + np.cumsum(length * np.cos(lean))
        return x, y

    def balance(turns, tension, pull_x, pull_y):
        x, y = joints(turns)
        moment = tension * ((y[-1] - y[:-1]) * pull_x - (x[-1] - x[:-1]) * pull_y)
        return spring * turns - moment

    def braced(unknown):
        turns, tension = unknown[:-1], unknown[-1]
        return np.append(balance(turns, tension, 0.0, -1.0), joints(turns)[0][-1] - BRACE)

    def drawn(unknown, string):
        turns, tension = unknown[:-1], unknown[-1]
        x, y = (place[-1] for place in joints(turns))
        apart = np.hypot(1 - x, y)
        return np.append(balance(turns, tension, (1 - x) / apart, -y / apart), apart - string)

    start = np.append(np.full(links, 0.4 / links), 1.0)
    at_brace = least_squares(braced, start, xtol=1e-15, ftol=1e-15, gtol=1e-15).x
    string = joints(at_brace[:-1])[1][-1]
    guess = np.append(at_brace[:-1] * 2.5, at_brace[-1])
    found = least_squares(drawn, guess, args=(string,), xtol=1e-15, ftol=1e-15, gtol=1e-15).x
    x, _ = joints(found[:-1])
    return 2 * found[-1] * (1 - x[-1]) / string


@pytest.mark.parametrize("name", ["A", "B", "D"])
def test_a_chain_of_rigid_links_remakes_the_benchmarks(name):
    """Draw weights of two chains, extrapolated by the chain's second order, agree to 2e-5."""
    coarse, fine = (chain_force(STIFFNESS[name], links) for links in (20, 40))
    extrapolated = (4 * fine - coarse) / 3
    assert extrapolated == pytest.approx(BOWS[name]["force"][-1], rel=2e-5)
    assert draw(bow(STIFFNESS[name]), brace(bow(STIFFNESS[name]), BRACE), [1.0]).force[0, 0] == pytest.approx(
        extrapolated, rel=2e-5
    )


REFLEXED = bow(STIFFNESS["D"], steps=120, curvature=-0.15, offset=0.006)


def test_the_energy_stored_is_the_area_under_the_draw():
    """Limbs and string gain what the draw puts in, to 1e-8, with an offset and a string that stretches."""
    braced = brace(REFLEXED, BRACE, 60.0)
    nodes, weights = np.polynomial.legendre.leggauss(10)
    draws = BRACE + (1 - BRACE) * (np.append(nodes, 1.0) + 1) / 2
    drawn = draw(REFLEXED, braced, draws)
    work = (1 - BRACE) / 2 * drawn.force[0, :-1] @ weights
    gained = energy(REFLEXED, braced, drawn.hold(-1)) - energy(REFLEXED, braced, braced.hold)
    assert gained[0] == pytest.approx(work, rel=1e-8)


def test_the_slope_is_the_change_of_force():
    """Pounds per inch agree with differences of the force along the draw."""
    braced = brace(REFLEXED, BRACE, 60.0)
    drawn = draw(REFLEXED, braced, [0.6 - 1e-5, 0.6, 0.6 + 1e-5])
    assert drawn.slope[0, 1] == pytest.approx((drawn.force[0, 2] - drawn.force[0, 0]) / 2e-5, rel=1e-7)


def test_weight_goes_with_stiffness():
    """A limb and string three times as stiff give three times the weight and the same shape."""
    stiffer = replace(REFLEXED, flexibility=REFLEXED.flexibility / 3)
    soft = draw(REFLEXED, brace(REFLEXED, BRACE, 60.0), [0.6, 1.0])
    stiff = draw(stiffer, brace(stiffer, BRACE, 180.0), [0.6, 1.0])
    np.testing.assert_allclose(stiff.force, 3 * soft.force, rtol=1e-10)
    np.testing.assert_allclose(stiff.tip_angle, soft.tip_angle, rtol=1e-10)


def test_weight_goes_with_stiffness_over_length_squared():
    """The same bow in other units of length gives force over the square of the unit."""
    unit = 28.0
    larger = LimbGrid(
        step=REFLEXED.step * unit,
        flexibility=REFLEXED.flexibility,
        unstrung_curvature=REFLEXED.unstrung_curvature / unit,
        nock_offset=REFLEXED.nock_offset * unit,
        root_distance=REFLEXED.root_distance * unit,
        root_depth=REFLEXED.root_depth * unit,
        root_angle=REFLEXED.root_angle,
    )
    one = draw(REFLEXED, brace(REFLEXED, BRACE, 60.0), [0.6, 1.0])
    other = draw(larger, brace(larger, BRACE * unit, 60.0 / unit**2), np.array([0.6, 1.0]) * unit)
    np.testing.assert_allclose(other.force * unit**2, one.force, rtol=1e-9)


def test_the_weight_converges_with_fourth_order():
    """Halving the steps divides the error of the draw weight by about sixteen."""

    def weight(steps):
        limb = bow(STIFFNESS["D"], steps, curvature=-0.15, offset=0.006)
        return draw(limb, brace(limb, BRACE), [1.0]).force[0, 0]

    errors = [abs(weight(steps) - weight(160)) for steps in (5, 10, 20)]
    assert errors[0] / errors[1] == pytest.approx(16, rel=0.35)
    assert errors[1] / errors[2] == pytest.approx(16, rel=0.35)


def test_more_stiffness_reflex_brace_and_draw_weigh_more():
    """Weight rises with stiffness anywhere, with reflex, with draw, and with brace height."""
    assert np.all(np.diff(draw(REFLEXED, brace(REFLEXED, BRACE), np.linspace(0.3, 1.1, 9)).force) > 0)
    base = draw(REFLEXED, brace(REFLEXED, BRACE), [1.0]).force[0, 0]
    reflexed = replace(REFLEXED, unstrung_curvature=REFLEXED.unstrung_curvature - 0.05)
    assert draw(reflexed, brace(reflexed, BRACE), [1.0]).force[0, 0] > base
    assert draw(REFLEXED, brace(REFLEXED, BRACE * 1.1), [1.0]).force[0, 0] > base
    for place in (0, 40, 80):
        flexibility = REFLEXED.flexibility.copy()
        flexibility[:, place : place + 40] /= 1.1
        stiffer = replace(REFLEXED, flexibility=flexibility)
        assert draw(stiffer, brace(stiffer, BRACE), [1.0]).force[0, 0] > base


def test_a_bow_that_fails_does_not_disturb_the_others():
    """In a batch with bows that cannot be braced, or not drawn so far, the others are as they are alone."""
    limb = bow(limbs=3)
    braced = brace(limb, np.array([BRACE, 1.2, BRACE]))
    drawn = draw(limb, braced, [[0.6, 1.0], [0.6, 1.0], [0.6, 2.6]])
    alone = draw(bow(), brace(bow(), BRACE), [0.6, 1.0])
    assert braced.status.tolist() == [Status.OK, Status.NO_BRACE, Status.OK]
    assert drawn.status.tolist() == [
        [Status.OK, Status.OK],
        [Status.NO_BRACE, Status.NO_BRACE],
        [Status.OK, Status.NO_DRAW],
    ]
    np.testing.assert_allclose(drawn.force[0], alone.force[0], rtol=1e-12)
    np.testing.assert_allclose(drawn.force[2, 0], alone.force[0, 0], rtol=1e-12)
    assert np.isnan(drawn.force[1]).all()
    assert 1.0 < drawn.reached[2, 1] < 2.6


def test_draws_may_come_in_any_order():
    """The draws of a bow are solved from the least, and given back as asked."""
    braced = brace(REFLEXED, BRACE)
    one, other = (draw(REFLEXED, braced, draws) for draws in ([0.5, 0.8, 1.0], [1.0, 0.5, 0.8]))
    np.testing.assert_array_equal(one.force[:, [2, 0, 1]], other.force)


def test_a_slack_string_is_refused():
    """A limb that unstrung reaches the brace height and more cannot keep a string taut."""
    assert brace(bow(curvature=0.6), BRACE).status[0] == Status.SLACK


def test_a_draw_below_the_brace_height_is_refused():
    """The string cannot be pushed."""
    drawn = draw(bow(), brace(bow(), BRACE), [0.1, 1.0])
    assert drawn.status.tolist() == [[Status.BELOW_BRACE, Status.OK]]
