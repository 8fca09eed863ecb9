"""Weighings of a build, as a fit learns from them and as a prediction of that very build counts them."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from hashlib import sha256

import numpy as np
from numpy.typing import NDArray

from datasets.exercise import not_counted
from datasets.history import events_until
from datasets.materials import Material
from datasets.record import DrawLength, ZeroPoint
from datasets.schema import Build, Event, Form, Stage, WeighIn
from datasets.zero_points import from_back, from_zero
from predictor.belief.columns import Columns, Moment, columns
from predictor.belief.cutting import CutReading
from predictor.belief.habits import USUAL, Habits
from predictor.belief.scatter import PRIOR_SCATTER
from predictor.bows.features import Case, Features

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Weighing:
    """One weighing with what explains it.

    Attributes:
        build: id of the build.
        weigh_in: id of the weigh-in.
        moment: what its readings depend on besides the geometry.
        columns: what its readings depend on.
        log_weight: logarithms of the readings, in pounds.
        cut: what its bow was cut by, where this is the last weighing of a finished one that teaches.
        on: the day; nothing where readings come without their record.
    """

    build: str
    weigh_in: str
    moment: Moment
    columns: Columns
    log_weight: Array
    cut: CutReading | None = None
    on: date | None = None


@dataclass(frozen=True)
class Weighed:
    """A weigh-in with the build that it belongs to and the geometry's history up to it."""

    form: Form
    build: Build
    weigh_in: WeighIn
    case: Case
    moment: Moment

    def explained(
        self, found: Features, materials: Mapping[str, Material], habits: Habits = USUAL
    ) -> Weighing:
        """Return the weighing by the columns of its features, under the shop's habits; its air is its day's."""
        told = columns(found, self.moment, materials, PRIOR_SCATTER, habits)
        day = f"the air of {self.weigh_in.on.isoformat()}"
        told = replace(told, weighing=tuple(replace(given, of=day) for given in told.weighing))
        read = np.log([reading.weight.lbf for reading in self.weigh_in.readings])
        return Weighing(self.build.id, self.weigh_in.id, self.moment, told, read, on=self.weigh_in.on)


def weighed(form: Form, build: Build, events: Sequence[Event]) -> Iterator[Weighed]:
    """Yield each weigh-in of a build's history that counts, with the geometry that it weighed.

    A reading after too few full draws does not count (`datasets.exercise`).
    """
    early = {weigh_in.id for weigh_in, _ in not_counted(events)}
    return (one for one in every_weighing(form, build, events) if one.weigh_in.id not in early)


def every_weighing(form: Form, build: Build, events: Sequence[Event]) -> Iterator[Weighed]:
    """Yield each weigh-in of a build's history, whether it counts or not, with the geometry that it weighed."""
    for event in events:
        if isinstance(event, WeighIn):
            draws = [reading.draw for reading in event.readings]
            case = Case(form, build, events_until(events, event), draws_from_back(form, draws))
            moment = moment_at(form, build, draws, event.stage, event.shots, event.scale)
            yield Weighed(form, build, event, case, moment)


def moment_at(
    form: Form,
    build: Build,
    draws: Sequence[DrawLength],
    stage: Stage,
    shots: int | None = None,
    scale: str | None = None,
) -> Moment:
    """Return what a weighing of a build depends on besides the geometry."""
    standard = (
        from_zero(inch, ZeroPoint.STANDARD, form.handle_depth_in.inch)
        for inch in draws_from_back(form, draws)
    )
    form_revision = f"{build.form}/{build.form_revision}"
    return Moment(form_revision, tuple(standard), stage, shots, scale, build.builder)


def fingerprint(form: Form, build: Build, events: Sequence[Event], materials: Mapping[str, Material]) -> str:
    """Return the SHA-256 of all records that a build's weighings rest on, up to the last of `events`."""
    layered = {layer.material for layer in build.layers}
    records = [form, build, *events, *(materials[name] for name in sorted(layered))]
    return sha256("\n".join(record.model_dump_json() for record in records).encode()).hexdigest()


def draws_from_back(form: Form, draws: Sequence[DrawLength]) -> tuple[float, ...]:
    """Return draw lengths in inches from the back of the riser."""
    return tuple(from_back(draw.inch, draw.zero, form.handle_depth_in.inch) for draw in draws)
