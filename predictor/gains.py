"""What measuring one thing better would bring, told before it is measured.

A better measurement is imagined and the prediction made again. Given the scales, what it does to the width does not
depend on what it would say; what it would tell of the scales themselves is left out, so it never widens.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from pydantic import Field

from datasets.history import bow_at
from datasets.materials import Material
from datasets.record import Dimension, DrawLength, Record, Taken
from datasets.schema import Build, Event, Form, Stage, StripTest
from predictor import posterior
from predictor.bow import Refusal
from predictor.calibration import Calibration, stretch
from predictor.columns import STIFFNESS, Columns
from predictor.habits import USUAL
from predictor.lots import with_strips
from predictor.model import Model, prior_belief, seen_by
from predictor.posterior import Array, Posterior
from predictor.predict import explain, strips_of
from predictor.scatter import LOTS_OF_GLASS, LOTS_OF_WOOD, SCALES, UNNOTED_SCALE

LEVEL = 0.9
"""Of the interval whose half width is told."""

STRIP_SD = 0.02
"""A strip bent on the bench is read to this share (common practice, no source); it strays from its lot besides."""

CHECK_WEIGHT_SD = 0.003
"""A check weight tells a scale's factor to this share: 0.15 lb of 50 (common practice, no source)."""


class Gain(Record):
    """What one measurement would bring."""

    measure: str = Field(description="what to do")
    half_width_lbf: float = Field(description="of the 90 % interval, once it is done")


class Budget(Record):
    """Half width of the interval as things are, and with one thing measured better, the best first."""

    draw: DrawLength
    half_width_lbf: float
    gains: tuple[Gain, ...]


@dataclass(frozen=True)
class _Imagined:
    """A reading that is not taken: the effects that it shows by name, to a standard deviation."""

    common: Mapping[str, float]
    groups: Mapping[str, Mapping[str, float]]
    sd: float
    build: Mapping[str, float] = field(default_factory=dict)


def budget(
    form: Form,
    build: Build,
    events: Sequence[Event],
    draw: DrawLength,
    materials: Mapping[str, Material],
    model: Model | None = None,
    stage: Stage = Stage.TILLERED,
    strips: Sequence[StripTest] = (),
) -> Budget | Refusal:
    """Return what measuring better would bring at one draw; the arguments are those of `predictor.predict.predict`."""
    habits = USUAL if model is None else model.habits
    explained = explain(form, build, events, (draw,), materials, stage, habits)
    if isinstance(explained, Refusal):
        return explained
    told = explained.columns
    by_builds = prior_belief() if model is None else model.belief()
    belief = with_strips(by_builds, strips_of(explained.features, strips), materials)
    wider = stretch((Calibration() if model is None else model.calibration).scores())
    now = _half_width(belief, told, None, wider)
    gains = [
        Gain(measure=f"caliper instead of what is noted: {source}", half_width_lbf=width)
        for source, measured in _measured(form, build, events, told)
        if (width := _half_width(belief, measured, None, wider)) < now
    ]
    gains += [
        Gain(measure=measure, half_width_lbf=_half_width(belief, told, imagined, wider))
        for measure, imagined in _imagined(told, materials)
    ]
    in_order = tuple(sorted(gains, key=lambda gain: gain.half_width_lbf))
    return Budget(draw=draw, half_width_lbf=now, gains=in_order)


def _measured(
    form: Form, build: Build, events: Sequence[Event], told: Columns
) -> Iterator[tuple[str, Columns]]:
    """Yield each source of recorded dimensions with the columns as they were with these taken by caliper."""
    inputs = {given.name: given for given in bow_at(form, build, events).inputs}
    better = {given.name: given.sd for given in bow_at(form, by_caliper(build), events).inputs}
    for source in dict.fromkeys(given.source for given in inputs.values()):
        share = {
            name: better.get(name, given.sd) / given.sd
            for name, given in inputs.items()
            if given.source == source
        }
        tolerances = tuple(
            replace(one, column=one.column * share.get(one.name, 1.0)) for one in told.tolerances
        )
        yield source, replace(told, tolerances=tolerances)


def by_caliper(build: Build) -> Build:
    """Return a build with every dimension of its record taken by caliper."""
    return build.model_copy(
        update={"planned": False} | {name: _by_caliper(value) for name, value in build if name != "planned"}
    )


def _by_caliper(value: Any) -> Any:
    """Return a field's value with the dimensions in it taken by caliper."""
    if isinstance(value, Dimension):
        return value.model_copy(update={"taken": Taken.CALIPER})
    if isinstance(value, tuple):
        return tuple(_by_caliper(one) for one in value)
    if isinstance(value, Record):
        return value.model_copy(update={name: _by_caliper(inner) for name, inner in value})
    return value


def _imagined(told: Columns, known: Mapping[str, Material]) -> Iterator[tuple[str, _Imagined]]:
    """Yield a strip test of each lot and a check weight on the scale."""
    materials = [name.removeprefix(STIFFNESS) for name in told.common if name.startswith(STIFFNESS)]
    for group in (LOTS_OF_WOOD, LOTS_OF_GLASS):
        for lot in told.groups.get(group, {}):
            (material,) = [name for name in materials if lot.startswith(f"{name}, ")]
            sd = float(np.hypot(STRIP_SD, known[material].bow_sd))
            yield (
                f"strip test of {lot}",
                _Imagined({f"{STIFFNESS}{material}": 1.0}, {group: {lot: 1.0}}, sd),
            )
    noted = dict.fromkeys(told.groups[SCALES], 1.0)
    unnoted = {} if noted else {UNNOTED_SCALE: 1.0}
    yield "check weight on the scale", _Imagined({}, {SCALES: noted}, CHECK_WEIGHT_SD, unnoted)


def _half_width(belief: Posterior, told: Columns, imagined: _Imagined | None, wider: float) -> float:
    """Return half the width of the interval in pounds."""
    seen = seen_by(belief, told if imagined is None else _with_reading(told, imagined))
    wanted = seen.rows.part(slice(0, 1))
    expected = posterior.predict(belief, wanted)
    if imagined is not None:
        own = seen.rows.part(slice(1, 2))
        told_more = posterior.predict(belief, wanted, own, posterior.predict(belief, own).mean)
        expected = replace(expected, covariances=told_more.covariances)
    stretched = expected.marginal().stretched(wider)
    low, high = (np.exp(seen.offset[0] + stretched.quantile((1 + side * LEVEL) / 2)[0]) for side in (-1, 1))
    return float(high - low) / 2


def _with_reading(told: Columns, imagined: _Imagined) -> Columns:
    """Return the columns with the imagined reading as one more row."""
    return replace(
        told,
        offset=_with(told.offset, 0.0),
        common={name: _with(column, imagined.common.get(name, 0.0)) for name, column in told.common.items()},
        groups={
            group: {
                level: _with(column, imagined.groups.get(group, {}).get(level, 0.0))
                for level, column in levels.items()
            }
            for group, levels in told.groups.items()
        },
        build={name: _with(column, imagined.build.get(name, 0.0)) for name, column in told.build.items()},
        tolerances=tuple(replace(one, column=_with(one.column, 0.0)) for one in told.tolerances),
        weighing=tuple(replace(one, column=_with(one.column, 0.0)) for one in told.weighing),
        sd=_with(told.sd, imagined.sd),
    )


def _with(column: Array, value: float) -> Array:
    return np.append(column, value)
