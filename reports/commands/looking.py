"""Commands that only show: show and schema."""

import sys
from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from datasets.book import ShopBook
from datasets.contents import Contents
from datasets.schema import Build
from predictor.belief.model import Model
from predictor.bows.bow import Refusal
from reports import expectation, reference, show
from reports.commands.ending import COULD_NOT, FINDINGS, FINE, StopError
from reports.commands.found import find_build, model_if_whole, units_of
from reports.commands.options import JsonOption, Kind, UnitsOption
from reports.commands.typed import end_of_day
from reports.printing import console, note
from reports.shapes import riser, shapes


def show_book_or_build(
    context: typer.Context,
    build_id: Annotated[str | None, typer.Argument(metavar="[BUILD]", help="the build to show")] = None,
    as_json: JsonOption = False,
    units: UnitsOption = None,
    plot: Annotated[
        Path | None, typer.Option("--plot", help="draw its limb shapes into a PNG or SVG file")
    ] = None,
    as_of: Annotated[
        str | None, typer.Option("--as-of", help="as the book was at the end of a day, such as 2026-05-31")
    ] = None,
) -> int:
    """Show the book, or one build with its history.

    Each weighing stands beside what was expected of it.

    Example: drawweight show K-014
    """
    with ShopBook.open(context.obj.book) as book:
        contents = book.contents(None if as_of is None else end_of_day(as_of))
        build = None if build_id is None else find_build(contents, build_id)
        corrections = [] if build is None else book.corrections(build.id, contents)
        model = None if build is None else _model_of_then(book, as_of)
    if plot is not None:
        return _plot(build, contents, plot)
    if as_json:
        text = show.book_json(contents) if build is None else show.build_json(build, contents, model)
        sys.stdout.write(text + "\n")
    elif build is None:
        show.show_book(contents, units_of(contents, units), console())
    else:
        show.show_build(build, contents, corrections, units_of(contents, units), console(), model)
    return FINE


def _model_of_then(book: ShopBook, as_of: str | None) -> Model | None:
    """Return the model beside a book, unless it is newer than the day asked for: it would know too much."""
    model = model_if_whole(book)
    if model is None or as_of is None or datetime.fromisoformat(model.trained_at) <= end_of_day(as_of):
        return model
    note(f"expected untrained: the model is of {model.trained_at}, newer than {as_of}")
    return None


def _plot(build: Build | None, contents: Contents, path: Path) -> int:
    # The drawing library is slow to load, so only this command loads it.
    from reports.plots import SUFFIXES, save_shapes

    form = None if build is None else contents.form_of(build)
    if build is None or form is None:
        raise StopError("wanted a build to draw, got none; write: drawweight show BUILD --plot FILE")
    if path.suffix.lower() not in SUFFIXES:
        raise StopError(f"wanted a file that ends in {' or '.join(SUFFIXES)}, got {path}; rename it")
    full = expectation.usual_draws(contents)[2]
    events = contents.events.get(build.id, ())
    states = shapes(form, build, events, full, contents.materials)
    if isinstance(states, Refusal):
        raise StopError(f"no shapes of {build.id}: {states.reason} ({states.where})", FINDINGS)
    try:
        save_shapes(
            path, f"{build.id} on {form.id}, as the statics see it", states, riser(form, build, events)
        )
    except OSError as error:
        raise StopError(
            f"wanted to write {path}, got: {error.strerror}; choose another place", COULD_NOT
        ) from None
    sys.stdout.write(f"{path}\n")
    return FINE


def print_schema(
    kind: Annotated[Kind | None, typer.Argument(help="kind of record (default: all)")] = None,
    page: Annotated[bool, typer.Option("--page", help="print the reference page in Markdown")] = False,
) -> int:
    """Print the JSON Schema of the records, or their reference page.

    Example: drawweight schema build
    """
    text = reference.page() if page else reference.schema_json(kind) + "\n"
    sys.stdout.write(text)
    return FINE
