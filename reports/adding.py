"""From a text to records in the book: what is wrong or odd is told at once, each with its line."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from datasets.book import Outcome, ShopBook, id_of
from datasets.files import Reading, read_bytes, read_file
from datasets.mistakes import Mistake, RawRecord, dotted, line_of, mistakes_of
from datasets.record import Record
from datasets.schema import KINDS, Event, Removal, Rigging, WeighIn

STDIN = "-"


@dataclass(frozen=True)
class Added:
    """What became of a text.

    Attributes:
        kept: the records that are in the book now.
        typed: these as they were typed.
        mistakes: what stopped others; what is wrong with the text itself comes first.
        oddities: what is odd about records that were read.
        notes: what else is worth knowing of them.
    """

    kept: tuple[Record, ...]
    typed: tuple[RawRecord, ...]
    mistakes: tuple[Mistake, ...]
    oddities: tuple[Mistake, ...]
    notes: tuple[Mistake, ...]


def read_text(source: str, content: bytes | None, kind: str | None) -> Reading:
    """Read a file, or the content of standard input, as raw records.

    Args:
        source: path of the file, or `-`.
        content: what standard input held, for `-`.
        kind: kind of all records, where the text need not say.
    """
    if source == STDIN:
        return read_bytes(content or b"", KINDS, kind)
    return read_file(Path(source), KINDS, kind)


def add_reading(book: ShopBook, reading: Reading, *, keep_good: bool) -> Added:
    """Keep what a text holds: all of it or, with `keep_good`, what nothing speaks against.

    Raises:
        datasets.store.BookError: the book cannot be written; nothing is kept.
    """
    if reading.mistakes and not keep_good:
        outcomes = book.check(reading.records)
    else:
        outcomes = book.add(reading.records, keep_good=keep_good)
    return told(reading.records, outcomes, reading.mistakes)


def tried(reading: Reading, *, keep_good: bool) -> Added:
    """Return what would become of a text in a book that has nothing yet."""
    with TemporaryDirectory() as folder, ShopBook.open(Path(folder) / "trial.book", create=True) as book:
        return add_reading(book, reading, keep_good=keep_good)


def told(raws: Sequence[RawRecord], outcomes: Sequence[Outcome], mistakes: Iterable[Mistake] = ()) -> Added:
    """Return outcomes as mistakes and oddities with the lines of what was typed."""
    pairs = list(zip(raws, outcomes, strict=True))
    wrong = [mistake for raw, outcome in pairs for mistake in _mistakes(raw, outcome)]
    odd, known = (
        [mistake for raw, outcome in pairs for mistake in _found(raw, outcome, refuses=False, odd=is_odd)]
        for is_odd in (True, False)
    )
    odd += _days_in_doubt(pairs)
    kept = [(raw, outcome.record) for raw, outcome in pairs if outcome.kept and outcome.record is not None]
    return Added(
        kept=tuple(record for _, record in kept),
        typed=tuple(raw for raw, _ in kept),
        mistakes=(*sorted(mistakes, key=_line), *sorted(wrong, key=_line)),
        oddities=tuple(sorted(odd, key=_line)),
        notes=tuple(sorted(known, key=_line)),
    )


def source_name(source: str) -> str:
    """Return what a text's source is called: its path, or standard input."""
    return "standard input" if source == STDIN else source


def one_line(mistake: Mistake, source: str) -> str:
    """Return a mistake as `file:line: what: message`, or without the line where the text has none."""
    name = source_name(source)
    place = f"{name}:{mistake.line}" if mistake.line else name
    return ": ".join(part for part in (place, mistake.where, mistake.message) if part)


def said_kept(kept: Sequence[Record]) -> str:
    """Return which records were kept: `kept 2: form plain-64/1, build K-001`."""
    named = [f"{_KIND_OF[type(record)].replace('_', '-')} {id_of(record)}" for record in kept]
    shown = named if len(named) <= _NAMED else [*named[:_NAMED], f"and {len(named) - _NAMED} more"]
    return f"kept {len(kept)}: {', '.join(shown)}" if named else "kept nothing"


_NAMED = 6
_KIND_OF = {model: kind for kind, model in KINDS.items()}


def _days_in_doubt(pairs: Iterable[tuple[RawRecord, Outcome]]) -> Iterator[Mistake]:
    """Yield of which days of a build it cannot be told what came first, and how it was taken."""
    days: defaultdict[tuple[str, dt.date], list[tuple[RawRecord, Event]]] = defaultdict(list)
    for raw, outcome in pairs:
        if isinstance(outcome.record, WeighIn | Removal | Rigging) and not outcome.refused:
            days[outcome.record.build, outcome.record.on].append((raw, outcome.record))
    for (build, on), events in days.items():
        unnamed = [raw for raw, _ in events if "id" not in raw.data]
        apart = any(raw.apart for raw in unnamed) and len({raw.kind for raw, _ in events}) > 1
        numbers = [int(event.id.split("/")[1]) for _, event in events]
        if unnamed and (apart or numbers != sorted(numbers)):
            kinds = {event.id: raw.kind.replace("_", "-") for raw, event in events}
            in_order = sorted(kinds, key=lambda name: int(name.split("/")[1]))
            taken = ", ".join(f"{name} {kinds[name]}" for name in in_order)
            came = "lists by kind" if apart else "an id after a record without one"
            raw = unnamed[0]
            yield Mistake(
                raw.line,
                f"{raw.kind} of {build}",
                f"wanted the order of what was done on {on}, got {came}; taken as {taken}: if it was another, take "
                "them out with --withdraws and add them with ids that are numbered in order",
            )


def _line(mistake: Mistake) -> int:
    return mistake.line or 0


def _mistakes(raw: RawRecord, outcome: Outcome) -> Iterator[Mistake]:
    if outcome.invalid is not None:
        yield from mistakes_of(outcome.invalid, raw, KINDS[raw.kind])
    yield from _found(raw, outcome, refuses=True, odd=True)


def _found(raw: RawRecord, outcome: Outcome, *, refuses: bool, odd: bool) -> Iterator[Mistake]:
    for finding in outcome.findings:
        if finding.refuses is refuses and finding.odd is odd:
            path = tuple(int(part) if part.isdigit() else part for part in finding.field.split(".") if part)
            name = raw.kind if outcome.record is None else f"{raw.kind} {id_of(outcome.record)}"
            where = ", ".join(part for part in (name, dotted(path)) if part)
            yield Mistake(line_of(path, raw) or None, where, finding.message)
