"""All reports by name. To add one: a module with its value, how it is made and how it is told, and a line here."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from datasets.record import Record
from reports import (
    calibration_report,
    calibration_told,
    differences_report,
    drift_report,
    drift_told,
    errors_report,
    errors_told,
    learning_report,
    scales_report,
    settling_report,
    tolerance_report,
    tolerance_told,
)
from reports.blocks import Block, Section
from reports.printing import Units
from reports.sources import Sources

Value = TypeVar("Value", bound=Record)


@dataclass(frozen=True)
class Report(Generic[Value]):
    """A report: a value first, then how it is told.

    Attributes:
        name: one word, as it is typed.
        title: its head.
        question: that it answers, in a sentence.
        make: from the sources, and from the words that are typed after the name.
        tell: in blocks, in inch or metric units.
        wants: what those words are, such as two builds; a report that wants some is no part of `all`.
    """

    name: str
    title: str
    question: str
    make: Callable[[Sources, Sequence[str]], Value]
    tell: Callable[[Value, Units], Sequence[Block]]
    wants: tuple[str, ...] = ()

    def section(self, value: Value, units: Units) -> Section:
        """Return a value as it is told."""
        return Section(self.name, self.title, self.question, tuple(self.tell(value, units)))


_ALL: tuple[Report[Any], ...] = (
    Report(
        name="calibration",
        title="Calibration",
        question="Do intervals hold as often as they say?",
        make=calibration_report.make,
        tell=calibration_told.tell,
    ),
    Report(
        name="errors",
        title="Errors",
        question="How far off are predictions, beside other ways, and what do the errors go with?",
        make=errors_report.make,
        tell=errors_told.tell,
    ),
    Report(
        name="drift",
        title="Drift",
        question="Has anything shifted in the course of time, and with which lot or scale?",
        make=drift_report.make,
        tell=drift_told.tell,
    ),
    Report(
        name="settling",
        title="Settling",
        question="What do bows lose by being shot in, and when is a bow weighed and marked?",
        make=settling_report.make,
        tell=settling_report.tell,
    ),
    Report(
        name="scales",
        title="Scales",
        question="Which scale reads high, and how well does weighing repeat?",
        make=scales_report.make,
        tell=scales_report.tell,
    ),
    Report(
        name="tolerance",
        title="Tolerance",
        question="What tolerance can be promised, and how were promises kept?",
        make=tolerance_report.make,
        tell=tolerance_told.tell,
    ),
    Report(
        name="learning",
        title="Learning",
        question="How good have predictions become, and what would teach most?",
        make=learning_report.make,
        tell=learning_report.tell,
    ),
    Report(
        name="differences",
        title="Differences",
        question="Two builds side by side: what explains their difference, and is what is left usual?",
        make=differences_report.make,
        tell=differences_report.tell,
        wants=("BUILD", "BUILD"),
    ),
)

REPORTS: dict[str, Report[Any]] = {report.name: report for report in _ALL}
