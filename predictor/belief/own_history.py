"""A bow's own weighings in its prediction: laid beside what is wanted, and counted once.

A weighing may be a slip, so that the bow's other readings and what the shop's other builds say decide how far it is
followed: the mixture over "all is sound", "the bow's record is wrong", "one weighing is wrong", "one reading is wrong"
and "the bow was cut by something else than its weight" (Box and Tiao, Biometrika 55 (1968), 119-129, from memory), each
conditioned in closed form. A wrong record, such as a layer not noted, shifts what is wanted as well; a wrong weighing,
reading or cut shifts itself only.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from predictor.belief.columns import Columns, Named, Tolerance
from predictor.belief.cutting import CutReading, cut_of
from predictor.belief.mixture import JointMixture
from predictor.belief.model import Taught
from predictor.belief.posterior import Posterior, Rows, log_density, predict, without
from predictor.belief.scatter import SCALES, UNNOTED_SCALE
from predictor.belief.seen import seen_by
from predictor.belief.usual_cut import UsualCut
from predictor.belief.weighings import Weighing

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Slips:
    """What slips of the pencil look like before a reading is seen.

    Attributes:
        build_share: of builds whose record is wrong, so that all readings are shifted.
        weighing_share: of weighings with all readings shifted.
        reading_share: of readings that are wrong by themselves.
        cut_share: of bows that were cut by much more or less than their weight called for.
        sd: standard deviation of the shift of the logarithm of weight.
    """

    build_share: float = 0.03
    weighing_share: float = 0.02
    reading_share: float = 0.01
    cut_share: float = 0.03
    sd: float = 0.25


USUAL_SLIPS = Slips()

NOT_WEIGHED = -1
"""Number of the weighing of an own row that no scale showed: what the bow was cut by."""


def together(weighings: Sequence[tuple[str, Columns]]) -> Columns:
    """Lay the columns of several weighings of one build under one another, aligned by name.

    Inputs of one name, such as the thickness of a lam or its lot that nobody noted, are shared by all; what is a
    weighing's own stays its own, and the air of a day that of all weighings on that day.

    Args:
        weighings: each with a key of its own; those of one key share what is a weighing's own as well. The sizes of
            the last one stand for all.
    """
    told = [columns for _, columns in weighings]
    counts = [len(columns.offset) for columns in told]
    own = [
        [replace(given, name=given.name_beside(key)) for given in columns.weighing]
        for key, columns in weighings
    ]
    return Columns(
        offset=np.concatenate([columns.offset for columns in told]),
        sizes_in=told[-1].sizes_in,
        common=_laid([columns.common for columns in told], counts),
        priors={name: prior for columns in told for name, prior in columns.priors.items()},
        groups=_laid_groups([columns.groups for columns in told], counts),
        build=_laid([columns.build for columns in told], counts),
        tolerances=tuple(_shared([columns.tolerances for columns in told], counts)),
        weighing=tuple(_shared(own, counts)),
        sd=np.concatenate([columns.sd for columns in told]),
        unnoted=_laid_groups([columns.unnoted for columns in told], counts),
    )


def _laid(named: Sequence[Named], counts: Sequence[int]) -> Named:
    """Return columns by name over all rows; zeros where a weighing lacks one."""
    names = dict.fromkeys(name for some in named for name in some)
    return {
        name: np.concatenate(
            [some.get(name, np.zeros(count)) for some, count in zip(named, counts, strict=True)]
        )
        for name in names
    }


def _laid_groups(told: Sequence[Mapping[str, Named]], counts: Sequence[int]) -> Mapping[str, Named]:
    """Return the columns of each group by name over all rows."""
    return {
        group: _laid([groups.get(group, {}) for groups in told], counts)
        for group in dict.fromkeys(group for groups in told for group in groups)
    }


def _shared(given: Sequence[Iterable[Tolerance]], counts: Sequence[int]) -> Iterator[Tolerance]:
    sources = {one.name: one.source for some in given for one in some}
    columns = _laid([{one.name: one.column for one in some} for some in given], counts)
    for name, column in columns.items():
        yield Tolerance(name, sources[name], column)


def exactly_read(told: Columns) -> Columns:
    """Return the columns of the force itself in the usual air: no scale, no reading error, nothing of the day."""
    return replace(
        told,
        groups={group: {} if group == SCALES else levels for group, levels in told.groups.items()},
        build={**told.build, UNNOTED_SCALE: np.zeros_like(told.offset)},
        weighing=(),
        sd=np.zeros_like(told.sd),
    )


def before_it_taught(
    belief: Posterior, taught: Taught, weighings: Sequence[Weighing], usual: UsualCut
) -> Posterior:
    """Return a belief without what one build taught it.

    Args:
        belief: of the model.
        taught: the build's part in it.
        weighings: of the build, at least those that taught, explained as in the fit.
        usual: the shop's usual cut, as in the fit.

    Raises:
        ValueError: these weighings did not teach it so.
    """
    mine = {weighing.weigh_in: weighing for weighing in weighings if weighing.weigh_in in taught.weigh_ins}
    if tuple(mine) != taught.weigh_ins:
        raise ValueError(
            f"wanted weigh-ins {', '.join(taught.weigh_ins)}, got {', '.join(mine)}: train again"
        )
    taught_by = list(mine.values())
    cut = cut_of(taught_by, usual)
    laid, values = laid_with_cut(taught_by, cut)
    seen = seen_by(belief, together(laid))
    return without(belief, seen.rows, values - seen.offset, taught.doubts_added())


def laid_with_cut(
    weighings: Sequence[Weighing], cut: CutReading | None
) -> tuple[list[tuple[str, Columns]], Array]:
    """Return weighings of a bow for `together`, what it was cut by below them, and what they read."""
    laid = [(one.weigh_in, one.columns) for one in weighings]
    values = [np.zeros(0), *(one.log_weight for one in weighings)]
    if cut is not None:
        laid.append((CUT_KEY, cut.columns))
        values.append(np.array([cut.log_share]))
    return laid, np.concatenate(values)


CUT_KEY = "cut"


@dataclass(frozen=True)
class Conditioned:
    """What is believed of n wanted readings for each of H things that may be wrong and each of K sets of scales.

    Attributes:
        weights: shape (H, K), adding up to one.
        means: of the logarithms of weight, shape (H, K, n).
        covariances: shape (H, K, n, n).
        gains: how far each wanted reading follows each of m own ones, shape (H, K, n, m).
        shifts: what a slip shifts, own rows and then wanted ones, shape (H, m + n); zeros where all is sound.
    """

    weights: Array
    means: Array
    covariances: Array
    gains: Array
    shifts: Array

    @property
    def joint(self) -> JointMixture:
        """The wanted readings as one mixture."""
        n = self.means.shape[-1]
        return JointMixture(
            self.weights.ravel(), self.means.reshape(-1, n), self.covariances.reshape(-1, n, n)
        )


def conditioned(
    belief: Posterior,
    rows: Rows,
    values: Array,
    weighing: Sequence[int],
    slips: Slips = USUAL_SLIPS,
) -> Conditioned:
    """Predict readings of a build, given own ones that may hold a slip.

    Args:
        belief: that has not learned from the own readings.
        rows: own readings first, then the wanted ones.
        values: of the own readings, offsets taken off, shape (m,); may be empty.
        weighing: number of each own reading's weighing; `NOT_WEIGHED` for what the bow was cut by.
        slips: what slips look like.
    """
    m = len(values)
    prior = predict(belief, rows)
    log_shares, shifts = _possible(np.asarray(weighing, dtype=np.intp), len(rows.sd), slips)
    covariances = prior.covariances + slips.sd**2 * (shifts[:, None, :, None] * shifts[:, None, None, :])
    own = covariances[..., :m, :m]
    gains = np.swapaxes(np.linalg.solve(own, covariances[..., :m, m:]), -1, -2)
    errors = np.broadcast_to(values - prior.means[:, :m], (len(shifts), len(prior.weights), m))
    log_weights = log_shares[:, None] + np.log(prior.weights) + log_density(errors, own)
    weights = np.exp(log_weights - log_weights.max())
    return Conditioned(
        weights=weights / weights.sum(),
        means=prior.means[:, m:] + (gains @ errors[..., None])[..., 0],
        covariances=covariances[..., m:, m:] - gains @ covariances[..., :m, m:],
        gains=gains,
        shifts=shifts,
    )


def _possible(weighing: NDArray[np.intp], rows: int, slips: Slips) -> tuple[Array, Array]:
    """Return the log share of each thing that may be wrong and the rows that it shifts, sound first.

    The order is: sound, the bow's record, each weighing, each own row by itself: a reading, or what the bow was cut by.
    Without own readings nothing can be told.
    """
    m = len(weighing)
    if not m:
        return np.zeros(1), np.zeros((1, rows))
    read = weighing != NOT_WEIGHED
    weighings = np.unique(weighing[read])
    shifts = np.zeros((2 + len(weighings) + m, rows))
    shifts[1] = 1.0
    shifts[1, :m] = read
    shifts[2 : 2 + len(weighings), :m] = weighing == weighings[:, None]
    shifts[2 + len(weighings) :, :m] = np.eye(m)
    alone = np.where(read, slips.reading_share, slips.cut_share)
    shares = np.array([slips.build_share, *[slips.weighing_share] * len(weighings), *alone])
    shares = shares / max(1.0, 2 * shares.sum())
    return np.log([1 - shares.sum(), *shares]), shifts
