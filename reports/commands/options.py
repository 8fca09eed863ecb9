"""Arguments and options that several commands have, and what every command knows of its line."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from datasets.schema import KINDS

UnitSystem = StrEnum("UnitSystem", {"INCH": "inch", "METRIC": "metric"})
Kind = StrEnum("Kind", {kind.upper(): kind for kind in KINDS})  # type: ignore[misc]  # made from the records


@dataclass
class Call:
    """What was typed: the whole line, and the book it is about."""

    argv: Sequence[str]
    book: Path


BuildArgument = Annotated[str, typer.Argument(metavar="BUILD", help="the build's id, such as K-014")]
JsonOption = Annotated[bool, typer.Option("--json", help="print JSON")]
UnitsOption = Annotated[
    UnitSystem | None, typer.Option("--units", help="units of the output (default: the shop's)")
]
DrawOption = Annotated[
    str | None, typer.Option("--draw", help="draw length at which weight is told (default: 28)")
]
OnOption = Annotated[str | None, typer.Option("--on", help="day, such as 2026-05-31 (default: today)")]
NoteOption = Annotated[str | None, typer.Option("--note", help="anything worth remembering")]
CorrectsOption = Annotated[
    str | None, typer.Option("--corrects", help="id of the record that this supersedes")
]
BecauseOption = Annotated[str | None, typer.Option("--because", help="what was wrong with it")]
TargetOption = Annotated[
    str | None, typer.Option("--target", help='promised weight and draw, such as "50#@28"')
]
HeldShotsOption = Annotated[
    str | None, typer.Option("--shots", help="arrows after which it must hold (default: 500)")
]
ToleranceOption = Annotated[
    str | None, typer.Option("--tolerance", help="pounds either way (default: the shop's)")
]
JudgingScaleOption = Annotated[
    str | None, typer.Option("--scale", help="scale on which it is judged (default: the true force)")
]
UntrainedOption = Annotated[bool, typer.Option("--untrained", help="ignore what training has learned")]
LotOption = Annotated[str | None, typer.Option("--lot", help="the delivery or board it came from")]
