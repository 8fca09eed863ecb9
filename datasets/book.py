"""The shop's book as typed records: read them, add to them, correct them.

`datasets.store` keeps rows of text for good; here they are records that refer to each other, with ids given
out, the shop's own zero points and materials applied, and every record checked against the rest before it is
kept.
"""

import json
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Protocol, Self

from pydantic import ValidationError

from datasets import store
from datasets.checks import findings
from datasets.contents import Contents
from datasets.finding import Finding
from datasets.materials import Material, named
from datasets.record import Defaults, Record
from datasets.schema import KINDS, Build, Form, Shop, Stock, StripTest

PREFIXES = {"build": "K-", "strip": "STRIP-", "order": "ORDER-", "stock": "STOCK-"}
"""What the ids start with that the book gives out, by kind."""

APART = ("strip", "order", "stock")
"""Kinds that no model is trained on: strips are counted at each prediction, orders and stock ask and offer."""

EVENT_KINDS = ("weigh_in", "removal", "rigging")

_ORDER = ("shop", "material", "scale", "form", "strip", "stock", "build", "event", "order")
"""Kinds in the order in which records refer to earlier ones; what happened to bows is one."""

_NO_BUILD = "X-000"
"""Stands in an id until the build has been read."""


class Raw(Protocol):
    """A record as it was typed."""

    @property
    def kind(self) -> str:
        """One of the names in `datasets.schema.KINDS`."""

    @property
    def data(self) -> Mapping[str, Any]:
        """What was typed, by field."""


@dataclass(frozen=True)
class Outcome:
    """What became of one typed record.

    Attributes:
        record: the record as it was read; None where it could not be.
        invalid: what could not be read.
        findings: what the checks say of it.
        kept: whether it is in the book now.
    """

    record: Record | None
    invalid: ValidationError | None = None
    findings: tuple[Finding, ...] = ()
    kept: bool = False

    @property
    def refused(self) -> bool:
        """Whether something about the record itself stops it from being kept."""
        return self.record is None or any(finding.refuses for finding in self.findings)


class ShopBook:
    """An open book. Use it as a context manager."""

    def __init__(self, journal: store.Journal) -> None:
        self._journal = journal

    @classmethod
    def open(cls, path: Path, *, create: bool = False) -> Self:
        """Open a book; with `create`, start one where there is none.

        Raises:
            store.BookError: it is not there, is something else, or cannot be used.
        """
        return cls(store.Journal.open(path, create=create))

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._journal.close()

    @property
    def path(self) -> Path:
        """The book's file."""
        return self._journal.path

    def contents(self, as_of: datetime | None = None) -> Contents:
        """Return every current record, or what was current at a moment.

        Args:
            as_of: the moment, with its time zone.
        """
        entries = self._journal.current() if as_of is None else self._journal.as_of(as_of)
        return Contents.of(KINDS[entry.kind].model_validate_json(entry.payload or "") for entry in entries)

    def length(self) -> int:
        """Return how many entries the book has, corrections counted too."""
        return self._journal.length()

    def data_hash(self) -> str:
        """Return the SHA-256 of what the current records say that a model is trained on."""
        return self._journal.data_hash(APART)

    def versions(self, record_id: str) -> list[store.Entry]:
        """Return every version of a record with its reason, oldest first; empty if there never was one."""
        kind = self.kind_of(record_id)
        return [] if kind is None else self._journal.history(kind, record_id)

    def corrections(self, build_id: str, contents: Contents) -> list[tuple[str, str]]:
        """Return the id and reason of every correction of a build and its events, as far as they are current."""
        ids = [build_id, *(event.id for event in contents.events.get(build_id, ()))]
        return [(one, version.reason) for one in ids for version in self.versions(one) if version.reason]

    def kind_of(self, record_id: str) -> str | None:
        """Return the kind of the record that has an id, if the book ever had one."""
        return next((kind for kind in KINDS if self._journal.history(kind, record_id)), None)

    def add(self, raws: Sequence[Raw], *, keep_good: bool = False) -> list[Outcome]:
        """Keep typed records: all of them or, with `keep_good`, those that nothing speaks against.

        Records of the kinds in `PREFIXES` without an id get the next one. Events likewise within their build, in the
        order given, of whatever kinds they are, after those that have an id. The shop's settings are replaced field by
        field.

        Returns:
            What became of each, in the order given. Only if every one could be kept, or with `keep_good`,
            any of them is.

        Raises:
            store.BookError: the book cannot be written; nothing is kept.
        """
        outcomes: list[Outcome] = []
        with suppress(_TakenBackError), self._journal.transaction():
            outcomes = self._add_in_order(raws)
            if not keep_good and not all(outcome.kept for outcome in outcomes):
                raise _TakenBackError
            return outcomes
        return _not_kept(outcomes)

    def check(self, raws: Sequence[Raw]) -> list[Outcome]:
        """Return what would become of typed records, and keep none of them.

        Raises:
            store.BookError: the book cannot be written.
        """
        outcomes: list[Outcome] = []
        with suppress(_TakenBackError), self._journal.transaction():
            outcomes = self._add_in_order(raws)
            raise _TakenBackError
        return _not_kept(outcomes)

    def correct(self, record_id: str, raw: Raw, reason: str) -> Outcome:
        """Supersede a record: the fields given replace those of the last version, the others stay.

        Args:
            record_id: the record's id; of a form with its revision, such as `ridge-66/1`.
            raw: the fields that change; of the record's own kind.
            reason: what was wrong.

        Raises:
            store.BookError: there is no such record, no reason is given, or the book cannot be written.
        """
        with self._journal.transaction():
            last = self._journal.find(raw.kind, record_id)
            if last is None or last.payload is None:
                raise store.RecordError(
                    f"wanted {raw.kind} {record_id} to correct it, got no such record in the book; check the id"
                )
            contents = self.contents()
            outcome = _read(raw.kind, {**json.loads(last.payload), **raw.data}, contents)
            if outcome.record is None or outcome.refused:
                return outcome
            if id_of(outcome.record) != record_id:
                raise store.RecordError(
                    f"wanted the id {record_id} to stay, got {id_of(outcome.record)}; leave the id out"
                )
            self._journal.correct(raw.kind, record_id, outcome.record.model_dump_json(), reason, _typed(raw))
        return replace(outcome, kept=True)

    def withdraw(self, record_id: str, reason: str) -> None:
        """Take a record out of the current ones that should not be there; its versions stay in the book.

        Raises:
            store.BookError: there is no such record, no reason is given, or the book cannot be written.
        """
        with self._journal.transaction():
            self._journal.withdraw(self.kind_of(record_id) or "record", record_id, reason)

    def _add_in_order(self, raws: Sequence[Raw]) -> list[Outcome]:
        """Write records so that each finds those it refers to; the caller holds the transaction."""
        contents = self.contents()
        outcomes: dict[int, Outcome] = {}
        for index in sorted(range(len(raws)), key=lambda place: _turn(raws[place])):
            outcome = outcomes[index] = self._add(raws[index], contents)
            if outcome.kept and outcome.record is not None:
                contents = contents.plus(outcome.record)
        return [outcomes[index] for index in range(len(raws))]

    def _add(self, raw: Raw, contents: Contents) -> Outcome:
        """Read, check and write one record; the caller holds the transaction."""
        data = dict(raw.data)
        if raw.kind == "shop":
            data = {**contents.shop.model_dump(mode="json"), **data}
        elif raw.kind in PREFIXES and "id" not in data:
            data["id"] = self._journal.next_id(PREFIXES[raw.kind], 3)
        elif raw.kind in EVENT_KINDS and "id" not in data:
            build = data.get("build")
            data["id"] = self._journal.next_id(f"{build if build in contents.builds else _NO_BUILD}/")
        outcome = _read(raw.kind, data, contents)
        if outcome.record is None or outcome.refused:
            return outcome
        record_id, payload = id_of(outcome.record), outcome.record.model_dump_json()
        if raw.kind == "shop" and self._journal.find("shop", record_id):
            self._journal.correct("shop", record_id, payload, "settings changed", _typed(raw))
        elif self.kind_of(record_id):
            return replace(outcome, findings=(*outcome.findings, _taken(record_id)))
        else:
            self._journal.append([store.New(raw.kind, record_id, payload, _typed(raw))])
        return replace(outcome, kept=True)


class _TakenBackError(Exception):
    """Takes back a transaction; nothing that it wrote is kept."""


def _turn(raw: Raw) -> tuple[int, bool]:
    """Return when a record is written among others: after what it may refer to, and after ids that are taken."""
    event = raw.kind in EVENT_KINDS
    return _ORDER.index("event" if event else raw.kind), event and "id" not in raw.data


def _not_kept(outcomes: Sequence[Outcome]) -> list[Outcome]:
    return [replace(outcome, kept=False) for outcome in outcomes]


def read_record(kind: str, data: Mapping[str, Any], contents: Contents) -> Outcome:
    """Read and check one typed record without keeping it.

    Without an id one of a kind in `PREFIXES` gets what the next would.

    Args:
        kind: one of the names in `datasets.schema.KINDS`.
        data: what was typed, by field.
        contents: the book to see it with.
    """
    if kind in PREFIXES and "id" not in data:
        data = {**data, "id": _next(PREFIXES[kind], _ids(kind, contents))}
    return _read(kind, data, contents)


def _ids(kind: str, contents: Contents) -> Iterable[str]:
    """Return the ids of a kind whose ids the book gives out."""
    return {
        "build": contents.builds,
        "strip": contents.strips,
        "order": contents.orders,
        "stock": contents.stock,
    }[kind]


def _next(prefix: str, ids: Iterable[str]) -> str:
    numbers = [int(name.split("-")[1]) for name in ids if name.startswith(prefix)]
    return f"{prefix}{max(numbers, default=0) + 1:03d}"


def id_of(record: Record) -> str:
    """Return the id under which the book keeps a record."""
    if isinstance(record, Form):
        return f"{record.id}/{record.revision}"
    if isinstance(record, Material):
        return record.name
    return str(record.model_dump(include={"id"})["id"])


def _read(kind: str, data: Mapping[str, Any], contents: Contents) -> Outcome:
    try:
        record = KINDS[kind].model_validate(data, context=_defaults(contents.shop))
    except ValidationError as invalid:
        return Outcome(None, invalid)
    found = findings(record, contents)
    if isinstance(record, Build):
        record = _with_proper_names(record, contents.materials)
    elif isinstance(record, StripTest | Stock):
        record = record.model_copy(update={"material": _proper_name(record.material, contents.materials)})
    return Outcome(record, None, found)


def _defaults(shop: Shop) -> Defaults:
    return Defaults(draw_zero=shop.draw_zero, brace_zero=shop.brace_zero)


def _with_proper_names(build: Build, materials: Mapping[str, Material]) -> Build:
    """Return a build whose layers call each known material by its own name, not by another name of it."""
    layers = [
        layer.model_copy(update={"material": _proper_name(layer.material, materials)})
        for layer in build.layers
    ]
    return build.model_copy(update={"layers": tuple(layers)})


def _proper_name(material: str, materials: Mapping[str, Material]) -> str:
    try:
        return named(material, materials).name
    except LookupError:
        return material


def _taken(record_id: str) -> Finding:
    return Finding(
        "id",
        f"wanted a new id, got {record_id}, which the book has; correct that record or leave the id out",
        refuses=True,
    )


def _typed(raw: Raw) -> str:
    return json.dumps(dict(raw.data), default=str, ensure_ascii=False)
