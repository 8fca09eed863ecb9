"""What a book says at one moment, as typed records that refer to each other."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date

from datasets.materials import Material, with_own
from datasets.record import Record
from datasets.schema import (
    Build,
    Event,
    Form,
    Order,
    Removal,
    Rigging,
    Scale,
    Shop,
    Stock,
    StripTest,
    WeighIn,
)

FormKey = tuple[str, int]
"""A form's id and revision."""


@dataclass(frozen=True)
class Contents:
    """Every current record, by its id.

    Attributes:
        forms: by id and revision.
        builds: by id.
        events: the history of each build that has one: by date, on one day by running number.
        own_materials: the shop's own, by name; they hold where the handbook has the name too.
        scales: by id.
        strips: strip tests by id.
        orders: by id.
        stock: by id.
        shop: the settings.
    """

    forms: Mapping[FormKey, Form] = field(default_factory=dict)
    builds: Mapping[str, Build] = field(default_factory=dict)
    events: Mapping[str, tuple[Event, ...]] = field(default_factory=dict)
    own_materials: Mapping[str, Material] = field(default_factory=dict)
    scales: Mapping[str, Scale] = field(default_factory=dict)
    strips: Mapping[str, StripTest] = field(default_factory=dict)
    orders: Mapping[str, Order] = field(default_factory=dict)
    stock: Mapping[str, Stock] = field(default_factory=dict)
    shop: Shop = field(default_factory=Shop)

    @property
    def materials(self) -> Mapping[str, Material]:
        """The handbook's materials and the shop's own, by name."""
        return with_own(self.own_materials.values())

    def form_of(self, build: Build) -> Form | None:
        """Return the form revision that a build points at, if the book has it."""
        return self.forms.get((build.form, build.form_revision))

    def latest_revision(self, form_id: str) -> int:
        """Return the highest revision of a form; 0 if there is none."""
        return max((revision for name, revision in self.forms if name == form_id), default=0)

    def event(self, event_id: str) -> Event | None:
        """Return an event by its id, such as `K-014/3`."""
        history = self.events.get(event_id.split("/")[0], ())
        return next((event for event in history if event.id == event_id), None)

    def plus(self, record: Record) -> "Contents":
        """Return the contents with one more record; it replaces the one that has its id."""
        match record:
            case Form():
                return replace(self, forms={**self.forms, (record.id, record.revision): record})
            case Build():
                return replace(self, builds={**self.builds, record.id: record})
            case WeighIn() | Removal() | Rigging():
                others = [event for event in self.events.get(record.build, ()) if event.id != record.id]
                history = tuple(sorted([*others, record], key=_moment))
                return replace(self, events={**self.events, record.build: history})
            case Material():
                return replace(self, own_materials={**self.own_materials, record.name: record})
            case Scale():
                return replace(self, scales={**self.scales, record.id: record})
            case StripTest():
                return replace(self, strips={**self.strips, record.id: record})
            case Order():
                return replace(self, orders={**self.orders, record.id: record})
            case Stock():
                return replace(self, stock={**self.stock, record.id: record})
            case Shop():
                return replace(self, shop=record)
            case _:
                raise TypeError(f"wanted a record of the book, got {type(record).__name__}; name its kind")

    @classmethod
    def of(cls, records: Iterable[Record]) -> "Contents":
        """Return the contents made of records in their order of entry."""
        contents = cls()
        for record in records:
            contents = contents.plus(record)
        return contents


def _moment(event: Event) -> tuple[date, int]:
    """Return an event's place in its build's history: its day, and on one day its running number."""
    return event.on, int(event.id.split("/")[1])
