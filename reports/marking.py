"""When a bow is weighed and marked, and what the book knows to write on it."""

import datetime as dt
from collections.abc import Sequence

from pydantic import Field

from datasets.arrows import most_shots
from datasets.contents import Contents
from datasets.exercise import ENOUGH_DRAWS, draws_in_words, not_counted
from datasets.record import BraceHeight, DrawLength, Force, Record, ZeroPoint
from datasets.schema import Build, Event, Form, Reading, Removal, Rigging, Stage, StringSpec, WeighIn
from predictor.belief.columns import FINISHED
from predictor.belief.habits import USUAL
from predictor.belief.model import Model, prior_belief
from predictor.belief.shot_in import BAND_SHOTS, Left, left_after
from predictor.belief.weighings import draws_from_back
from reports.numbers import counted, fixed
from reports.printing import Units

MARK_BELOW_PERCENT = 1.0
"""A bow is marked once no more than this is still to go, half a pound of fifty: common practice, no source."""


class Weighed(Record):
    """The reading that would be written on a bow."""

    weigh_in: str
    on: dt.date
    stage: Stage
    shots: int | None = Field(description="arrows shot by then; nothing where nobody counted")
    weight: Force
    scale: str | None


class Marking(Record):
    """When a bow is weighed and marked, and what is known to write on it."""

    after_shots: int = Field(description="fewest after which little is still to go")
    new: bool = Field(description="whether it has not been weighed finished yet")
    shots: int | None = Field(description="most arrows that the book knows of")
    draw: DrawLength
    string: StringSpec
    brace: BraceHeight
    weighed: Weighed | None = Field(
        description="its last settled weighing that counts, or else its last, since it was cut or rigged last"
    )
    outdated: str | None = Field(
        None, description="the last weighing where none that counts is since then, and why it does not count"
    )


def most_to_go_percent(now: Left, last: Left) -> float:
    """Return what a bow still loses from now on if it loses as much as the band's lower end, in percent."""
    return 100 * (1 - last.low / now.low)


def little_to_go(band: Sequence[Left]) -> int:
    """Return the fewest shots of a band after which even a bow that settles much has little to go to the last."""
    return min(left.shots for left in band if most_to_go_percent(left, band[-1]) <= MARK_BELOW_PERCENT)


def mark_after_shots(model: Model | None = None) -> int:
    """Return the shots after which a bow is weighed and marked, as the shop's bows settle or else by default."""
    belief = prior_belief() if model is None else model.belief()
    law = (USUAL if model is None else model.habits).settling
    return little_to_go([left_after(belief, law, shots) for shots in BAND_SHOTS])


def moment_in_words(after_shots: int) -> str:
    """Return when a bow is weighed and marked, and why then."""
    return (
        f"Weigh and mark after {after_shots} shots: from there to {BAND_SHOTS[-1]} shots even a bow that settles much "
        f"loses no more than {fixed(MARK_BELOW_PERCENT, 0)}%."
    )


def marking(contents: Contents, build: Build, draw: DrawLength, model: Model | None = None) -> Marking | None:
    """Return when a build of the book is weighed and marked, and with what; None without its form.

    Args:
        contents: the book.
        build: of the book, or planned.
        draw: that it is marked at; of a weighing the reading nearest to it counts.
        model: what the shop's builds have taught.
    """
    form = contents.form_of(build)
    if form is None:
        return None
    events = contents.events.get(build.id, ())
    at = _to_mark(events)
    reading = None if at is None else _nearest(at, draw, form)
    string, brace = _rigged(build, events if at is None else events[: events.index(at) + 1])
    return Marking(
        after_shots=mark_after_shots(model),
        new=not any(isinstance(event, WeighIn) and event.stage in FINISHED for event in events),
        shots=most_shots(events),
        draw=draw if reading is None else reading.draw,
        string=string,
        brace=brace,
        weighed=None
        if at is None or reading is None
        else Weighed(
            weigh_in=at.id, on=at.on, stage=at.stage, shots=at.shots, weight=reading.weight, scale=at.scale
        ),
        outdated=_outdated(events) if at is None else None,
    )


def _to_mark(events: Sequence[Event]) -> WeighIn | None:
    early = {weigh_in.id for weigh_in, _ in not_counted(events)}
    changes = [place for place, event in enumerate(events) if isinstance(event, Removal | Rigging)]
    since = events[changes[-1] + 1 :] if changes else events
    count = [event for event in since if isinstance(event, WeighIn) and event.id not in early]
    settled = [event for event in count if event.stage is Stage.SETTLED]
    return next(reversed(settled or count), None)


def _outdated(events: Sequence[Event]) -> str | None:
    """Return the last weighing of a bow and why it is none to mark by; None without one.

    It was read after too few full draws, or the bow was changed after it.
    """
    at = next(
        (place for place, event in reversed(list(enumerate(events))) if isinstance(event, WeighIn)), None
    )
    change = (
        None
        if at is None
        else next((event for event in reversed(events[at:]) if isinstance(event, Removal | Rigging)), None)
    )
    if at is None:
        return None
    if change is None:
        early = {weigh_in.id: draws for weigh_in, draws in not_counted(events)}
        draws = early.get(events[at].id)
        return None if draws is None else f"{events[at].id} was {draws_in_words(draws)}"
    what = "a removal" if isinstance(change, Removal) else "another string or brace height"
    return f"{events[at].id} was read before {what}, {change.id}"


def _nearest(weigh_in: WeighIn, draw: DrawLength, form: Form) -> Reading:
    (wanted,) = draws_from_back(form, [draw])
    return min(weigh_in.readings, key=lambda reading: abs(draws_from_back(form, [reading.draw])[0] - wanted))


def _rigged(build: Build, events: Sequence[Event]) -> tuple[StringSpec, BraceHeight]:
    """Return string and brace height as last noted."""
    strings = [event.string for event in events if isinstance(event, Rigging) and event.string is not None]
    braces = [
        event.brace for event in events if isinstance(event, Rigging | WeighIn) and event.brace is not None
    ]
    return [build.string, *strings][-1], [build.brace, *braces][-1]


def marking_in_words(told: Marking, units: Units) -> str:
    """Return when a bow is weighed and marked, and the text to write on it as far as the book knows it."""
    again = "" if told.outdated is None else f"{told.outdated}, so weigh it again. "
    known = f"{again}What the book knows to write on it: {mark_text(told, units)}."
    if told.shots is not None and told.shots >= told.after_shots:
        read = told.weighed is not None and (told.weighed.shots or 0) >= told.after_shots
        mark = "mark it with what was read then" if read else "weigh it now, and mark it with what is read"
        return f"It has been shot with {told.shots} arrows, {told.after_shots} or more: {mark}. {known}"
    draws = f"A new bow is weighed after about {ENOUGH_DRAWS} full draws (common practice, no source). "
    so_far = "" if told.shots is None else f" (so far it has shot {told.shots})"
    when = f"{draws if told.new else ''}{moment_in_words(told.after_shots)[:-1]}"
    return f"{when}; mark it with what is read then, not with this forecast{so_far}. {known}"


def mark_text(told: Marking, units: Units) -> str:
    """Return the text to write on a bow; what nobody noted is left open."""
    at = told.weighed
    weight = "___" if at is None else units.read_weights([at.weight.lbf])[0]
    draw = units.draw(told.draw).removesuffix(f" {told.draw.zero}")
    return (
        f'"{weight} {units.weight} at {draw} from {_zero(told.draw.zero, units)}, '
        f"{told.string.strands} strands of {told.string.material}, brace {units.draw(told.brace)}, "
        f'{_shots(at)}, {"date ___" if at is None else at.on}, on {_scale(at)}"'
    )


def _shots(at: Weighed | None) -> str:
    if at is None:
        return "___ shots"
    if at.shots is None and at.stage is Stage.SETTLED:
        return f"{at.stage}, ___ shots"
    return f"{at.stage}, {counted(at.shots or 0, 'shot')}"


def _scale(at: Weighed | None) -> str:
    return "scale ___" if at is None or at.scale is None else f"scale {at.scale}"


def _zero(zero: ZeroPoint, units: Units) -> str:
    """Return in words where a draw is counted from; the standard's zero point is told by what everyone can measure."""
    if zero is ZeroPoint.STANDARD:
        return "pivot + 1 3/4 in" if units.system == "inch" else "pivot + 4.4 cm"
    return f"the {zero}"
