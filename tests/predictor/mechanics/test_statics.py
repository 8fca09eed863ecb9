"""Symmetric bows without string contact: computed benchmarks, energy, laws, other methods, refusals."""

import tomllib
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_bvp
from scipy.interpolate import CubicSpline
from scipy.optimize import least_squares

from predictor.mechanics.elastica import LimbGrid
from predictor.mechanics.limb import Layer, Limb, limb_grid
from predictor.mechanics.statics import MOST_STRETCH, Status, brace, draw, shape, strung
from tests.predictor.profiles import arc_profile

REFERENCE = tomllib.loads((Path(__file__).parents[2] / "reference" / "straight_bows.toml").read_text())
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


LONGBOW_LENGTH, POWER_LAM_END, STRING_STIFFNESS = 25.0, 7.3, 5000.0


def longbow():
    """A reflex-deflex limb of glass and wood in inches and pounds, with a power lam that ends at an odd place."""
    glass = Layer(((0.0, LONGBOW_LENGTH), (0.04, 0.04)), 5.6e6)
    core = Layer(((0.0, LONGBOW_LENGTH), (0.15, 0.11)), 2.0e6)
    power = Layer(((0.0, POWER_LAM_END), (0.09, 0.03)), 2.0e6)
    return Limb(
        length=LONGBOW_LENGTH,
        layers=(glass, core, power, core, glass),
        width_back=((0.0, LONGBOW_LENGTH), (1.15, 0.5)),
        width_belly=((0.0, LONGBOW_LENGTH), (1.25, 0.5)),
        edge_radius=((0.0,), (0.05,)),
        profile=arc_profile(LONGBOW_LENGTH, root_distance=9.0, root_depth=0.2, root_angle=0.12),
        nock_offset=0.15,
    )


def reflex_deflex(s):
    """Unstrung curvature over the distance from the nock: bent to the string near the riser, away at the tip."""
    return 0.006 * np.cos(np.pi * (LONGBOW_LENGTH - s) / LONGBOW_LENGTH) - 0.006


def weights_by_boundary_values(grid_of, draws, height):
    """Draw weights by scipy's collocation, the limb cut at the power lam's end into two coupled intervals."""
    inner_from = LONGBOW_LENGTH - POWER_LAM_END
    lengths = (inner_from, POWER_LAM_END)
    part = np.linspace(0.0, 1.0, 60)
    tables = [grid_of(begin, length) for begin, length in zip((0.0, inner_from), lengths, strict=True)]

    def slopes(part, state, unknown):
        rates = []
        for piece, (begin, length) in enumerate(zip((0.0, inner_from), lengths, strict=True)):
            angle, distance, _ = state[3 * piece : 3 * piece + 3]
            s = begin + part * length
            bend = reflex_deflex(s) + unknown[0] * distance * tables[piece](s)
            rates += [-bend * length, np.sin(angle) * length, np.cos(angle) * length]
        return np.vstack(rates)

    def shared(nock, root):
        joined = [root[row] - nock[row + 3] for row in range(3)]
        return [nock[1] - 0.15 * np.cos(nock[0]), nock[2] + 0.15 * np.sin(nock[0]), *joined]

    def braced(nock, root, _unknown):
        return np.array([*shared(nock, root), root[3] - 0.12, root[4] + 0.2 - height])

    def drawn(nock, root, unknown):
        turn, left = root[3] - 0.12, slack * (1 + unknown[0] / STRING_STIFFNESS) - root[5]
        x = 0.2 + left * np.sin(turn) + root[4] * np.cos(turn)
        y = 9.0 - left * np.cos(turn) + root[4] * np.sin(turn)
        return np.array([*shared(nock, root), x - aim[0], y])

    guess = np.vstack([
        0.45 - 0.33 * 0.7 * part, 0.7 * height * part, inner_from * part,
        0.22 - 0.1 * part, height * (0.7 + 0.3 * part), inner_from + POWER_LAM_END * part,
    ])  # fmt: skip
    found = solve_bvp(slopes, braced, part, guess, p=[40.0], tol=1e-6, max_nodes=20_000)
    slack = (9.0 + found.y[5, -1]) / (1 + found.p[0] / STRING_STIFFNESS)
    weights, aim = [], [0.0]
    for aim[0] in np.linspace(height, draws[-1], 12).tolist() + list(draws):
        found = solve_bvp(slopes, drawn, found.x, found.y, p=found.p, tol=1e-6, max_nodes=20_000)
        assert found.success
        weights.append(2 * found.p[0] * np.sin(found.y[3, -1] - 0.12))
    return np.array(weights[-len(draws) :])


def test_a_laminated_longbow_weighs_what_collocation_says():
    """Weights agree to 0.05 % with scipy's boundary-value solver: reflex, power lam's end, offset, string stretch."""
    limb, draws, height = longbow(), [20.0, 24.0, 28.0], 7.0

    def flexibility_of(begin, length):
        """Flexibility over one interval from many exact sections, apart from the grid under test."""
        fine = limb_grid([limb], steps=400)
        ends = fine.station[0]
        middle = (ends[:-1] + ends[1:]) / 2
        inside = (middle > begin) & (middle < begin + length)
        return CubicSpline(middle[inside], fine.flexibility[0, inside, 1])

    grid = limb_grid([limb], steps=48)
    ends = grid.station
    nodes = np.stack([ends[:, :-1], (ends[:, :-1] + ends[:, 1:]) / 2, ends[:, 1:]], axis=-1)
    grid = replace(grid, unstrung_curvature=reflex_deflex(nodes))
    ours = draw(grid, brace(grid, height, STRING_STIFFNESS), draws).force[0]
    wanted = weights_by_boundary_values(flexibility_of, draws, height)
    np.testing.assert_allclose(ours, wanted, rtol=5e-4)


def random_bow(values):
    """A bow of plausible and less plausible measures, inches and pounds."""
    length, root, lean, tip, taper, offset, deflex, recurve, start = values
    ends = np.linspace(0.0, length, 49)
    nodes = np.stack([ends[:-1], (ends[:-1] + ends[1:]) / 2, ends[1:]], axis=-1)
    bend = deflex * nodes / length - recurve / (1 + np.exp((nodes - start) / 1.2))
    one = np.ones(1)
    return LimbGrid(
        step=np.full((1, 48), length / 48),
        flexibility=1 / (tip * (1 + taper * nodes / length))[None],
        unstrung_curvature=bend[None],
        nock_offset=one * offset,
        root_distance=one * root,
        root_depth=one * 0.3,
        root_angle=one * lean,
    )


MEASURES = st.tuples(
    st.floats(14, 30), st.floats(4, 12), st.floats(-0.2, 0.35), st.floats(600, 4000), st.floats(0, 6),
    st.floats(0, 0.25), st.floats(-0.01, 0.02), st.floats(0, 0.2), st.floats(2, 9),
)  # fmt: skip


def solved_or_refused(limb, height, full):
    """Which bows are solved; they keep the energy identity to 1e-4, and the others have a status that says why."""
    braced = brace(limb, height, 4000.0)
    # A lift-off that leaves the limb kinks the curve of force, so the area is taken in many short spans.
    nodes, weights = np.polynomial.legendre.leggauss(3)
    edges = np.linspace(0.0, 1.0, 17)
    inner = (edges[:-1, None] + (nodes + 1) / 32).ravel()
    drawn = draw(limb, braced, height[:, None] + (full - height)[:, None] * np.append(inner, 1.0))
    refused = drawn.status != Status.OK
    assert np.all(np.isnan(drawn.force[refused]))
    assert np.all(drawn.force[~refused] > 0)
    assert np.all(drawn.tension[~refused] > 0)
    solved = ~refused.any(axis=1)
    work = drawn.force[:, :-1] @ np.tile(weights, 16) * (full - height) / 32
    gained = energy(limb, braced, drawn.hold(-1)) - energy(limb, braced, braced.hold)
    np.testing.assert_allclose(gained[solved], work[solved], rtol=1e-4)
    return solved


@settings(max_examples=12, deadline=None, derandomize=True)
@given(MEASURES, st.floats(5, 9), st.floats(20, 30))
def test_a_bow_is_solved_or_refused(values, height, full):
    """A dozen random bows each keep the energy identity to 1e-4, or are refused with a reason."""
    solved_or_refused(random_bow(values), np.array([height]), np.array([full]))


def random_batch():
    """A thousand such bows, their brace heights and full draws."""
    low = np.array([14, 4, -0.2, 600, 0, 0, -0.01, 0, 2, 5, 20])
    high = np.array([30, 12, 0.35, 4000, 6, 0.25, 0.02, 0.2, 9, 9, 30])
    rows = np.random.default_rng(20).uniform(low, high, (1000, 11))
    bows = [random_bow(row[:9]) for row in rows]
    columns = (np.concatenate([getattr(one, field.name) for one in bows]) for field in fields(LimbGrid))
    return LimbGrid(*columns), rows[:, 9], rows[:, 10]


@pytest.mark.slow
def test_a_thousand_bows_are_solved_or_refused():
    """A thousand random bows do so too, a third of them recurved; four in five are solved."""
    assert np.mean(solved_or_refused(*random_batch())) > 0.8


@pytest.mark.slow
def test_tension_at_brace_grows_steadily_with_reflex():
    """No bow jumps to a folded shape: in equal steps of its reflex, tension grows by less than twice the last.

    That holds of every bow that is strung on the way, whether or not it would stay so.
    """
    limb, height, _ = random_batch()
    good = np.nonzero(brace(limb, height, 4000.0).status == Status.OK)[0][:200]
    some, height = limb.take(good), height[good]
    unstrung, tensions = some.unstrung_curvature, []
    for part in np.linspace(0.0, 1.0, 9):
        easier = replace(some, unstrung_curvature=np.where(unstrung < 0, part * unstrung, unstrung))
        status, track = strung(easier, height)
        tensions.append(np.where(status == Status.OK, track.hold.tension, 0.0))
    growth, braced = np.diff(tensions, axis=0), np.array(tensions) > 0
    assert growth.min() > -1e-9
    assert np.mean(braced[:-2]) > 0.5
    assert np.all((growth[1:] < 2 * growth[:-1]) | ~braced[:-2])


def test_a_draw_that_no_string_bears_is_refused_alone_and_in_a_series():
    """Drawn on and on, a bow is refused from where its string would be a quarter longer, whatever else is asked."""
    limb, stiffness, draws = bow(), 100.0, np.linspace(0.6, 2.6, 11)
    braced = brace(limb, BRACE, stiffness)
    drawn = draw(limb, braced, draws)
    solved = drawn.status[0] == Status.OK
    assert np.all(np.diff(solved.astype(int)) <= 0)
    assert 0 < solved.sum() < len(draws)
    assert np.all(drawn.tension[0, solved] <= MOST_STRETCH * stiffness)
    assert drawn.tension[0, solved][-1] > MOST_STRETCH * stiffness / 2
    alone = [draw(limb, braced, [one]).status[0, 0] for one in draws]
    assert alone == drawn.status[0].tolist()


def test_draws_that_nearly_coincide_do_not_lead_the_next_one_astray():
    """Rates that differ by rounding alone are not taken for a bend of the way to the next draw."""
    limb = bow()
    braced = brace(limb, BRACE)
    drawn = draw(limb, braced, [0.6, np.nextafter(0.6, 1.0), 1.0])
    assert np.all(drawn.status == Status.OK)
    np.testing.assert_allclose(drawn.force[0, -1], draw(limb, braced, [1.0]).force[0, 0], rtol=1e-9)
