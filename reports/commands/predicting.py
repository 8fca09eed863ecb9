"""The command predict: what a bow will weigh, why, and what a change would do."""

import json
import sys
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from datasets.arrows import UNFINISHED
from datasets.book import ShopBook, read_record
from datasets.contents import Contents
from datasets.record import DrawLength
from datasets.schema import (
    MOST_SHOTS,
    Build,
    Stage,
)
from predictor.belief.columns import FINISHED
from predictor.belief.model import Model
from predictor.bows.bow import Refusal
from predictor.prediction.predict import Prediction
from reports import (
    adding,
    expectation,
    second_look,
    what_if,
)
from reports.budget import show_budget
from reports.commands.ending import FINDINGS, FINE, StopError, stopping_at
from reports.commands.found import (
    find_build,
    note_new_scale,
    trained_model,
    units_of,
)
from reports.commands.options import (
    JsonOption,
    UnitsOption,
    UnitSystem,
    UntrainedOption,
)
from reports.commands.typed import (
    draws_typed,
    one_draw_typed,
    whole_typed,
)
from reports.marking import marking
from reports.numbers import counted
from reports.prediction import show_prediction
from reports.printing import console, note
from reports.usage import shortened


def predict_weight(
    context: typer.Context,
    what: Annotated[
        str,
        typer.Argument(
            metavar="FILE|-|BUILD",
            help="a file with one planned build, - for standard input, or a build's id",
        ),
    ],
    draws: Annotated[
        str | None, typer.Option("--draws", help='draw lengths, such as "26,27,28 back" (default: 26 to 29)')
    ] = None,
    stage: Annotated[
        Stage | None,
        typer.Option("--stage", help="how far the bow is when weighed (default: as last time, or tillered)"),
    ] = None,
    shots: Annotated[
        str | None, typer.Option("--shots", help="arrows shot by then (default: not counted)")
    ] = None,
    scale: Annotated[
        str | None, typer.Option("--scale", help="scale it is read on (default: the last one)")
    ] = None,
    untrained: UntrainedOption = False,
    with_budget: Annotated[
        bool,
        typer.Option("--budget", help="tell every source of doubt, and what measuring better would bring"),
    ] = False,
    changes: Annotated[
        list[str] | None,
        typer.Option(
            "--if", help="what one change would do, such as sides=1/32, sides@nock=1/16, brace=+1/8"
        ),
    ] = None,
    measured: Annotated[
        bool, typer.Option("--measured", help="with --if: what is taken off is then measured")
    ] = False,
    as_json: JsonOption = False,
    units: UnitsOption = None,
) -> int:
    """Predict what a bow will weigh, with the range of such bows.

    What `drawweight train` has learned from the book is used where it is there. The stage matters from
    finished on, when finish sanding has taken its share; for settled the way there is told too.

    With --if, once or more often, all changes together are asked about: sides, trap, edges, belly-glass,
    back-glass or shorten with an amount as for `drawweight reduce`, or length, width, glass, brace, draw,
    strands or string with a value or, after a sign, a step.

    Example: drawweight predict K-014 --draws 27,28,29 --budget
    """
    if changes and with_budget:
        raise StopError("wanted --if or --budget, got both; ask for one after the other")
    if measured and not changes:
        raise StopError(
            "wanted --if with --measured, got none; say what is taken off, such as --if sides=1/32"
        )
    shot = None if shots is None else whole_typed(shots, "arrows shot", 0, MOST_SHOTS)
    with ShopBook.open(context.obj.book) as book:
        contents = book.contents()
        model = None if untrained else trained_model(book)
    build, contents = _build_to_predict(what, contents)
    note_new_scale(scale, contents)
    asked = _Asked(contents, build, model, *_asked_stage(contents, build, stage, shot))
    if changes:
        return _tell_supposed(asked, changes, one_draw_typed(draws, contents), units, measured, as_json)
    prediction = _predicted(asked, draws_typed(draws, contents), scale, as_json)
    return _tell_prediction(asked, prediction, units, with_budget, as_json)


def _asked_stage(
    contents: Contents, build: Build, stage: Stage | None, shots: int | None
) -> tuple[Stage, int | None]:
    """Return the stage and the arrows shot that are asked about; no arrows are counted of an unfinished bow."""
    if shots and stage in UNFINISHED:
        raise StopError(
            f"wanted finished or settled with --shots {shots}, got {stage}; leave --shots out, or ask for "
            "--stage settled"
        )
    if shots and stage is None:
        note(f"--shots {shots} without --stage: told as settled after them")
    return expectation.stage_and_shots(contents, build, stage, shots)


@dataclass(frozen=True)
class _Asked:
    """What a question is about: a build of a book, at a stage and after some shots, for who knows a model."""

    contents: Contents
    build: Build
    model: Model | None
    stage: Stage
    shots: int | None


def _tell_supposed(
    asked: _Asked,
    changes: Sequence[str],
    draw: DrawLength,
    units: UnitSystem | None,
    measured: bool,
    as_json: bool,
) -> int:
    """Print what changes to a build do together; what cannot be read or solved ends the command."""
    contents, build = asked.contents, asked.build
    with stopping_at(ValueError):
        told = what_if.asked(
            contents,
            build,
            changes,
            draw,
            asked.model,
            asked.stage,
            asked.shots,
            units_of(contents, units),
            measured=measured,
        )
    if isinstance(told, Refusal):
        raise StopError(f"no answer for {build.id}: {told.reason} ({told.where})", FINDINGS)
    if as_json:
        sys.stdout.write(told.model_dump_json(indent=2) + "\n")
    else:
        what_if.show_what_if(told, units_of(contents, units), console())
    return FINDINGS if told.over_limit else FINE


def _predicted(asked: _Asked, draws: Sequence[DrawLength], scale: str | None, as_json: bool) -> Prediction:
    """Return the prediction; where there is none the command ends with the reason, and what may have led to it."""
    contents, build = asked.contents, asked.build
    told = expectation.expect(
        contents,
        build,
        draws,
        stage=asked.stage,
        model=asked.model,
        shots=asked.shots,
        scale=scale or expectation.last_scale(contents, build),
    )
    if isinstance(told, Prediction):
        return told
    if as_json:
        sys.stdout.write(told.model_dump_json(indent=2) + "\n")
    with suppress(ValueError):  # which is then the reason for the refusal
        for doubt in second_look.shape_doubts(build, contents):
            note(f"odd: profile, {doubt.station:g} in from the centre: {doubt.doubt}: {doubt.message}")
    raise StopError(f"no prediction for {build.id}: {told.reason} ({told.where})", FINDINGS)


def _tell_prediction(
    asked: _Asked, prediction: Prediction, units: UnitSystem | None, with_budget: bool, as_json: bool
) -> int:
    """Print a prediction, with the way to settled where that is asked about, and its budget where that is."""
    about = asked.contents, asked.build, prediction, asked.model
    budget = expectation.budget_of(*about, asked.stage, asked.shots) if with_budget else None
    way = expectation.way_of(*about, asked.shots) if asked.stage is Stage.SETTLED else None
    marked = (
        marking(asked.contents, asked.build, prediction.main_draw, asked.model)
        if asked.stage in FINISHED
        else None
    )
    back = expectation.looks_back(asked.contents, asked.build, asked.shots)
    if back is not None:
        note(f"{asked.build.id}: {back}{'' if way is not None else ', and no way there is told'}")
    if as_json:
        parts = {**prediction.model_dump(mode="json"), "stage": asked.stage.value, "shots": asked.shots}
        more = {"way": way, "budget": budget, "marking": marked}
        parts |= {name: part.model_dump(mode="json") for name, part in more.items() if part is not None}
        sys.stdout.write(json.dumps(parts, indent=2) + "\n")
        return FINDINGS if prediction.over_limit else FINE
    told = prediction, asked.stage, units_of(asked.contents, units), console(), way
    show_prediction(*told, shots=asked.shots, marked=marked)
    if budget is not None:
        show_budget(prediction, budget, units_of(asked.contents, units), console())
    return FINDINGS if prediction.over_limit else FINE


def _build_to_predict(what: str, contents: Contents) -> tuple[Build, Contents]:
    """Return the build of an id or a file, and the book with whatever else the file holds."""
    if what.upper() in contents.builds:
        return contents.builds[what.upper()], contents
    if what != adding.STDIN and (not what or not _is_there(what)):
        if what and "." not in what and "/" not in what:
            find_build(contents, what)
        raise StopError(
            f"wanted a file or a build's id, got {shortened(what)}, which is neither; check the path"
        )
    return _planned_in(what, contents)


def _planned_in(source: str, contents: Contents) -> tuple[Build, Contents]:
    """Return the one build that a text holds, and the book with whatever else it holds."""
    content = sys.stdin.buffer.read() if source == adding.STDIN else None
    reading = adding.read_text(source, content, "build")
    kinds = dict.fromkeys(raw.kind for raw in reading.records)
    if kinds and "build" not in kinds and not reading.mistakes:
        raise StopError(
            f"wanted one planned build in {adding.source_name(source)}, got only {', '.join(kinds)}; write the build "
            "there, or ask about one of the book by its id"
        )
    in_book = contents.events
    outcomes = []
    for raw in sorted(reading.records, key=lambda raw: raw.kind == "build"):
        # A plan unless it says otherwise: its dimensions then count with a plan's tolerances.
        data = {"planned": True, **raw.data} if raw.kind == "build" else raw.data
        outcome = read_record(raw.kind, data, contents)
        outcomes.append((raw, outcome))
        if outcome.record is not None and not outcome.refused and raw.kind != "build":
            contents = contents.plus(outcome.record)
    added = adding.told([raw for raw, _ in outcomes], [outcome for _, outcome in outcomes], reading.mistakes)
    builds = [outcome.record for _, outcome in outcomes if isinstance(outcome.record, Build)]
    if not builds and len(added.mistakes) == 1:
        raise StopError(adding.one_line(added.mistakes[0], source))
    for mistake in added.mistakes:
        note(adding.one_line(mistake, source))
    for oddity in added.oddities:
        note(f"odd: {adding.one_line(oddity, source)}")
    if added.mistakes or len(builds) != 1:
        raise StopError(
            f"wanted one build without mistakes in {adding.source_name(source)}, got {len(builds)} readable; "
            "mend the text"
        )
    build = builds[0]
    if build.id in in_book:
        note(
            f"{build.id}: the book has a bow of this id, and what it says of that one's weighings and cuts "
            f"({counted(len(in_book[build.id]), 'event')}) counts here as well; for another bow leave the id out"
        )
    return build, contents


def _is_there(path: str) -> bool:
    try:
        return Path(path).exists()
    except OSError:  # too long to be the name of a file
        return False
