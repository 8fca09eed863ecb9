"""The invented shop does what it says: its scatters have their sizes, and its records are honest but for them."""

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from datasets.contents import Contents
from datasets.exercise import not_counted
from datasets.history import bow_at, events_until
from datasets.record import Taken, ZeroPoint
from datasets.schema import Method, Part, Removal, Stage
from datasets.zero_points import from_back
from predictor.bows.bow import limb_by_limb, weights
from predictor.bows.features import Case, features
from training.workshop.shop_designs import GLASS, GLASSES_IN, WOODS
from training.workshop.shop_truth import SCALES, Scatter, draw_shop, shape_effect
from training.workshop.virtual_shop import simulate, simulate_side_by_side

SCATTER = Scatter()
FALSE_ALARM = 1e-4
"""Chance that one check of a scatter fails although all is right."""


@pytest.fixture(scope="module")
def shop():
    """Return a shop of 200 bows without slips."""
    return simulate(seed=4711, builds=200)


@pytest.fixture(scope="module")
def contents(shop):
    """Return its book."""
    return Contents.of(shop.records)


def assert_scatter(errors, sd):
    """The mean square of errors about nought fits its standard deviation (chi-square bounds for normal errors)."""
    errors = np.asarray(errors)
    low, high = stats.chi2.ppf([FALSE_ALARM / 2, 1 - FALSE_ALARM / 2], errors.size)
    assert low <= np.sum(errors**2) / sd**2 <= high


def finished(bow):
    """Return a bow's finished weighing."""
    return next(weighed for weighed in bow.weighed if weighed.stage is Stage.FINISHED)


def test_shops_differ_as_stated():
    """Over the seeds 0 to 399 materials, forms, scales and habits scatter by their stated sizes."""
    shops = [draw_shop(np.random.default_rng(seed), SCATTER) for seed in range(400)]
    assert_scatter([shop.theory for shop in shops], SCATTER.theory)
    assert_scatter([shop.materials[GLASS] for shop in shops], SCATTER.glass)
    assert_scatter(
        [value for shop in shops for name, value in shop.materials.items() if name != GLASS], SCATTER.wood
    )
    assert_scatter([value for shop in shops for value in shop.forms.values()], SCATTER.form)
    assert_scatter([value for shop in shops for value in shop.scales.values()], SCATTER.scale)
    assert_scatter([shop.method_gain[method] - 1 for shop in shops for method in Method], SCATTER.method_gain)
    settling = [shop.settling_at_500 for shop in shops]
    assert min(settling) > 0
    sd = SCATTER.settling_mean * SCATTER.settling_shop
    assert np.mean(settling) == pytest.approx(SCATTER.settling_mean, abs=4 * sd / 20)


def test_lots_scatter_and_arrive_as_stated():
    """A lot scatters about its material's mean, and a delivery comes in about every 25 builds."""
    shop = simulate(seed=12, builds=30, scatter=Scatter(lot_every=1.0)).truth
    for material in shop.materials:
        logs = np.log([psi for (name, _), psi in shop.lots.items() if name == material])
        sd = SCATTER.glass_lot if material == GLASS else SCATTER.wood_lot
        assert_scatter((logs - logs.mean()) * np.sqrt(len(logs) / (len(logs) - 1)), sd)
    assert len(shop.lots) == 6 * 30


def test_deliveries(shop):
    """Six shelves get a delivery each with chance 1 in 25 before every build after the first."""
    later = len(shop.truth.lots) - 6
    low, high = stats.binom.ppf([FALSE_ALARM / 2, 1 - FALSE_ALARM / 2], 6 * 199, 1 / SCATTER.lot_every)
    assert low <= later <= high


def test_bows_differ_as_stated(shop):
    """What sets one bow apart from its twin has the stated sizes."""
    truth, bows = shop.truth, shop.truth.bows.values()
    moduli = [(key, psi / truth.lots[key]) for bow in bows for key, psi in bow.moduli.items()]
    assert_scatter([np.log(ratio) for (name, _), ratio in moduli if name != GLASS], SCATTER.wood_bow)
    assert_scatter([np.log(ratio) for (name, _), ratio in moduli if name == GLASS], SCATTER.glass_bow)
    assert_scatter([bow.shape for bow in bows], SCATTER.bow)
    first = [bow.weighed[0].bow for bow in bows]
    assert_scatter([bow.nock_offset_shift for bow in first], SCATTER.nock_offset_in)
    assert_scatter([bow.string_stiffness_factor - 1 for bow in first], SCATTER.string)
    assert_scatter([bow.glue_line - 0.004 for bow in first], SCATTER.glue_line_in)
    assert_scatter([bow.upper.edge_radius[1][0] - 0.04 for bow in first], SCATTER.radius_in)
    traps = [limb.width_back[1][0] - limb.width_belly[1][0] for bow in first for limb in [bow.upper]]
    assert_scatter(traps, SCATTER.trap_in)
    unlike = [
        (b.upper.width_belly[1][0] - b.lower.width_belly[1][0]) / (2 * b.upper.width_belly[1][0])
        for b in first
    ]
    assert_scatter(unlike, SCATTER.limbs)
    assert_scatter([share - 1 for bow in bows for share in bow.carried_out], SCATTER.carried_out)


def test_notes_miss_the_truth_as_stated(shop, contents):
    """Noted lams and brace miss the true ones by the stated scatters; rounding to a thousandth adds its share."""
    glass, core, planned, brace = [], [], [], []
    for build in contents.builds.values():
        true = shop.truth.bows[build.id].weighed[0].bow
        for layer, upper, lower in zip(build.layers, true.upper.lams, true.lower.lams, strict=True):
            butt = (upper.thickness[0] + lower.thickness[0]) / 2
            miss, wave = layer.butt_in.inch - butt, SCATTER.waviness * butt
            if layer.part is Part.GLASS:
                glass.append(miss)
            elif layer.butt_in.taken is Taken.PLANNED:
                planned.append(miss / np.hypot(SCATTER.planned_lam_in, wave))
            else:
                core.append(miss / np.sqrt(SCATTER.lam_in**2 + wave**2 + 0.001**2 / 12))
        if all(event.weigh_in for event in shop.truth.bows[build.id].weighed):
            brace.append(from_back(build.brace.inch, build.brace.zero, true.pivot_depth) - true.brace)
    assert_scatter(glass, np.hypot(SCATTER.glass_in, 0.001 / np.sqrt(12)))
    assert_scatter(core, 1.0)
    assert_scatter(planned, 1.0)
    assert_scatter(brace, SCATTER.brace_in)


def test_readings_scatter_as_stated(shop):
    """Air and draw readings scatter by their stated sizes."""
    weighed = [weighed for bow in shop.truth.bows.values() for weighed in bow.weighed]
    assert_scatter([one.climate for one in weighed], SCATTER.climate)
    assert_scatter([error for one in weighed for error in one.draw_errors_in], SCATTER.draw_in)


def test_scales_read_as_stated(shop, contents):
    """What is noted at 28 in is the true weight in that day's air, on that scale, misread by the stated scatter."""
    noted, true, moduli, steps = [], [], [], []
    for bow in shop.truth.bows.values():
        for one in bow.weighed:
            event = contents.event(one.weigh_in or "")
            draws = [(r.draw.inch, r.draw.zero) for r in event.readings] if event else []
            if (28.0, ZeroPoint.STANDARD) in draws and event.scale:
                place = draws.index((28.0, ZeroPoint.STANDARD))
                noted.append(event.readings[place].weight.lbf)
                true.append(
                    (one, np.exp(one.climate + shop.truth.scales[event.scale]), one.draw_errors_in[place])
                )
                moduli.append(bow.moduli)
                steps.append(SCALES[event.scale])
    draws = np.array([[from_back(28.0, ZeroPoint.STANDARD, one.bow.pivot_depth)] for one, _, _ in true])
    solved = weights([one.bow for one, _, _ in true], moduli, draws)
    per_inch = (solved.lbf_per_in / solved.lbf)[:, 0]
    expected = [
        one.lbf_at_28 * factor * (1 + slope * error)
        for (one, factor, error), slope in zip(true, per_inch, strict=True)
    ]
    misread = (np.array(noted) - expected) / np.hypot(SCATTER.scale_lbf, np.array(steps) / np.sqrt(12))
    assert len(misread) > 150
    assert_scatter(misread, 1.0)


def test_a_removal_takes_its_methods_share(shop, contents):
    """What a removal takes of the true weight is the statics' loss times the gain of its method in this shop."""
    checked = Counter()
    for build_id, bow in list(shop.truth.bows.items())[:60]:
        removals = [event for event in contents.events[build_id] if isinstance(event, Removal)]
        passes = [one for one in bow.weighed if one.stage in (Stage.FIRST_DRAW, Stage.TILLERED)]
        if not removals:
            continue
        draw = from_back(28.0, ZeroPoint.STANDARD, passes[0].bow.pivot_depth)
        solved = limb_by_limb(
            [one.bow for one in passes], [bow.moduli] * len(passes), np.full((len(passes), 1), draw)
        )
        lbf = solved.mean(solved.drawn.force)[:, 0]
        physics, true = np.diff(np.log(lbf)), np.diff(np.log([one.lbf_at_28 for one in passes]))
        for removal, by_statics, taken in zip(removals, physics, true, strict=True):
            assert taken == pytest.approx(by_statics * shop.truth.method_gain[removal.method], rel=1e-6)
            assert taken < 0
            checked[removal.method] += 1
    assert set(checked) == {Method.SIDES, Method.TRAP, Method.EDGES, Method.BELLY_GLASS}


def test_a_shape_counts_more_at_short_draws():
    """A shape's effect at 28 in is as stated, and grows toward brace."""
    at = shape_effect(0.02, np.array([20.0, 24.0, 28.0, 30.0]))
    assert at[2] == pytest.approx(0.02)
    assert np.all(np.diff(at) < 0)


def test_losses_are_losses(shop):
    """Finish sanding and shooting in always take weight, by their stated mean."""
    bows = shop.truth.bows.values()
    finish = -np.array([bow.finish_loss for bow in bows])
    assert finish.min() > 0
    assert finish.mean() == pytest.approx(SCATTER.finish_mean, abs=4 * SCATTER.finish / np.sqrt(len(finish)))
    settling = np.array([bow.settling_at_500 for bow in bows])
    sd = SCATTER.settling * shop.truth.settling_at_500
    assert settling.min() > 0
    assert settling.mean() == pytest.approx(shop.truth.settling_at_500, abs=4 * sd / np.sqrt(len(settling)))
    for bow in bows:
        settled = [one.lbf_at_28 for one in bow.weighed if one.stage in (Stage.FINISHED, Stage.SETTLED)]
        assert settled == sorted(settled, reverse=True)


def test_the_shop_narrows_heavy_bows(shop):
    """The stiffer a bow for its stack, the narrower it ends; so a finished width tells of the bow (selection)."""
    stiffness, width = [], []
    for bow in shop.truth.bows.values():
        start, end = bow.weighed[0].bow, bow.weighed[-1].bow
        stiffness.append(bow.weighed[0].lbf_at_28 / bow.target_lbf)
        width.append(end.upper.width_back[1][0] / start.upper.width_back[1][0])
    found = stats.spearmanr(stiffness, width)
    assert found.statistic < -0.5
    targets = [finished(bow).lbf_at_28 / bow.target_lbf for bow in shop.truth.bows.values()]
    assert np.std(targets) < 0.7 * np.std(stiffness)


def test_records_tell_nearly_the_truth(shop, contents):
    """Noted bows miss their true weight by what the tolerances of their dimensions make, carried through the statics.

    Compared at the bows' true moduli, on first draws; only a bow's own shape is added to the tolerances.
    """
    cases, true_log, moduli = [], [], []
    for build_id, bow in list(shop.truth.bows.items())[:60]:
        first = bow.weighed[0]
        if first.weigh_in:
            build = contents.builds[build_id]
            form = contents.form_of(build)
            events = events_until(contents.events[build_id], contents.event(first.weigh_in))
            draw = from_back(28.0, ZeroPoint.STANDARD, form.handle_depth_in.inch)
            cases.append(Case(form, build, events, (draw,)))
            moduli.append(bow.moduli)
            true_log.append(np.log(first.lbf_at_28) - shop.truth.theory - shop.truth.forms[build.form])
    noted = [bow_at(case.form, case.build, case.events) for case in cases]
    errors = np.log(weights(noted, moduli, np.array([case.draws_in for case in cases])).lbf[:, 0]) - true_log
    sds = [
        np.sqrt(
            SCATTER.bow**2 + sum((effect.log_effect[0] * effect.input.sd) ** 2 for effect in found.inputs)
        )
        for found in features(cases, contents.materials)
    ]
    assert len(errors) > 25
    assert 0.75 < np.sqrt(np.mean((errors / sds) ** 2)) < 1.35


def test_old_notebooks_keep_the_finished_weighing_alone(shop, contents):
    """Of about a third of the bows only the finished weighing is kept, with the widths of that moment."""
    kept = Counter(
        len([w for w in bow.weighed if w.weigh_in]) == len(bow.weighed) for bow in shop.truth.bows.values()
    )
    low, high = stats.binom.ppf([FALSE_ALARM / 2, 1 - FALSE_ALARM / 2], 200, SCATTER.only_finished)
    assert low <= kept[False] <= high
    for build_id, bow in shop.truth.bows.items():
        if bow.weighed[0].weigh_in is None:
            (event,) = contents.events[build_id]
            assert event.stage is Stage.FINISHED
            noted = contents.builds[build_id].widths[0].belly_in.inch
            true = np.mean(
                [limb.width_belly[1][0] for limb in (bow.weighed[-1].bow.upper, bow.weighed[-1].bow.lower)]
            )
            assert noted == pytest.approx(true, abs=1 / 32)


def test_no_bow_is_read_too_early(contents):
    """The invented shop keeps the trade's rule of about thirty full draws, so all of its readings count."""
    assert [one for events in contents.events.values() for one in not_counted(events)] == []


def test_same_seed_same_shop():
    """A seed gives the same records again, and another seed gives others."""
    once, again, other = (simulate(seed, builds=6) for seed in (8, 8, 9))
    assert once == again
    assert once.typed != other.typed


def test_side_by_side_each_shop_is_as_alone():
    """Shops run side by side have the records that each has alone, and its truth to 1e-9 of every weight."""
    ways = {"builds": 7, "mistakes": True, "fresh_lots": 1, "held_lots": 1, "spoilt": 0.3}
    alone = [simulate(seed, **ways) for seed in (8, 9)]
    together = simulate_side_by_side((8, 9), **ways)
    assert [shop.typed for shop in together] == [shop.typed for shop in alone]
    for ours, theirs in zip(together, alone, strict=True):
        weighed = [
            [moment for bow in shop.truth.bows.values() for moment in bow.weighed] for shop in (ours, theirs)
        ]
        assert [one.bow for one in weighed[0]] == [one.bow for one in weighed[1]]
        lbf = [[one.lbf_at_28 for one in each] for each in weighed]
        assert lbf[0] == pytest.approx(lbf[1], rel=1e-9)
        assert replace(ours.truth, bows={}) == replace(theirs.truth, bows={})


def test_slips_leave_the_truth_alone():
    """With mistakes switched on the truth is the same but for the list of slips, and only the named records differ."""
    right, wrong = (simulate(seed=5, builds=40, mistakes=on) for on in (False, True))
    assert right.truth.bows == wrong.truth.bows
    changed = [w.data["id"] for r, w in zip(right.typed, wrong.typed, strict=True) if r != w]
    assert changed == [mistake.record for mistake in wrong.truth.mistakes]
    assert changed
    assert not right.truth.mistakes


def test_fresh_lots():
    """The last bows asked for are each of lots that no other bow has."""
    shop = simulate(seed=6, builds=12, fresh_lots=4)
    users = Counter(key for bow in shop.truth.bows.values() for key in bow.moduli)
    last = list(shop.truth.bows.values())[-4:]
    assert all(users[key] == 1 for bow in last for key in bow.moduli)


def test_held_lots():
    """While lots are held, bows of one wood and glass share their lots, though deliveries were daily before."""
    shop = simulate(seed=6, builds=22, scatter=Scatter(lot_every=1), held_lots=12, fresh_lots=4)
    bows = list(shop.truth.bows.values())
    before, held, _ = bows[:6], bows[6:18], bows[18:]
    assert len({key for bow in before for key in bow.moduli}) == 2 * len(before)
    assert len({key for bow in held for key in bow.moduli}) <= len(WOODS) + len(GLASSES_IN)


def test_spoilt_bows_say_so():
    """Builds with a fault may not teach, and give the reason."""
    shop = simulate(seed=7, builds=12, spoilt=1.0)
    builds = list(Contents.of(shop.records).builds.values())
    assert not any(build.teaches for build in builds)
    assert all(build.why_not for build in builds)


def test_chain_gives_the_same_bows():
    """With the link chain in place of the statics the first weights of all bows agree to 0.03 %."""
    statics, chain = (simulate(seed=10, builds=15, chain=chain) for chain in (False, True))
    first = [[bow.weighed[0].lbf_at_28 for bow in shop.truth.bows.values()] for shop in (statics, chain)]
    assert first[1] == pytest.approx(first[0], rel=3e-4)
