"""How what was typed goes into the book: read, compared with what is expected, kept, and told."""

import shlex
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import typer

from datasets.book import Outcome, ShopBook, read_record
from datasets.checks import days_are_past, strips_are_told_once
from datasets.contents import Contents
from datasets.files import Reading
from datasets.mistakes import RawRecord
from datasets.record import Record
from datasets.schema import WeighIn
from datasets.weighing_checks import shots_go_forward
from predictor.bows.bow import Refusal
from reports import adding, expectation, second_look, show
from reports.commands.ending import BAD_INPUT, FINDINGS, FINE, StopError
from reports.commands.found import model_if_whole, units_of
from reports.commands.options import Call
from reports.commands.typed import TYPED, given
from reports.printing import Units, note


def contents_so_far(path: Path) -> Contents:
    """Return what a book holds; nothing where there is none yet."""
    if not path.exists():
        return Contents()
    with ShopBook.open(path, create=True) as book:
        return book.contents()


def added_to(path: Path, reading: Reading, *, keep_good: bool) -> adding.Added:
    """Keep what a text holds and look at it again; a new book is started with the first record that is kept."""
    if not path.exists():
        tried = adding.tried(reading, keep_good=keep_good)
        if not tried.kept:
            return tried
    with ShopBook.open(path, create=True) as book:
        return looked_at_again(book, adding.add_reading(book, reading, keep_good=keep_good))


def looked_at_again(book: ShopBook, added: adding.Added) -> adding.Added:
    """Return what became of a text, with what a second look finds odd about the records just kept."""
    contents = book.contents()
    weighed = sum(isinstance(record, WeighIn) for record in added.kept)
    oddities = [*second_look.doubtful_profiles(added, contents, units_of(contents, None))]
    if weighed > second_look.MOST_COMPARED:
        note(
            f"wanted at most {second_look.MOST_COMPARED} weigh-ins to compare with what is expected, "
            f"got {weighed}: none is compared; see: drawweight show BUILD"
        )
    elif weighed:
        model = model_if_whole(book)
        oddities += second_look.far_readings(added, contents, model, units_of(contents, None))
    in_order = sorted([*added.oddities, *oddities], key=lambda oddity: oddity.line or 0)
    return replace(added, oddities=tuple(in_order))


def tell_added(added: adding.Added, source: str, *, said: Sequence[str] = ()) -> int:
    """Print what became of a text, and return the exit code that says so.

    Args:
        added: what became of it.
        source: its path, or what stands for it.
        said: what has been told already, which is not told again.
    """
    for mistake in added.mistakes:
        note(adding.one_line(mistake, source))
    for oddity in (one for one in added.oddities if one.message not in said):
        note(f"odd: {adding.one_line(oddity, source)}")
    for remark in added.notes:
        note(adding.one_line(remark, source))
    sys.stdout.write(f"{adding.said_kept(added.kept)}\n")
    if added.mistakes:
        return BAD_INPUT
    return FINDINGS if added.oddities else FINE


def readable(raw: RawRecord, contents: Contents, corrects: str | None) -> Record:
    """Return a record as it would be kept; what is wrong with it is told, and ends the command."""
    record_id = corrects or (_next_event(raw.data["build"], contents) if "build" in raw.data else None)
    whole = RawRecord(raw.kind, {**given(id=record_id), **raw.data}, raw.line)
    outcome = read_record(whole.kind, whole.data, contents)
    if outcome.record is None or outcome.refused:
        *others, last = adding.told([whole], [outcome]).mistakes
        for mistake in others:
            note(adding.one_line(mistake, TYPED))
        raise StopError(f"{adding.one_line(last, TYPED)} (nothing was kept)")
    return outcome.record


def _next_event(build_id: str, contents: Contents) -> str:
    """Return an id that stands last among a build's events of one day."""
    numbers = [int(event.id.split("/")[1]) for event in contents.events.get(build_id, ())]
    return f"{build_id}/{max(numbers, default=0) + 1}"


def keep(book: ShopBook, raw: RawRecord, corrects: str | None, because: str | None) -> Outcome:
    """Add a record, or put it in the place of the one that it corrects."""
    if corrects is not None:
        return book.correct(corrects, raw, because or "")
    (outcome,) = book.add([raw])
    return outcome


def far_in_words(compared: Sequence[expectation.Compared] | Refusal | None, units: Units) -> list[str]:
    """Return in words which readings are far from what is expected, if anything is."""
    if compared is None or isinstance(compared, Refusal):
        return []
    return [show.far_in_words(one, units) for one in compared if one.far]


def days_to_come(record: Record, contents: Contents) -> list[str]:
    """Return in words that a record is of a day to come: what happens until then would be counted before it."""
    return [finding.message for finding in days_are_past(record, contents)]


def told_before(record: Record, contents: Contents) -> list[str]:
    """Return in words that a strip is in the book already: it would count twice."""
    return [finding.message for finding in strips_are_told_once(record, contents)]


def arrows_back(record: Record, contents: Contents) -> list[str]:
    """Return in words that a weighing counts fewer arrows than one before it, or more than one after it."""
    return [finding.message for finding in shots_go_forward(record, contents)]


def ask_to_keep(doubts: Sequence[str], what: str, call: Call, *, yes: bool) -> None:
    """Tell the doubts about a record and ask whether it is kept; where nobody can answer, keep nothing.

    Args:
        doubts: what is doubtful; without any nothing is asked.
        what: what is to be right: the reading.
        call: what was typed.
        yes: whether it is kept without a question.
    """
    for doubt in doubts:
        note(doubt)
    if yes or not doubts:
        return
    if not sys.stdin.isatty():
        again = shlex.join(["drawweight", *call.argv, "--yes"])
        raise StopError(f"nothing was kept; if {what} is right: {again}", FINDINGS)
    if not typer.confirm("Keep it?", default=False, err=True):
        raise StopError(f"nothing was kept; check {what}", FINDINGS)
