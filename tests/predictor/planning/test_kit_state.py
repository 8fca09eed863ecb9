"""What a kit will settle at after a cut: against 20,000 bows drawn by lot, each with its own losses."""

from functools import cache

import numpy as np
import pytest

from datasets.materials import handbook
from datasets.schema import Event, Removal, Stage
from predictor.belief.columns import Columns, columns
from predictor.belief.scatter import PRIOR_SCATTER
from predictor.belief.weighings import moment_at
from predictor.bows.features import Case, Features, features
from predictor.planning.cut_patterns import patterns, removals
from predictor.planning.kit_state import KitState
from tests.predictor.drawn_by_lot import Lots, Weighted, slips
from tests.predictor.example_bows import STRAIGHT, build
from tests.predictor.kits import DRAW, DRAW_IN, kit, state, weigh_in

READ_LBF = 50.0
TARGET_LBF = 45.0


def cut() -> tuple[Removal, ...]:
    """Return a plan that takes about a twelfth off the width."""
    possible = patterns(kit(), DRAW_IN, handbook(), (0.3, 0.2), 0.2)
    return removals(kit(), possible.stations_in, possible.amounts_in[possible.deepest_within(1 / 12)])


def depends_on(events: tuple[Event, ...], stage: Stage, shots: int) -> Columns:
    """Return what a weighing of the plain bow on its scale depends on."""
    (found,) = features([Case(STRAIGHT, build(), events, (DRAW_IN,))], handbook())
    assert isinstance(found, Features)
    moment = moment_at(STRAIGHT, build(), [DRAW], stage, shots, "hook")
    return columns(found, moment, handbook(), PRIOR_SCATTER)


@cache
def settled_by_lot(with_cut: bool) -> Weighted:
    """Return the logarithm of the settled weight of bows that read 50 lb before the cut."""
    lots = Lots(20261125)
    reading = depends_on((), Stage.TILLERED, 0)
    settled = lots.log_lbf(depends_on(cut() if with_cut else (), Stage.SETTLED, 500))
    read, slipped = lots.log_lbf(reading), slips(lots.rng)
    error = np.hypot(reading.sd[0], reading.weighing[0].column[0])
    off = np.log(READ_LBF) - read - slipped.sum(axis=0)
    # A wrong record of the bow shifts what it settles at as well.
    return Weighted(settled + slipped[0], np.exp(-((off / error) ** 2) / 2))


def told() -> tuple[KitState, float]:
    """Return the state of the kit that read 50 lb, and the logarithm of the loss that the statics tell of the cut."""
    bows = [(), cut()]
    found = features([Case(STRAIGHT, build(), events, (DRAW_IN,)) for events in bows], handbook())
    before, after = (one.weight_lbf[0] for one in found if isinstance(one, Features))
    return state(weigh_in(1, READ_LBF)), float(np.log(before / after))


@pytest.mark.parametrize("with_cut", [False, True])
def test_settled_weight_is_that_of_bows_drawn_by_lot(with_cut: bool) -> None:
    """Mean and sd of the settled weight, as it stands and after a cut, are those of 20,000 bows, to 4 standard errors.

    The bows are drawn from all that a weight depends on and weighted by how well they agree with the reading; the state
    has closed forms, and takes the doubt about the cut as independent of the bow's own weight.
    """
    lots = settled_by_lot(with_cut)
    found, loss = told()
    loss = found.gain * loss if with_cut else 0.0
    sd = np.hypot(found.can_tell_lbf, found.noise.after_lbf) / TARGET_LBF

    assert lots.bows > 1000
    assert np.log(found.settled_lbf) - loss == pytest.approx(lots.mean, abs=4 * lots.mean_error)
    assert np.hypot(sd, found.noise.share * loss) == pytest.approx(lots.sd, abs=4 * lots.sd_error)
