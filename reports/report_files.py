"""Makes reports and writes them: one to the terminal, a page or JSON, or all of them into a folder."""

import sys
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.progress import track

from datasets.mistakes import nearest
from datasets.record import Record
from reports.blocks import Section, show_section
from reports.page import page
from reports.printing import Units, console
from reports.registry import REPORTS, Report
from reports.sources import ReportError, Sources
from reports.usage import shortened

ALL = "all"
PAGE, TITLE = "reports.html", "Reports"


def find(name: str, words: Sequence[str]) -> tuple[Report[Record], ...]:
    """Return the reports that a name stands for.

    Args:
        name: of a report, or `all` for those that want no more words.
        words: typed after it.

    Raises:
        ReportError: there is none of this name, or it wants other words.
    """
    if name == ALL:
        found = tuple(report for report in REPORTS.values() if not report.wants)
    elif name in REPORTS:
        found = (REPORTS[name],)
    else:
        raise ReportError(f"wanted a report, got {shortened(name)}; {nearest(name, [*REPORTS, ALL])}")
    wants = found[0].wants
    if len(words) != len(wants):
        asked = " ".join(wants) or "no more words"
        came = " ".join(words) or "nothing"
        again = " ".join(["drawweight report", name, *wants])
        raise ReportError(f"wanted {asked} after {name}, got {came}; write: {again}")
    return found


def with_progress(steps: Sequence[Any], what: str) -> Iterable[Any]:
    """Go through steps with a bar on the channel of notes, if somebody watches it."""
    notes = Console(stderr=True)
    return track(steps, what, console=notes, transient=True, disable=not notes.is_terminal)


def tell_one(
    report: Report[Record],
    sources: Sources,
    words: Sequence[str],
    units: Units,
    *,
    html: Path | None,
    as_json: bool,
) -> None:
    """Make one report and print it, as text or as JSON, or write it as a page and print where.

    Raises:
        ReportError: the words name nothing in the book.
        OSError: the page cannot be written.
    """
    value = report.make(sources, words)
    section = report.section(value, units)
    if html is not None:
        _write_page(html, [section], sources.contents.shop.name)
    if as_json:
        sys.stdout.write(value.model_dump_json(indent=2) + "\n")
    elif html is not None:
        sys.stdout.write(f"{html}\n")
    else:
        show_section(section, console())


def _write_page(path: Path, sections: Sequence[Section], shop: str) -> None:
    title = sections[0].title if len(sections) == 1 else TITLE
    path.write_text(page(f"{title} of {shop}", sections), encoding="utf-8")


def write_all(folder: Path, reports: Sequence[Report[Record]], sources: Sources, units: Units) -> list[Path]:
    """Write reports as one page and each one's values as JSON.

    Args:
        folder: made if it is not there.
        reports: in the order of the page.
        sources: of all of them.
        units: of the page.

    Returns:
        The files written, the page first.

    Raises:
        OSError: one cannot be written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    sections, written = [], [folder / PAGE]
    for report in sources.track(list(reports), "making reports"):
        value = report.make(sources, ())
        sections.append(report.section(value, units))
        written.append(folder / f"{report.name}.json")
        written[-1].write_text(value.model_dump_json(indent=2) + "\n", encoding="utf-8")
    _write_page(written[0], sections, sources.contents.shop.name)
    return written
