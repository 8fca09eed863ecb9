"""What measuring one thing better would bring, told before it is measured.

A better measurement is imagined and the prediction made again, from the bow's own weighings like any other. Given the
scales, what it does to the width does not depend on what it would say; what it would tell of the scales themselves is
left out, and so is what it would tell of slips. One more strip of a material is imagined read as its last one was: by
the same caliper, weights and setting of the edges, so it shares their errors with that one.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from pydantic import Field

from datasets.history import bow_at
from datasets.materials import Material
from datasets.record import Dimension, DrawLength, Record, Taken
from datasets.removals import KIND_OF_AMOUNT, AmountKind
from datasets.schema import Build, Event, Form, Removal, StripTest
from predictor.belief.columns import STIFFNESS, Columns, Named, Prior, lot_level
from predictor.belief.foresight import Situation, Standing, foretell, laid_out
from predictor.belief.lots import read_strip
from predictor.belief.mixture import JointMixture
from predictor.belief.model import Model
from predictor.belief.scatter import LOTS_OF_GLASS, LOTS_OF_WOOD, SCALES, UNNOTED_SCALE
from predictor.bows.bow import Refusal

LEVEL = 0.9
"""Of the interval whose half width is told."""

STRIP_SD = 0.02
"""A strip bent on the bench is read to this share (common practice, no source); it strays from its lot besides."""

CHECK_WEIGHT_SD = 0.003
"""A check weight tells a scale's factor to this share: 0.15 lb of 50 (common practice, no source)."""

_SHARED = Prior(0.0, 1.0)
"""Of an error that strips share, which counts in its standard deviations."""


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
    """A reading that is not taken: the effects that it shows by name, to a standard deviation.

    Errors that it shares with strips on record are among the common effects, and a standard deviation of one of them
    counts as one.
    """

    common: Mapping[str, float]
    groups: Mapping[str, Mapping[str, float]]
    sd: float
    unnoted: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    build: Mapping[str, float] = field(default_factory=dict)


def budget(
    form: Form,
    build: Build,
    events: Sequence[Event],
    read: Situation,
    materials: Mapping[str, Material],
    model: Model | None = None,
    strips: Sequence[StripTest] = (),
) -> Budget | Refusal:
    """Return what measuring better would bring to a prediction.

    Args:
        form: the form revision that the build points at.
        build: the build, planned or measured.
        events: its history so far, in order.
        read: what the scale is asked for, at one draw.
        materials: every material that its layers name.
        model: what the shop's builds have taught; the prior's belief if there is none.
        strips: strip tests of the shop; those of the bow's materials are counted.

    Returns:
        The budget, or why the statics refuse the bow.
    """
    layered = {layer.material for layer in build.layers}
    counted = tuple(strip for strip in strips if strip.material in layered)
    found = laid_out(form, build, events, (read,), materials, model, counted)
    if isinstance(found, Refusal):
        return found
    stand, ((told, _),), _ = found
    now = _half_width(stand, told)
    gains = [
        Gain(measure=f"caliper instead of what is noted: {source}", half_width_lbf=width)
        for source, shares in _measured(form, build, events)
        if (width := _half_width(_narrowed(stand, shares), _by_share(told, shares))) < now
    ]
    for amount in dict.fromkeys(_taken_by_plan(events)):
        history, until = (_cuts_measured(some, amount) for some in (events, read.events))
        measured = laid_out(form, build, history, (replace(read, events=until),), materials, model, counted)
        if isinstance(measured, Refusal):
            continue
        # What the shop's builds have taught stays what it is, whatever is thought of this one's records.
        better = replace(stand, weighings=measured.stand.weighings, cut=measured.stand.cut)
        width = _half_width(better, measured.told[0][0])
        if width < now:
            gains.append(Gain(measure=f"measure what was taken off: {amount}", half_width_lbf=width))
    gains += [
        Gain(measure=measure, half_width_lbf=_half_width(stand, told, imagined))
        for measure, imagined in _imagined(told, materials, counted)
    ]
    in_order = tuple(sorted(gains, key=lambda gain: gain.half_width_lbf))
    return Budget(draw=read.draws[0], half_width_lbf=now, gains=in_order)


def _measured(form: Form, build: Build, events: Sequence[Event]) -> Iterator[tuple[str, Mapping[str, float]]]:
    """Yield each source of recorded dimensions with what its inputs' doubts shrink by if taken by caliper."""
    inputs = {given.name: given for given in bow_at(form, build, events).inputs}
    better = {given.name: given.sd for given in bow_at(form, by_caliper(build), events).inputs}
    for source in dict.fromkeys(given.source for given in inputs.values()):
        yield (
            source,
            {
                name: better.get(name, given.sd) / given.sd
                for name, given in inputs.items()
                if given.source == source
            },
        )


def _taken_by_plan(events: Sequence[Event]) -> Iterator[AmountKind]:
    """Yield the kind of amount of each removal of which only the plan is noted."""
    for event in events:
        if isinstance(event, Removal) and not event.done:
            yield KIND_OF_AMOUNT[event.method]


def _cuts_measured(events: Sequence[Event], amount: AmountKind) -> tuple[Event, ...]:
    """Return a history in which removals of one kind came out as planned, and were measured by caliper."""
    return tuple(
        event.model_copy(update={"done": _by_caliper(event.planned)})
        if isinstance(event, Removal) and not event.done and KIND_OF_AMOUNT[event.method] is amount
        else event
        for event in events
    )


def _by_share(told: Columns, shares: Mapping[str, float]) -> Columns:
    """Return columns with the doubts of some inputs at a share of what they are."""
    tolerances = tuple(replace(one, column=one.column * shares.get(one.name, 1.0)) for one in told.tolerances)
    return replace(told, tolerances=tolerances)


def _narrowed(stand: Standing, shares: Mapping[str, float]) -> Standing:
    """Return what is believed with the doubts of some inputs narrowed in all of the bow's weighings."""
    weighings = tuple(replace(one, columns=_by_share(one.columns, shares)) for one in stand.weighings)
    return replace(stand, weighings=weighings)


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


def _imagined(
    told: Columns, known: Mapping[str, Material], strips: Sequence[StripTest]
) -> Iterator[tuple[str, _Imagined]]:
    """Yield a strip test of each lot and a check weight on the scale.

    A strip tells of a lot that nobody noted only once its name stands in both records.
    """
    materials = [name.removeprefix(STIFFNESS) for name in told.common if name.startswith(STIFFNESS)]
    for group in (LOTS_OF_WOOD, LOTS_OF_GLASS):
        for lot in told.groups.get(group, {}):
            (material,) = [name for name in materials if lot.startswith(f"{name}, ")]
            common, sd = _of_strip(known[material], strips, lot)
            yield f"strip test of {lot}", _Imagined(common, {group: {lot: 1.0}}, sd)
    for group, lots in told.unnoted.items():
        for material in lots:
            common, sd = _of_strip(known[material], strips)
            yield (
                f"strip test of the lot of {material}, once the lot is noted",
                _Imagined(common, {}, sd, unnoted={group: {material: 1.0}}),
            )
    noted = dict.fromkeys(told.groups[SCALES], 1.0)
    unnoted = {} if noted else {UNNOTED_SCALE: 1.0}
    yield "check weight on the scale", _Imagined({}, {SCALES: noted}, CHECK_WEIGHT_SD, build=unnoted)


def _of_strip(
    material: Material, strips: Sequence[StripTest], lot: str = ""
) -> tuple[dict[str, float], float]:
    """Return the common effects that one more strip of a material shows, and to what it would be read.

    It is read as the last strip of its lot was, or else of its material, errors shared with that one included; the
    first one of a material is read as is usual.
    """
    of_material = [one for one in strips if one.material == material.name]
    of_lot = [one for one in of_material if one.lot and lot_level(one.material, one.lot) == lot]
    stiffness = {f"{STIFFNESS}{material.name}": 1.0}
    for last in (of_lot or of_material)[-1:]:
        read = read_strip(last, {material.name: material})
        return {**stiffness, **read.shared}, read.own_sd
    return stiffness, float(np.hypot(STRIP_SD, material.bow_sd))


def _half_width(stand: Standing, told: Columns, imagined: _Imagined | None = None) -> float:
    """Return half the width of the interval in pounds."""
    wanted = [told] if imagined is None else [told, _as_columns(imagined, told)]
    foretold = foretell(stand, [(one, False) for one in wanted])
    joint = foretold.joint
    first = JointMixture(joint.weights, joint.means[:, :1], joint.covariances[:, :1, :1])
    if imagined is not None:
        both, own = joint.covariances[:, 0, 1], joint.covariances[:, 1, 1]
        # A wrong record of the bow moves its weight but not what is imagined, which then tells nothing.
        tells = np.repeat(foretold.told.shifts[:, -1] == 0, len(joint.weights) // len(foretold.told.shifts))
        saved = np.where(tells, both**2 / own, 0.0)
        first = replace(first, covariances=first.covariances - saved[:, None, None])
    low, high = (np.exp(first.marginal().quantile((1 + side * LEVEL) / 2)[0]) for side in (-1, 1))
    return float(high - low) / 2


def _as_columns(imagined: _Imagined, told: Columns) -> Columns:
    """Return an imagined reading as the columns of one."""
    return Columns(
        offset=np.zeros(1),
        sizes_in=told.sizes_in,
        common={name: np.array([value]) for name, value in imagined.common.items()},
        priors={name: told.priors.get(name, _SHARED) for name in imagined.common},
        groups=_one_row(imagined.groups),
        unnoted=_one_row(imagined.unnoted),
        build={name: np.array([imagined.build.get(name, 0.0)]) for name in told.build},
        tolerances=(),
        weighing=(),
        sd=np.array([imagined.sd]),
    )


def _one_row(groups: Mapping[str, Mapping[str, float]]) -> dict[str, Named]:
    return {
        group: {level: np.array([value]) for level, value in levels.items()}
        for group, levels in groups.items()
    }
