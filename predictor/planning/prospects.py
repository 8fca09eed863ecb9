"""What bows that are not pressed yet will weigh: when first strung, and when they have settled.

Both are mixtures of normals for the logarithm of weight, as of any prediction. Two planned bows share the doubt about
moduli, lots, form and scale, so their difference is known better than either.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from datasets.schema import Build, Form, Stage
from predictor.belief.columns import Columns, Named, Tolerance, columns
from predictor.belief.habits import USUAL
from predictor.belief.mixture import NormalMixture
from predictor.belief.own_history import exactly_read
from predictor.belief.posterior import Array
from predictor.belief.scatter import PRIOR_SCATTER
from predictor.belief.weighings import draws_from_back, moment_at
from predictor.bows.bow import Refusal
from predictor.bows.features import Case, Features, features
from predictor.planning.knowledge import Knowledge
from predictor.planning.promise import Judged


@dataclass(frozen=True)
class Prospect:
    """What is expected of a planned bow at one draw.

    Attributes:
        statics: logarithm of the weight by the statics at handbook moduli.
        first: logarithm of the weight when it is first strung.
        settled: logarithm of the weight after finishing and shooting in, if no stock is taken off on purpose.
        told: what the settled weight depends on.
    """

    statics: float
    first: NormalMixture
    settled: NormalMixture
    told: Columns


def prospects(
    form: Form, builds: Sequence[Build], judged: Judged, knowledge: Knowledge
) -> list[Prospect | Refusal]:
    """Return what is expected of bows of one form, all solved in batches.

    Args:
        form: that they are to be pressed on.
        builds: as they are to be cut.
        judged: when and how their weight counts.
        knowledge: of the shop.

    Returns:
        For each bow what is expected, or why nothing is.
    """
    draws_in = draws_from_back(form, [judged.draw])
    found = features([Case(form, build, (), draws_in) for build in builds], knowledge.materials)
    return [
        one if isinstance(one, Refusal) else _prospect(form, build, one, judged, knowledge)
        for build, one in zip(builds, found, strict=True)
    ]


def _prospect(form: Form, build: Build, found: Features, judged: Judged, knowledge: Knowledge) -> Prospect:
    first = _explained(form, build, found, judged, knowledge, Stage.FIRST_DRAW, 0)
    settled = _explained(form, build, found, judged, knowledge, Stage.SETTLED, judged.shots)
    return Prospect(
        statics=float(settled.offset[0]),
        first=knowledge.log_weight(first),
        settled=knowledge.log_weight(settled),
        told=settled,
    )


def _explained(
    form: Form,
    build: Build,
    found: Features,
    judged: Judged,
    knowledge: Knowledge,
    stage: Stage,
    shots: int,
) -> Columns:
    """Return what a planned bow's weight depends on at a stage; without a named scale, the force itself."""
    habits = USUAL if knowledge.model is None else knowledge.model.habits
    moment = moment_at(form, build, [judged.draw], stage, shots, judged.scale)
    told = columns(found, moment, knowledge.materials, PRIOR_SCATTER, habits)
    return exactly_read(told) if judged.scale is None else told


def apart(one: Columns, other: Columns) -> Columns:
    """Return what the logarithm of one bow's weight over another's depends on, at one draw each.

    Effects that both share count with the difference of their columns; what each bow has of its own, and the
    tolerances of its dimensions, count twice. Two stacks that are thought of for one bow share the lots that nobody
    noted, for they are laid from what is on the bench; of two bows one is to be `columns.of_another_bow`.
    """
    return replace(
        one,
        offset=one.offset - other.offset,
        common=_less(one.common, other.common),
        priors={**other.priors, **one.priors},
        groups=_less_groups(one.groups, other.groups),
        build={name: np.hypot(column, other.build[name]) for name, column in one.build.items()},
        tolerances=(
            *one.tolerances,
            *(Tolerance(f"other, {own.name}", own.source, own.column) for own in other.tolerances),
        ),
        weighing=(*one.weighing, *other.weighing),
        sd=np.hypot(one.sd, other.sd),
        unnoted=_less_groups(one.unnoted, other.unnoted),
    )


def without_scatter(told: Columns) -> Columns:
    """Return columns without what bows have of their own and without the tolerances of dimensions."""
    build = {name: np.zeros_like(column) for name, column in told.build.items()}
    return replace(told, build=build, tolerances=(), weighing=(), sd=np.zeros_like(told.sd))


def _less_groups(one: Mapping[str, Named], other: Mapping[str, Named]) -> dict[str, Named]:
    return {name: _less(one.get(name, {}), other.get(name, {})) for name in dict.fromkeys([*one, *other])}


def _less(one: Named, other: Named) -> dict[str, Array]:
    return {
        name: np.subtract(one.get(name, 0.0), other.get(name, 0.0)) for name in dict.fromkeys([*one, *other])
    }
