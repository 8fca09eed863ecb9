"""The shop's book: one SQLite file that holds every record ever made, as an append-only journal.

Each row is one version of one record. A correction is a new row that supersedes the last one and says why; a
withdrawal is a correction without content. Triggers refuse changes and deletions, also from other programs.

What is promised: a change that was acknowledged (the call returned) is in the book although the process is
killed at any later instant, and a change that was not is there as a whole or not at all. Several processes
may write. After a loss of power or a crash of the system the same holds as far as the disk has really
written what it says it has: each change is flushed with the file and its folder (`synchronous = EXTRA`),
but a disk or a network share that acknowledges early can lose the last changes or damage the file. A
rollback journal is used rather than a write-ahead log, so that between changes the book is a single file,
which can be copied as it is.
"""

import hashlib
import json
import sqlite3
import time
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import ClassVar, NamedTuple, Self

APPLICATION_ID = int.from_bytes(b"bowb", "big")
"""Marks a SQLite file as a shop's book, in its header."""


Values = Mapping[str, str | int | None] | tuple[str | int | None, ...]


class BookError(Exception):
    """What went wrong with the book, in one line.

    Attributes:
        exit_code: 2 where the request was wrong, 3 where the book could not be used.
    """

    exit_code: ClassVar[int] = 3


class NoBookError(BookError):
    """There is no book at the path."""

    exit_code = 2


class NotABookError(BookError):
    """The file is something else."""

    exit_code = 2


class RecordError(BookError):
    """A record is there already, or is not there."""

    exit_code = 2


class BookVersionError(BookError):
    """The book was written by a newer version of the tool."""


class BookLockedError(BookError):
    """Another process kept the book for longer than the time allowed."""


class BookFullError(BookError):
    """The disk is full."""


class BookReadOnlyError(BookError):
    """The file may not be written."""


class BookDamagedError(BookError):
    """The file cannot be read as it should."""


class New(NamedTuple):
    """A record to be kept: its kind and id, its content as a JSON object, and the text it was read from."""

    kind: str
    id: str
    payload: str
    typed: str = ""


@dataclass(frozen=True)
class Entry:
    """One version of a record, as it stands in the journal.

    Attributes:
        sequence: Place in the journal, from 1 without gaps.
        kind: Kind of the record.
        id: Id within its kind.
        payload: The record as a JSON object; None where the record was withdrawn.
        typed: Text that it was read from.
        recorded_at: When it was kept (UTC); never earlier than the entry before.
        recorded_by: Tool and version.
        supersedes: Sequence of the version that this one replaces.
        reason: Why it replaces it.
    """

    sequence: int
    kind: str
    id: str
    payload: str | None
    typed: str
    recorded_at: datetime
    recorded_by: str
    supersedes: int | None
    reason: str | None


class Migration(NamedTuple):
    """One step of the file format: after it, the format version is one higher."""

    name: str
    statements: tuple[str, ...]


MIGRATIONS = (
    Migration(
        "journal of records",
        (
            """CREATE TABLE migrations (
                number INTEGER PRIMARY KEY,
                name TEXT NOT NULL,
                applied_at TEXT NOT NULL,
                applied_by TEXT NOT NULL
            ) STRICT""",
            """CREATE TABLE journal (
                sequence INTEGER PRIMARY KEY,
                kind TEXT NOT NULL CHECK (kind <> ''),
                id TEXT NOT NULL CHECK (id <> ''),
                payload TEXT CHECK (payload IS NULL OR json_type(payload) = 'object'),
                typed TEXT NOT NULL,
                recorded_at TEXT NOT NULL,
                recorded_by TEXT NOT NULL,
                supersedes INTEGER UNIQUE REFERENCES journal (sequence),
                reason TEXT CHECK (trim(reason) <> ''),
                CHECK ((supersedes IS NULL) = (reason IS NULL)),
                CHECK (payload IS NOT NULL OR supersedes IS NOT NULL)
            ) STRICT""",
            "CREATE INDEX journal_by_record ON journal (kind, id)",
            """CREATE TRIGGER journal_keeps_content BEFORE UPDATE ON journal
                BEGIN SELECT RAISE(ABORT, 'the book is append-only: correct a record instead'); END""",
            """CREATE TRIGGER journal_keeps_entries BEFORE DELETE ON journal
                BEGIN SELECT RAISE(ABORT, 'the book is append-only: withdraw a record instead'); END""",
            # A replacing insert deletes without a delete trigger, hence the check before each insert.
            """CREATE TRIGGER journal_grows_in_order BEFORE INSERT ON journal
                WHEN NEW.sequence IS NOT (SELECT coalesce(max(sequence), 0) + 1 FROM journal)
                  OR NEW.supersedes IS NOT
                     (SELECT max(sequence) FROM journal WHERE kind = NEW.kind AND id = NEW.id)
                BEGIN SELECT RAISE(ABORT, 'the book is append-only: an entry follows the last one'); END""",
        ),
    ),
)
"""Every step of the file format, oldest first. Steps are added at the end and never changed."""


class Journal:
    """An open book. Use it as a context manager, or close it.

    Each method that changes the book is one transaction; inside `with book.transaction():` several of them
    are one together. Numbering needs that: the id that `next_id` gives stays free until the block has
    ended.
    """

    def __init__(
        self, path: Path, connection: sqlite3.Connection, patience_s: float, clock: Callable[[], datetime]
    ) -> None:
        self.path = path
        self._connection = connection
        self._patience_s = patience_s
        self._clock = clock
        self._tool = f"drawweight {version('drawweight-predictor')}"

    @classmethod
    def open(
        cls,
        path: Path | str,
        *,
        create: bool = False,
        patience_s: float = 10.0,
        clock: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> Self:
        """Open a book, bringing an older file format up to date.

        Args:
            path: The file.
            create: Whether to start a new book where there is none.
            patience_s: How long to wait for another process that is writing [s].
            clock: Source of the time at which entries are kept.

        Raises:
            BookError: There is no book, or the file is something else, too new, or cannot be used.
        """
        path = Path(path)
        if not create and not (path.exists() and (path.is_dir() or path.stat().st_size)):
            raise NoBookError(
                f"wanted the shop's book at {path}, got no book there; start one with drawweight add FILE, "
                "or name another with --book"
            )
        with _plain_errors(path):
            uri = f"{path.absolute().as_uri()}?mode={'rwc' if create else 'rw'}"
            connection = sqlite3.connect(uri, uri=True, timeout=0, isolation_level=None)
            book = cls(path, connection, patience_s, clock)
            try:
                book._prepare(create=create)
            except BaseException:
                connection.close()
                raise
        return book

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the file. What was acknowledged is kept already."""
        self._connection.close()

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """Make all changes of the block together or not at all; inside another such block, join it.

        Raises:
            BookError: The book is locked, full, or may not be written. Nothing of the block is kept then.
        """
        if self._connection.in_transaction:
            yield
            return
        with _plain_errors(self.path):
            self._execute("BEGIN IMMEDIATE")
            try:
                yield
                self._execute("COMMIT")
            except BaseException:
                # On a full disk SQLite may have rolled back by itself.
                if self._connection.in_transaction:
                    self._execute("ROLLBACK")
                raise

    def append(self, records: Iterable[New]) -> list[Entry]:
        """Keep new records, all or none.

        Raises:
            RecordError: One of the ids is taken; nothing is kept.
            BookError: The book cannot be written; nothing is kept.
        """
        with self.transaction():
            return [self._append(record) for record in records]

    def correct(self, kind: str, record_id: str, payload: str, reason: str, typed: str = "") -> Entry:
        """Supersede a record by a new version.

        Args:
            kind: Kind of the record.
            record_id: Its id.
            payload: The whole new version, as a JSON object.
            reason: Why the last version was wrong.
            typed: Text that the new version was read from.

        Raises:
            RecordError: There is no such record, or no reason is given.
            BookError: The book cannot be written.
        """
        return self._supersede(New(kind, record_id, payload, typed), payload, reason)

    def withdraw(self, kind: str, record_id: str, reason: str) -> Entry:
        """Mark a record as one that should not have been made. A later correction brings it back.

        Raises:
            RecordError: There is no such record, or no reason is given.
            BookError: The book cannot be written.
        """
        return self._supersede(New(kind, record_id, ""), None, reason)

    def next_id(self, prefix: str, digits: int = 1) -> str:
        """Id above all that were ever used with a prefix: `K-` gives `K-015`, `K-014/` gives `K-014/4`.

        Args:
            prefix: What stands before the running number, over all kinds.
            digits: Least number of digits.

        Raises:
            RuntimeError: It is called outside a transaction, where another process could take the id.
        """
        if not self._connection.in_transaction:
            raise RuntimeError(
                "wanted a transaction around next_id, got none; use `with book.transaction():`"
            )
        row = self._execute(
            """SELECT coalesce(max(CAST(number AS INTEGER)), 0) + 1
                FROM (SELECT id, substr(id, length(:prefix) + 1) AS number FROM journal)
                WHERE id = :prefix || number AND number <> '' AND number NOT GLOB '*[^0-9]*'""",
            {"prefix": prefix},
        ).fetchone()
        return f"{prefix}{row[0]:0{digits}d}"

    def current(self, kind: str | None = None) -> list[Entry]:
        """Last versions of all records that are not withdrawn, in the order in which they were first kept.

        Args:
            kind: Only this kind (default: all).
        """
        return _last_versions(self._entries("(:kind IS NULL OR kind = :kind)", kind=kind))

    def as_of(self, moment: datetime, kind: str | None = None) -> list[Entry]:
        """What `current` would have given at a moment.

        Args:
            moment: With its time zone; entries kept at that very instant count.
            kind: Only this kind (default: all).
        """
        if moment.tzinfo is None:
            raise ValueError("wanted a moment with its time zone, got one without; use for instance UTC")
        where = "(:kind IS NULL OR kind = :kind) AND recorded_at <= :moment"
        return _last_versions(self._entries(where, kind=kind, moment=_stamp(moment)))

    def history(self, kind: str, record_id: str) -> list[Entry]:
        """All versions of a record, oldest first; empty if there never was one."""
        return self._entries("kind = :kind AND id = :id", kind=kind, id=record_id)

    def find(self, kind: str, record_id: str) -> Entry | None:
        """Last version of a record; None if it was withdrawn or never was."""
        versions = _last_versions(self.history(kind, record_id))
        return versions[0] if versions else None

    def length(self) -> int:
        """How many entries there are, every version of every record counted."""
        return int(self._execute("SELECT count(*) FROM journal").fetchone()[0])

    def data_hash(self, apart: Collection[str] = ()) -> str:
        """SHA-256 of what the current records say, whatever their order, spelling and number of versions.

        Args:
            apart: kinds of records that do not count.
        """
        digest = hashlib.sha256()
        for entry in sorted(self.current(), key=lambda entry: (entry.kind, entry.id)):
            if entry.kind in apart:
                continue
            record = [entry.kind, entry.id, json.loads(entry.payload or "null")]
            digest.update(json.dumps(record, sort_keys=True, separators=(",", ":")).encode() + b"\n")
        return digest.hexdigest()

    def _execute(self, statement: str, values: Values = ()) -> sqlite3.Cursor:
        """Run a statement, waiting for other processes as long as the patience lasts.

        SQLite's own waiting backs off to tenths of a second, and a process that writes without a pause then
        kept others out for more than ten seconds; asking each millisecond finds the gaps.
        """
        deadline = time.monotonic() + self._patience_s
        while True:
            try:
                return self._connection.execute(statement, values)
            except sqlite3.OperationalError as error:
                if _primary_code(error) != sqlite3.SQLITE_BUSY or time.monotonic() > deadline:
                    raise
                time.sleep(0.001)

    def _append(self, record: New) -> Entry:
        if self.history(record.kind, record.id):
            raise RecordError(
                f"wanted a new {record.kind}, got {record.id}, which the book has already; "
                "correct that record or choose another id"
            )
        return self._insert(record, record.payload, None, None)

    def _supersede(self, record: New, payload: str | None, reason: str) -> Entry:
        if not reason.strip():
            raise RecordError(f"wanted a reason for changing {record.id}, got none; say what was wrong")
        with self.transaction():
            versions = self.history(record.kind, record.id)
            if not versions:
                raise RecordError(
                    f"wanted a {record.kind} of the book, got {record.id}, which it has not; check the id"
                )
            return self._insert(record, payload, versions[-1].sequence, reason.strip())

    def _insert(self, record: New, payload: str | None, supersedes: int | None, reason: str | None) -> Entry:
        last = self._execute(
            "SELECT coalesce(max(sequence), 0), coalesce(max(recorded_at), '') FROM journal"
        ).fetchone()
        # A clock that was set back must not put an entry before the one that it follows.
        recorded_at = max(_stamp(self._clock()), last[1])
        row = (
            last[0] + 1,
            record.kind,
            record.id,
            payload,
            record.typed,
            recorded_at,
            self._tool,
            supersedes,
            reason,
        )
        self._execute("INSERT INTO journal VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)", row)
        return _entry(row)

    def _entries(self, where: str, **values: str | None) -> list[Entry]:
        with _plain_errors(self.path):
            rows = self._execute(
                f"SELECT * FROM journal WHERE {where} ORDER BY sequence",  # noqa: S608 # constant text
                values,
            ).fetchall()
        return [_entry(row) for row in rows]

    def _prepare(self, *, create: bool) -> None:
        """Set the connection up, refuse what is no book or too new, and bring the format up to date."""
        self._execute("PRAGMA synchronous = EXTRA")
        self._execute("PRAGMA foreign_keys = ON")
        if self._format() < len(MIGRATIONS):
            with self.transaction():
                self._refuse_other_files(create=create)
            self._migrate()
        self._refuse_other_files(create=False)

    def _format(self) -> int:
        return int(self._execute("PRAGMA user_version").fetchone()[0])

    def _refuse_other_files(self, *, create: bool) -> None:
        mark = self._execute("PRAGMA application_id").fetchone()[0]
        if mark != APPLICATION_ID:
            empty = self._execute("SELECT count(*) FROM sqlite_schema").fetchone()[0] == 0
            if not (create and empty):
                raise NotABookError(
                    f"wanted the shop's book, got some other database in {self.path}; name another file"
                )
        if self._format() > len(MIGRATIONS):
            raise BookVersionError(
                f"wanted a book of format {len(MIGRATIONS)} or older, "
                f"got format {self._format()} in {self.path}; use a newer version of this tool"
            )

    def _migrate(self) -> None:
        """Take the steps that are still missing, each in a transaction of its own with the note of it."""
        for number, step in enumerate(MIGRATIONS, start=1):
            with self.transaction():
                # Read inside the transaction: another process may have taken the step meanwhile.
                if self._format() >= number:
                    continue
                for statement in step.statements:
                    self._execute(statement)
                self._execute(
                    "INSERT INTO migrations (number, name, applied_at, applied_by) VALUES (?, ?, ?, ?)",
                    (number, step.name, _stamp(self._clock()), self._tool),
                )
                self._execute(f"PRAGMA application_id = {APPLICATION_ID}")
                self._execute(f"PRAGMA user_version = {number}")


def _last_versions(entries: Iterable[Entry]) -> list[Entry]:
    last: dict[tuple[str, str], Entry] = {}
    for entry in entries:
        last[entry.kind, entry.id] = entry
    return [entry for entry in last.values() if entry.payload is not None]


def _entry(row: tuple[int, str, str, str | None, str, str, str, int | None, str | None]) -> Entry:
    sequence, kind, record_id, payload, typed, recorded_at, recorded_by, supersedes, reason = row
    moment = datetime.fromisoformat(recorded_at)
    return Entry(sequence, kind, record_id, payload, typed, moment, recorded_by, supersedes, reason)


def _stamp(moment: datetime) -> str:
    """UTC to the microsecond in a fixed width, so that the order of the text is the order in time."""
    return moment.astimezone(UTC).isoformat(timespec="microseconds")


def _primary_code(error: sqlite3.Error) -> int:
    """SQLite's result code without its extended part; zero where Python itself raised the error."""
    return int(getattr(error, "sqlite_errorcode", 0)) & 0xFF


_TROUBLES: Mapping[int, tuple[type[BookError], str]] = {
    sqlite3.SQLITE_BUSY: (BookLockedError, "it is locked by another process; close that one or try again"),
    sqlite3.SQLITE_LOCKED: (BookLockedError, "it is locked by another process; close that one or try again"),
    sqlite3.SQLITE_FULL: (BookFullError, "the disk is full; make room and try again"),
    sqlite3.SQLITE_READONLY: (
        BookReadOnlyError,
        "it may not be written; check the rights of the file and its folder",
    ),
    sqlite3.SQLITE_CANTOPEN: (NoBookError, "it cannot be opened; check the folder and the rights"),
    sqlite3.SQLITE_NOTADB: (NotABookError, "it is some other kind of file; name the book with --book"),
    sqlite3.SQLITE_CORRUPT: (BookDamagedError, "it is damaged; restore it from a copy"),
    sqlite3.SQLITE_IOERR: (BookDamagedError, "the disk reports an error; check it before writing again"),
}


@contextmanager
def _plain_errors(path: Path) -> Iterator[None]:
    """Turn what SQLite reports about the file into an error of one line; other errors are faults and pass."""
    try:
        yield
    except sqlite3.DatabaseError as error:
        if _primary_code(error) not in _TROUBLES:
            raise
        kind, message = _TROUBLES[_primary_code(error)]
        raise kind(f"wanted to use the book {path}, but {message}") from error
