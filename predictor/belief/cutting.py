"""What a shop's cutting tells of a bow: one that had to be narrowed much was likely heavier than the statics say.

A shop takes stock off until the scale shows what was ordered, so what a finished bow was cut by is a reading of how
much heavier it came out than the shop had reckoned: of its lots, its own dimensions and its own stiffness. What all
bows of a shop share tells nothing here, for the shop reckons with it. The reading is a rough one: orders are lighter or
heavier than what a stack was pressed for, and that scatter is learned as any other. A bow that nobody has cut to its
weight yet, such as a planned one, has no such reading.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import log
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from datasets.removals import GAIN_OF, amount_of
from predictor.belief.beyond import BEYOND, LENGTH, STACK, WIDTH
from predictor.belief.called_for import called_for
from predictor.belief.carrying_out import PLANS_OF
from predictor.belief.columns import DRAW_SHAPE, FINISHED, Columns, Moment, Prior, Tolerance
from predictor.belief.scatter import BOW, CUT_TO_ORDER, LOTS_OF_GLASS, LOTS_OF_WOOD, SCALES, UNNOTED_SCALE
from predictor.belief.usual_cut import UsualCut

USUAL_CUT = "the shop's usual cut"
USUAL_CUT_PRIOR = Prior(UsualCut().called_for, 0.05)
"""Logarithm of the weight before over the weight after: common practice, no source."""

NOTED_SD = 0.01
"""How well records tell what a bow was cut by: a sixty-fourth of its width."""

RECKONED_SD = 0.1
"""How far off a shop's own reckoning of what it takes off is, as a share of it: common practice, no source."""

LEFT_OPEN = "what a cut leaves open"

EXACT = 1e-3
"""Standard deviation of a row whose errors have columns of their own; a fit wants one above zero."""


@dataclass(frozen=True)
class CutReading:
    """What a finished bow was cut by, as a reading of the bow.

    Attributes:
        columns: what it depends on, one row.
        log_share: logarithm of the weight before over the order.
    """

    columns: Columns
    log_share: float


@dataclass(frozen=True)
class SeenCut:
    """What a bow was cut by, as records show it.

    Attributes:
        log_share: logarithm of the weight before over the weight after.
        sd: of that.
    """

    log_share: float
    sd: float


class Told(Protocol):
    """A weighing of a build: what explains it."""

    @property
    def weigh_in(self) -> str:
        """Its id."""

    @property
    def moment(self) -> Moment:
        """What it depends on besides the geometry."""

    @property
    def columns(self) -> Columns:
        """What its readings depend on."""


def cut_of(weighings: Sequence[Told], usual: UsualCut) -> CutReading | None:
    """Return what a bow was cut by, once it is finished; nothing where that is not known.

    A bow is cut because it reads heavy, by chance too: a cut shares all errors of the reading that called for it, where
    that is on record. So beside that reading it tells next to nothing; to whoever does not know the reading it tells of
    the bow.

    Args:
        weighings: of one build, in order of time.
        usual: what is usual in the shop.
    """
    seen = seen_of(weighings, usual)
    told = None if seen is None else called_for(seen.log_share, seen.sd, usual)
    if told is None:
        return None
    called = _that_called_for_it(weighings)
    if called is None:
        return CutReading(_explained(_before_any(weighings[-1].columns), told.sd), told.log_share)
    return CutReading(_explained(called.columns, told.sd, called.weigh_in), told.log_share)


def _that_called_for_it(weighings: Sequence[Told]) -> Told | None:
    """Return the weighing that was followed by the last removal, or the last unfinished one where none was."""
    unfinished = [one for one in weighings if one.moment.stage not in FINISHED]
    lost = _lost(weighings[-1].columns)
    heavier = [one for one in unfinished if _lost(one.columns) < lost]
    return next(reversed(heavier or unfinished), None)


def cut_until(columns: Columns, moment: Moment, usual: UsualCut) -> CutReading | None:
    """Return what a bow was cut by until a weighing, of which its earlier weighings are not told.

    Args:
        columns: of the weighing.
        moment: of the weighing.
        usual: what is usual in the shop.
    """
    seen = _seen(columns, moment, usual, uncut=False)
    told = None if seen is None else called_for(seen.log_share, seen.sd, usual)
    return None if told is None else CutReading(_explained(_before_any(columns), told.sd), told.log_share)


def seen_of(weighings: Sequence[Told], usual: UsualCut) -> SeenCut | None:
    """Return what records show that a bow was cut by, once it is finished; see `cut_of`."""
    if not weighings or weighings[-1].moment.stage not in FINISHED:
        return None
    last = weighings[-1]
    return _seen(last.columns, last.moment, usual, uncut=weighings[0].moment.stage not in FINISHED)


def _seen(columns: Columns, moment: Moment, usual: UsualCut, *, uncut: bool) -> SeenCut | None:
    """Return what records show that a bow was cut by until a weighing.

    Where removals are on record, or the bow was weighed before any, they tell it by the statics. Otherwise its width
    does, against the usual first width on its form: weight goes with width where equal shares are taken all along.
    Nothing in a shop that has taught no first width yet.

    Args:
        columns: of the weighing.
        moment: of the weighing.
        usual: what is usual in the shop.
        uncut: whether an earlier weighing shows that nothing went off without a record.
    """
    if not usual.first_width_in:
        return None
    if _gains(columns) or uncut:
        lost = _lost(columns)
        return SeenCut(lost, float(np.hypot(NOTED_SD, RECKONED_SD * lost)))
    if moment.form not in usual.first_width_in:
        return None
    narrowed = log(usual.first_width_in[moment.form] / columns.sizes_in[WIDTH])
    return SeenCut(narrowed, float(np.hypot(NOTED_SD, usual.first_width_sd)))


def _lost(columns: Columns) -> float:
    """Return the loss by the statics of all removals on record, a logarithm of weight.

    Shortening has no gain and takes nothing.
    """
    row = _main_row(columns)
    return -sum(float(columns.common[name][row]) for name in _gains(columns))


def _before_any(columns: Columns) -> Columns:
    """Return columns without what removals bring into them: the reading that called for the last one is not known."""
    kept = {
        name: column for name, column in columns.common.items() if not name.startswith((GAIN_OF, PLANS_OF))
    }
    carried = tuple(given for given in columns.tolerances if amount_of(given.source) is None)
    return replace(columns, common=kept, tolerances=carried, weighing=())


def _explained(columns: Columns, open_sd: float, called: str = "") -> Columns:
    """Return what a cut depends on: all that the shop cannot know but by the reading that calls for it.

    Args:
        columns: of that reading's weighing, or as they would be.
        open_sd: of what the cut leaves open.
        called: id of that weighing; nothing where it is not on record.
    """
    row = _main_row(columns)

    def there(column: NDArray[np.float64]) -> NDArray[np.float64]:
        return column[row : row + 1]

    nothing, whole = np.zeros(1), np.ones(1)
    beyond = [BEYOND[size] for size in (STACK, LENGTH) if BEYOND[size] in columns.common]
    unknown = [*_gains(columns), *beyond]
    own = {BOW: whole, CUT_TO_ORDER: whole, UNNOTED_SCALE: there(columns.build[UNNOTED_SCALE])}
    return Columns(
        offset=nothing,
        sizes_in=columns.sizes_in,
        common={USUAL_CUT: whole} | {name: there(columns.common[name]) for name in unknown},
        priors={USUAL_CUT: USUAL_CUT_PRIOR} | {name: columns.priors[name] for name in unknown},
        groups={
            group: {level: there(column) for level, column in columns.groups.get(group, {}).items()}
            for group in (LOTS_OF_WOOD, LOTS_OF_GLASS, SCALES)
        },
        unnoted={
            group: {material: there(column) for material, column in lots.items()}
            for group, lots in columns.unnoted.items()
        },
        build=dict.fromkeys(columns.build, nothing) | own,
        tolerances=tuple(
            Tolerance(given.name, given.source, there(given.column)) for given in columns.tolerances
        ),
        weighing=(
            *(
                Tolerance(given.name, given.source, there(given.column), given.of or called)
                for given in columns.weighing
            ),
            Tolerance(LEFT_OPEN, LEFT_OPEN, open_sd * whole),
        ),
        sd=EXACT * whole,
    )


def _main_row(columns: Columns) -> int:
    """Return the place of the reading nearest to 28 in."""
    return int(np.argmin(np.abs(columns.common[DRAW_SHAPE])))


def _gains(columns: Columns) -> list[str]:
    """Return the names of the gains of removals on record."""
    return [name for name in columns.common if name.startswith(GAIN_OF)]
