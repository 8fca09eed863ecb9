"""The shop's book: append-only, durable under kill, safe for several writers, plain about what goes wrong."""

import os
import random
import select
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import IO

import pytest
from hypothesis import given
from hypothesis import strategies as st

from datasets import store
from datasets.store import (
    BookDamagedError,
    BookError,
    BookFullError,
    BookLockedError,
    BookReadOnlyError,
    BookVersionError,
    Entry,
    Journal,
    Migration,
    New,
    NoBookError,
    NotABookError,
    RecordError,
)
from tests.campaigns import part_of

WRITER = Path(__file__).with_name("write_until_killed.py")
ROOT = Path(__file__).parents[2]
START = datetime(2024, 5, 1, 8, tzinfo=UTC)


class Clock:
    """A clock that stands until it is set."""

    def __init__(self) -> None:
        self.now = START

    def __call__(self) -> datetime:
        """The time it stands at."""
        return self.now


@pytest.fixture
def clock() -> Clock:
    """The clock of the book under test."""
    return Clock()


@pytest.fixture
def book(tmp_path: Path, clock: Clock) -> Iterator[Journal]:
    """A new, empty book with little patience."""
    with Journal.open(tmp_path / "shop.book", create=True, patience_s=0.05, clock=clock) as opened:
        yield opened


def _said(entries: list[Entry]) -> dict[str, str | None]:
    return {entry.id: entry.payload for entry in entries}


def _raw(book: Journal) -> sqlite3.Connection:
    """The file as any other program sees it."""
    return sqlite3.connect(book.path, isolation_level=None)


def test_keeps_a_record_as_it_was_given(book: Journal, clock: Clock) -> None:
    """What was appended comes back with its text, time, tool and place in the journal."""
    kept = book.append([New("form", "ridge-66", '{"id": "ridge-66"}', "[[form]]\nid = 'ridge-66'")])

    assert book.current("form") == kept == book.history("form", "ridge-66")
    assert kept[0].sequence == 1
    assert kept[0].payload == '{"id": "ridge-66"}'
    assert kept[0].typed == "[[form]]\nid = 'ridge-66'"
    assert kept[0].recorded_at == clock.now
    assert kept[0].recorded_by.startswith("drawweight ")


TEXT = st.text(st.characters(codec="utf-8"))


@given(st.dictionaries(TEXT.filter(bool), TEXT))
def test_any_text_comes_back_the_same(typed_by_id: dict[str, str]) -> None:
    """Ids and typed text of any signs survive closing and opening the file."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "shop.book"
        with Journal.open(path, create=True) as book:
            book.append(New("build", record_id, "{}", typed) for record_id, typed in typed_by_id.items())
        with Journal.open(path) as book:
            assert {entry.id: entry.typed for entry in book.current()} == typed_by_id


def test_appends_all_or_none(book: Journal) -> None:
    """One bad record of several keeps the others out."""
    book.append([New("build", "K-001", "{}")])

    with pytest.raises(RecordError, match="K-001, which the book has already; correct that record"):
        book.append([New("build", "K-002", "{}"), New("build", "K-001", "{}")])

    assert list(_said(book.current())) == ["K-001"]


@pytest.mark.parametrize("payload", ["[1]", "1", "", "{"])
def test_keeps_only_json_objects(book: Journal, payload: str) -> None:
    """A payload that is no JSON object is a fault of the caller and is not kept."""
    with pytest.raises(sqlite3.DatabaseError):
        book.append([New("build", "K-001", payload)])

    assert book.current() == []


def test_a_block_is_kept_together_or_not_at_all(book: Journal) -> None:
    """An error anywhere in a transaction undoes all of it."""
    with pytest.raises(RecordError), book.transaction():  # noqa: PT012 # the block is what is tested
        book.append([New("build", "K-001", "{}")])
        book.append([New("build", "K-002", "{}")])
        book.withdraw("build", "K-009", "not there")

    assert book.current() == []


def test_a_correction_supersedes_and_says_why(book: Journal) -> None:
    """The last version counts; the versions before it stay readable with the reason of each change."""
    book.append([New("build", "K-001", '{"lam": 0.14}', "lam = .140"), New("build", "K-002", "{}")])
    book.correct("build", "K-001", '{"lam": 0.133}', "the plan was copied", "lam = .133")

    assert _said(book.current()) == {"K-001": '{"lam": 0.133}', "K-002": "{}"}
    first, second = book.history("build", "K-001")
    assert (first.payload, first.supersedes, first.reason) == ('{"lam": 0.14}', None, None)
    assert (second.typed, second.supersedes, second.reason) == ("lam = .133", 1, "the plan was copied")
    assert book.find("build", "K-001") == second


def test_a_withdrawn_record_is_gone_but_not_lost(book: Journal) -> None:
    """A withdrawn record is not current, keeps its history and its id, and a correction brings it back."""
    book.append([New("build", "K-001", "{}")])
    book.withdraw("build", "K-001", "never built")

    assert book.current() == []
    assert book.find("build", "K-001") is None
    assert [entry.reason for entry in book.history("build", "K-001")] == [None, "never built"]
    with pytest.raises(RecordError):
        book.append([New("build", "K-001", "{}")])

    book.correct("build", "K-001", "{}", "it was built after all")
    assert list(_said(book.current())) == ["K-001"]


def test_a_change_needs_a_record_and_a_reason(book: Journal) -> None:
    """What is not there cannot be changed, and nothing is changed without a reason."""
    book.append([New("build", "K-001", "{}")])

    with pytest.raises(RecordError, match="wanted a build of the book, got K-009"):
        book.correct("build", "K-009", "{}", "slip")
    with pytest.raises(RecordError, match="say what was wrong"):
        book.withdraw("build", "K-001", "  ")


def test_tells_what_was_known_at_any_moment(book: Journal, clock: Clock) -> None:
    """The book as of a moment has the versions kept up to then, and no later ones."""
    book.append([New("build", "K-001", '{"v": 1}')])
    clock.now += timedelta(days=1)
    book.correct("build", "K-001", '{"v": 2}', "slip")
    clock.now += timedelta(days=1)
    book.withdraw("build", "K-001", "not ours")

    assert book.as_of(START - timedelta(seconds=1)) == []
    assert _said(book.as_of(START)) == {"K-001": '{"v": 1}'}
    assert _said(book.as_of(START + timedelta(days=1))) == {"K-001": '{"v": 2}'}
    assert book.as_of(START + timedelta(days=2)) == book.current() == []
    assert book.as_of(START, "form") == []
    with pytest.raises(ValueError, match="time zone"):
        book.as_of(datetime(2024, 5, 1))  # the point of the check


def test_a_clock_set_back_does_not_change_the_order(book: Journal, clock: Clock) -> None:
    """Entries never get an earlier time than the one before them."""
    book.append([New("build", "K-001", '{"v": 1}')])
    clock.now -= timedelta(days=30)
    book.correct("build", "K-001", '{"v": 2}', "slip")

    assert book.history("build", "K-001")[1].recorded_at == START
    assert _said(book.as_of(START)) == {"K-001": '{"v": 2}'}


def test_numbers_follow_the_highest_ever_used(book: Journal) -> None:
    """Ids of other kinds and withdrawn ones count for the next number, ids that only look alike do not."""
    with book.transaction():
        assert book.next_id("K-", digits=3) == "K-001"
    book.append(
        [New("build", record_id, "{}") for record_id in ("K-002", "K-014", "K-9x", "XK-050", "k-077", "K-")]
    )
    book.append([New("weigh_in", "K-014/9", "{}"), New("removal", "K-014/10", "{}")])
    book.withdraw("removal", "K-014/10", "slip")

    with book.transaction():
        assert book.next_id("K-", digits=3) == "K-015"
        assert book.next_id("K-014/") == "K-014/11"
        assert book.next_id("K-002/") == "K-002/1"
    with pytest.raises(RuntimeError, match="transaction"):
        book.next_id("K-")


def test_the_hash_follows_what_the_records_say(tmp_path: Path) -> None:
    """Order, spelling and detours do not change the hash; content, ids and withdrawals do."""
    hashes = []
    for name, records in {
        "one": [New("build", "K-001", '{"a": 1, "b": [2]}'), New("build", "K-002", "{}")],
        "two": [New("build", "K-002", "{}", "typed"), New("build", "K-001", '{"b":[2],"a":1}')],
        "three": [New("build", "K-001", '{"a": 1, "b": [3]}'), New("build", "K-002", "{}")],
    }.items():
        with Journal.open(tmp_path / name, create=True) as book:
            book.append(records)
            hashes.append(book.data_hash())
    assert hashes[0] == hashes[1] != hashes[2]

    with Journal.open(tmp_path / "three") as book:
        book.correct("build", "K-001", '{"a": 1, "b": [2]}', "slip")
        assert book.data_hash() == hashes[0]
        book.withdraw("build", "K-002", "slip")
        assert book.data_hash() != hashes[0]


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE journal SET payload = '{}'",
        "DELETE FROM journal",
        "INSERT OR REPLACE INTO journal SELECT * FROM journal WHERE sequence = 1",
        "REPLACE INTO journal VALUES (3, 'build', 'K-001', '{}', '', '2024', 'me', NULL, NULL)",
        "INSERT INTO journal VALUES (9, 'build', 'K-9', '{}', '', '2024', 'me', NULL, NULL)",
        "INSERT INTO journal VALUES (3, 'build', 'K-001', '{}', '', '2024', 'me', 1, 'again')",
        "INSERT INTO journal VALUES (3, 'build', 'K-9', '{}', '', '2024', 'me', 2, 'other')",
    ],
)
def test_no_other_program_can_rewrite_the_journal(book: Journal, statement: str) -> None:
    """The file itself refuses changed, deleted, replaced and misplaced entries."""
    book.append([New("build", "K-001", '{"v": 1}')])
    book.correct("build", "K-001", '{"v": 2}', "slip")
    before = book.history("build", "K-001")

    other = _raw(book)
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        other.execute(statement)
    other.close()

    assert book.history("build", "K-001") == before == book.history("build", "K-001")


def test_says_where_there_is_no_book(tmp_path: Path) -> None:
    """Without leave to create, a missing or empty path is refused and nothing is made."""
    missing, empty = tmp_path / "none.book", tmp_path / "empty.book"
    empty.touch()
    for path in (missing, empty):
        with pytest.raises(NoBookError, match="got no book there; start one") as caught:
            Journal.open(path)
        assert caught.value.exit_code == 2
    assert not missing.exists()

    with pytest.raises(NoBookError, match="cannot be opened"):
        Journal.open(tmp_path / "no folder" / "shop.book", create=True)
    with pytest.raises(NoBookError, match="cannot be opened"):
        Journal.open(tmp_path)
    with Journal.open(empty, create=True) as book:
        assert book.current() == []


def test_refuses_files_that_are_no_book(tmp_path: Path) -> None:
    """Text and other databases are refused with and without leave to create, and are left as they were."""
    text = tmp_path / "notes.txt"
    text.write_text("K-014 came out at 52.5\n" * 100)
    foreign = tmp_path / "other.db"
    connection = sqlite3.connect(foreign)
    connection.execute("CREATE TABLE bows (id)")
    connection.close()

    for path in (text, foreign):
        before = path.read_bytes()
        for create in (False, True):
            with pytest.raises(NotABookError) as caught:
                Journal.open(path, create=create)
            assert caught.value.exit_code == 2
        assert path.read_bytes() == before


def test_refuses_a_newer_format(book: Journal) -> None:
    """A book of a newer format is refused with both versions, and left alone."""
    other = _raw(book)
    other.execute("PRAGMA user_version = 99")
    other.close()

    with pytest.raises(
        BookVersionError, match=r"got format 99 in .*; use a newer version of this tool"
    ) as caught:
        Journal.open(book.path)
    assert caught.value.exit_code == 3


def test_an_older_format_is_brought_up_to_date(book: Journal, monkeypatch: pytest.MonkeyPatch) -> None:
    """Missing steps are taken on opening, once, in order, each with a note of it; the records stay."""
    book.append([New("build", "K-001", "{}")])
    steps = (Migration("two", ("CREATE TABLE two (x)",)), Migration("three", ("CREATE TABLE three (x)",)))
    monkeypatch.setattr(store, "MIGRATIONS", (*store.MIGRATIONS, *steps))

    for _ in range(2):
        with Journal.open(book.path) as newer:
            assert list(_said(newer.current())) == ["K-001"]
    other = _raw(book)
    notes = other.execute("SELECT number, name FROM migrations").fetchall()
    other.close()
    assert notes == [(1, "journal of records"), (2, "two"), (3, "three")]


def test_a_failed_step_leaves_the_last_good_format(book: Journal, monkeypatch: pytest.MonkeyPatch) -> None:
    """A step that fails halfway is undone, and the book opens as before with the steps that it had."""
    steps = (
        Migration("good", ("CREATE TABLE good (x)",)),
        Migration("bad", ("CREATE TABLE half (x)", "NO SQL")),
    )
    monkeypatch.setattr(store, "MIGRATIONS", (*store.MIGRATIONS, *steps))
    with pytest.raises(sqlite3.OperationalError):
        Journal.open(book.path)
    monkeypatch.setattr(store, "MIGRATIONS", store.MIGRATIONS[:2])

    Journal.open(book.path).close()
    other = _raw(book)
    tables = {name for (name,) in other.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")}
    other.close()
    assert tables == {"migrations", "journal", "good"}


def test_says_that_the_book_is_locked(book: Journal) -> None:
    """A lock held longer than the patience ends in one line for readers and writers; then all works again."""
    other = _raw(book)
    other.execute("BEGIN EXCLUSIVE")
    with pytest.raises(BookLockedError, match="locked by another process") as caught:
        book.append([New("build", "K-001", "{}")])
    assert caught.value.exit_code == 3
    with pytest.raises(BookLockedError):
        book.current()
    with pytest.raises(BookLockedError):
        Journal.open(book.path, patience_s=0.05)
    other.close()

    book.append([New("build", "K-001", "{}")])
    assert list(_said(book.current())) == ["K-001"]


def test_a_reader_who_stays_does_not_lose_the_change(book: Journal) -> None:
    """A commit that a reader holds up is undone as a whole and reported."""
    book.append([New("build", "K-001", "{}")])
    other = _raw(book)
    reading = other.execute("SELECT * FROM journal UNION ALL SELECT * FROM journal")
    reading.fetchone()
    with pytest.raises(BookLockedError):
        book.append([New("build", "K-002", "{}")])
    reading.close()
    other.close()

    assert list(_said(book.current())) == ["K-001"]
    book.append([New("build", "K-002", "{}")])


def test_says_that_the_disk_is_full(book: Journal) -> None:
    """On a full disk nothing of the change is kept, what was there stays, and with room writing works."""
    book.append([New("build", "K-001", "{}")])
    pages = book._connection.execute("PRAGMA page_count").fetchone()[0]
    book._connection.execute(f"PRAGMA max_page_count = {pages}")
    long = '{"note": "' + "x" * 100_000 + '"}'
    with pytest.raises(BookFullError, match="the disk is full; make room and try again") as caught:
        book.append([New("build", "K-002", "{}"), New("build", "K-003", long)])
    assert caught.value.exit_code == 3
    assert list(_said(book.current())) == ["K-001"]

    book._connection.execute("PRAGMA max_page_count = 1000000")
    book.append([New("build", "K-003", long)])
    assert list(_said(book.current())) == ["K-001", "K-003"]


def test_says_that_the_book_may_not_be_written(book: Journal) -> None:
    """A book without the right to write is still read."""
    book.append([New("build", "K-001", "{}")])
    book._connection.execute("PRAGMA query_only = ON")

    with pytest.raises(BookReadOnlyError, match="check the rights"):
        book.append([New("build", "K-002", "{}")])
    assert list(_said(book.current())) == ["K-001"]


def test_says_that_the_book_is_damaged(book: Journal) -> None:
    """Overwritten pages end in one line that says to restore a copy."""
    book.append([New("build", f"K-{n:03d}", '{"note": "' + "x" * 3000 + '"}') for n in range(20)])
    book.close()
    content = bytearray(book.path.read_bytes())
    content[8192:] = b"\xa5" * (len(content) - 8192)
    book.path.write_bytes(content)

    with pytest.raises(BookDamagedError, match="restore it from a copy"), Journal.open(book.path) as damaged:
        damaged.current()


def test_every_trouble_takes_one_line() -> None:
    """Each message of the family is one line with the path, and its exit code is 2 or 3."""
    for code, (kind, _) in store._TROUBLES.items():
        error = sqlite3.OperationalError("some\nlines")
        error.sqlite_errorcode = code
        with pytest.raises(kind) as caught, store._plain_errors(Path("shop.book")):
            raise error
        assert "shop.book" in str(caught.value)
        assert len(str(caught.value).splitlines()) == 1
        assert issubclass(kind, BookError)
        assert kind.exit_code in {2, 3}


def _writer(path: Path) -> tuple[subprocess.Popen[str], IO[str]]:
    """A process that keeps records until it is killed, and the ids that it has been told are kept."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    process = subprocess.Popen(
        [sys.executable, WRITER, path, "K-"], stdout=subprocess.PIPE, text=True, env=environment
    )
    assert process.stdout is not None
    return process, process.stdout


def _told(output: IO[str]) -> list[str]:
    """The ids in what is left of the output of a killed writer, less a last line cut short."""
    return [line.strip() for line in output if line.endswith("\n")]


def _kill_at_random(rounds: int, path: Path, chance: random.Random) -> tuple[int, int]:
    """Start a writer and kill it at a random instant, again and again, checking the book each time.

    Returns how many records were acknowledged, and how many kills left a change half made.
    """
    acknowledged: list[str] = []
    half_made = 0
    for started in range(1, rounds + 1):
        process, output = _writer(path)
        # One in five is killed while it starts and creates or opens the book, the rest while they write.
        if chance.random() < 0.8:
            select.select([output], [], [], 10)
        time.sleep(chance.uniform(0, 0.03))
        process.kill()
        acknowledged += _told(output)
        output.close()
        process.wait()
        half_made += path.with_name(path.name + "-journal").exists()

        with Journal.open(path, create=True) as book:
            kept = [entry.id for entry in book.current()]
            sound = book._connection.execute("PRAGMA integrity_check").fetchone()[0]
        assert sound == "ok"
        assert set(acknowledged) <= set(kept)
        # Numbers run on from what is kept: a record lost later would show as a gap or a number given twice.
        assert kept == [f"K-{number:03d}" for number in range(1, len(kept) + 1)]
        assert len(acknowledged) == len(set(acknowledged))
        # At most one record of each writer may have been kept without the word having come through.
        assert len(kept) <= len(acknowledged) + started
    return len(acknowledged), half_made


def test_what_was_acknowledged_survives_a_kill(tmp_path: Path) -> None:
    """Over several kills at random instants, every acknowledged record is kept and the file is sound."""
    acknowledged, _ = _kill_at_random(6, tmp_path / "shop.book", random.Random(1))  # noqa: S311 # no secret

    assert acknowledged > 0


@pytest.mark.slow
def test_what_was_acknowledged_survives_many_kills(tmp_path: Path) -> None:
    """The same over a long campaign, each time on a book that grows."""
    rounds = part_of(400, 150)

    chance = random.Random(2)  # noqa: S311 # no secret
    acknowledged, half_made = _kill_at_random(rounds, tmp_path / "shop.book", chance)

    assert acknowledged > rounds
    assert half_made > rounds / 10


def test_several_writers_share_a_book(tmp_path: Path) -> None:
    """Processes that create and fill one book at once lose nothing and never give a number twice."""
    path = tmp_path / "shop.book"
    writers = [_writer(path) for _ in range(4)]
    acknowledged = [output.readline().strip() for _ in range(5) for _, output in writers]
    for process, _ in writers:
        process.kill()
    for process, output in writers:
        acknowledged += _told(output)
        output.close()
        process.wait()

    with Journal.open(path) as book:
        kept = [entry.id for entry in book.current()]
    assert len(acknowledged) == len(set(acknowledged)) > 20
    assert set(acknowledged) <= set(kept)
    assert len(kept) <= len(acknowledged) + len(writers)
