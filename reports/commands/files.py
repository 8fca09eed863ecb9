"""Commands that keep whole records: add and form."""

import sys
import tempfile
from itertools import chain, count
from pathlib import Path
from typing import Annotated

import typer

from datasets.book import ShopBook
from datasets.contents import Contents
from datasets.files import Reading
from datasets.mistakes import RawRecord
from datasets.store import BookError
from reports import adding, asking, show
from reports.commands.ending import BAD_INPUT, COULD_NOT, FINDINGS, FINE, StopError, stopping_at
from reports.commands.found import find_form, units_of
from reports.commands.keeping import added_to, contents_so_far, looked_at_again, tell_added
from reports.commands.options import BecauseOption, CorrectsOption, JsonOption, Kind, UnitsOption
from reports.printing import console, note


def show_or_add_form(
    context: typer.Context,
    form_id: Annotated[
        str | None, typer.Argument(metavar="[FORM[/REVISION]]", help="the form to show")
    ] = None,
    add: Annotated[
        Path | None, typer.Option("--add", help="file with a form to add, as its next revision")
    ] = None,
    as_json: JsonOption = False,
    units: UnitsOption = None,
) -> int:
    """List the forms, show one with the curve read from it, or add one.

    Example: drawweight form ridge-66
    """
    if add is not None:
        return _add_form(context.obj.book, add)
    with ShopBook.open(context.obj.book) as book:
        contents = book.contents()
    if form_id is None:
        if as_json:
            sys.stdout.write(show.forms_json(contents) + "\n")
        else:
            show.show_forms(contents, units_of(contents, units), console())
        return FINE
    form = find_form(contents, form_id)
    with stopping_at(ValueError, code=FINDINGS):
        profile = show.profile_of(form)
    if as_json:
        sys.stdout.write(show.form_json(form, profile) + "\n")
    else:
        show.show_form(form, profile, contents, units_of(contents, units), console())
    return FINDINGS if profile.findings else FINE


def _add_form(path: Path, source: Path) -> int:
    contents = contents_so_far(path)
    reading = adding.read_text(str(source), None, "form")
    for raw in reading.records:
        if raw.kind != "form":
            raise StopError(
                f"wanted only forms in {source}, got one of kind {raw.kind}; use: drawweight add {source}"
            )
    reading.records = [_next_revision(raw, contents) for raw in reading.records]
    return tell_added(added_to(path, reading, keep_good=False), str(source))


def _next_revision(raw: RawRecord, contents: Contents) -> RawRecord:
    latest = contents.latest_revision(str(raw.data.get("id", "")))
    return RawRecord(raw.kind, {"revision": latest + 1, **raw.data}, raw.line, raw.lines)


def add_records(
    context: typer.Context,
    source: Annotated[
        str | None, typer.Argument(metavar="[FILE|-]", help="TOML, JSON or CSV, - for standard input")
    ] = None,
    kind: Annotated[Kind | None, typer.Option("--kind", help="kind of all records, for CSV")] = None,
    keep_good: Annotated[bool, typer.Option("--keep-good", help="keep what is right, tell the rest")] = False,
    corrects: CorrectsOption = None,
    withdraws: Annotated[
        str | None, typer.Option("--withdraws", help="id of a record that should not be there")
    ] = None,
    because: BecauseOption = None,
) -> int:
    """Add records from a file, or answer questions at a terminal.

    Every mistake is told at once with its line. A file is kept whole or not at all, except with --keep-good.

    Example: drawweight add builds.toml
    """
    path = context.obj.book
    if withdraws is not None:
        with ShopBook.open(path) as book:
            book.withdraw(withdraws, because or "")
        sys.stdout.write(f"withdrew {withdraws}; its versions stay in the book\n")
        return FINE
    if source is None:
        return _add_by_asking(path, kind)
    content = sys.stdin.buffer.read() if source == adding.STDIN else None
    reading = adding.read_text(source, content, kind)
    code = COULD_NOT
    try:
        if corrects is None:
            code = tell_added(added_to(path, reading, keep_good=keep_good), source)
        else:
            with ShopBook.open(path) as book:
                code = _correct(book, reading, source, corrects, because)
    finally:
        if content and code in (BAD_INPUT, COULD_NOT):
            note(f"what was typed is in {_saved_text(path, content)}; mend it there and add that file")
    return code


def _add_by_asking(path: Path, kind: str | None) -> int:
    if not sys.stdin.isatty():
        raise StopError(
            "wanted a file or a terminal to ask at, got neither; write: drawweight add FILE (or -)"
        )
    draft = _free_name(path.with_name(f"{path.stem}-draft.toml"))
    try:
        raw = asking.ask(kind, contents_so_far(path), draft)
    except asking.InterruptedAskingError as stopped:
        raise StopError(str(stopped), FINDINGS) from None
    # Kept until the book has it, so that a locked book or a full disk costs no answer.
    asking.save_draft(draft, raw.kind, raw.data)
    try:
        added = added_to(path, Reading([raw]), keep_good=False)
    except BookError:
        note(f"what was typed is in {draft}; add that file later")
        raise
    if added.kept:
        draft.unlink()
    else:
        note(f"what was typed is in {draft}; mend it there and add that file")
    return tell_added(added, "answers")


def _free_name(path: Path) -> Path:
    """Return a path at which there is no file yet: the one given or, numbered, one beside it."""
    numbered = (path.with_stem(f"{path.stem}-{number}") for number in count(2))
    return next(free for free in chain([path], numbered) if not free.exists())


def _correct(book: ShopBook, reading: Reading, source: str, corrects: str, because: str | None) -> int:
    if reading.mistakes or len(reading.records) != 1:
        for mistake in reading.mistakes:
            note(adding.one_line(mistake, source))
        raise StopError(
            f"wanted one record to correct {corrects}, got {len(reading.records)} in {source}; write that one"
        )
    (raw,) = reading.records
    outcome = book.correct(corrects, raw, because or "")
    return tell_added(looked_at_again(book, adding.told([raw], [outcome])), source)


def _saved_text(book: Path, content: bytes) -> Path:
    """Keep a text that could not be added beside the book, under a name of its own."""
    with tempfile.NamedTemporaryFile(
        dir=book.absolute().parent, prefix=f"{book.stem}-not-added-", suffix=".txt", delete=False
    ) as saved:
        saved.write(content)
    return Path(saved.name)
