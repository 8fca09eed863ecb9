"""What reports are made from, and what each of them says of it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from importlib.metadata import version
from typing import Any

from pydantic import Field

from datasets.book import ShopBook
from datasets.contents import Contents
from datasets.record import Record
from predictor.belief.model import prior_belief
from predictor.belief.posterior import Posterior
from predictor.belief.scale_bias import with_check_weights
from reports.blocks import Block, Caution, Paragraph, grid
from reports.numbers import counted
from training.checking.left_out_builds import MOST_REFITTED, LeftOutBuilds, left_out_at_once, left_out_builds
from training.learning.train import NothingToLearnError, Trained, train
from training.progress import Track

LEFT_OUT_SHOWN = 8


class ReportError(ValueError):
    """A report that cannot be made as it was asked for, in one line."""


def in_silence(steps: Sequence[Any], _what: str) -> Iterable[Any]:
    """Go through a list and tell nobody."""
    return steps


@dataclass(frozen=True)
class Sources:
    """A book at one moment, and the fit to it.

    Attributes:
        contents: of the book.
        data_hash: of its records.
        records: how many it holds.
        on: the day of the report.
        trained: on the book; nothing while no build that may teach has been weighed.
        track: tells how far something long has come.
    """

    contents: Contents
    data_hash: str
    records: int
    on: date
    trained: Trained | None
    track: Track = in_silence

    @cached_property
    def left_out(self) -> LeftOutBuilds | None:
        """Every build predicted from the others; nothing while there is no fit."""
        return left_out_builds(self.trained, self.contents, self.track) if self.trained else None

    @cached_property
    def left_out_at_once(self) -> LeftOutBuilds | None:
        """The same at the scales of all builds: for what looks at the builds more than at their errors."""
        return left_out_at_once(self.trained, self.contents) if self.trained else None

    @cached_property
    def belief(self) -> Posterior:
        """What builds and check weights have taught; of check weights alone while there is no fit."""
        if self.trained is None:
            return with_check_weights(prior_belief(), self.contents.scales)
        return self.trained.model.belief()


def gather(book: ShopBook, track: Track = in_silence) -> Sources:
    """Read a book and train on it, so that reports tell of the book as it is now."""
    contents, data_hash, records = book.contents(), book.data_hash(), book.length()
    try:
        trained = train(contents, data_hash, records)
    except NothingToLearnError:
        trained = None
    return Sources(contents, data_hash, records, date.today(), trained, track)


class Basis(Record):
    """What a report was made from."""

    on: date = Field(description="day of the report")
    data_hash: str = Field(description="of the book's records")
    records: int = Field(description="in the book, corrections counted")
    tool: str = Field(description="version of the tool, and so of its model")
    builds: int = Field(description="that taught the model")
    readings: int = Field(description="of those builds")
    left_out: tuple[tuple[str, str], ...] = Field(description="records that did not teach, with the reason")
    doubtful: tuple[tuple[str, float], ...] = Field(
        description="builds that look like a mistake of the pencil, with the probability"
    )


def basis_of(sources: Sources) -> Basis:
    """Return what a report says of its sources."""
    model = sources.trained.model if sources.trained else None
    return Basis(
        on=sources.on,
        data_hash=sources.data_hash,
        records=sources.records,
        tool=version("drawweight-predictor"),
        builds=model.builds if model else 0,
        readings=model.readings if model else 0,
        left_out=model.left_out if model else (),
        doubtful=model.doubtful if model else (),
    )


def tell_basis(basis: Basis) -> tuple[Block, ...]:
    """Return the first lines of every report: what it was made from, and what was left out."""
    told: list[Block] = [
        Paragraph(
            f"Made on {basis.on} by drawweight {basis.tool} from {basis.records} records (hash "
            f"{basis.data_hash[:12]}), the model fitted for it to {counted(basis.readings, 'reading')} of "
            f"{counted(basis.builds, 'build')}."
        )
    ]
    if not basis.builds:
        told.append(Caution("No build that may teach has been weighed: all that is known is the handbook's."))
    if basis.doubtful:
        named = ", ".join(f"{build} ({probability:.0%})" for build, probability in basis.doubtful)
        told.append(Caution(f"Looks like a mistake of the pencil and counts for little: {named}."))
    if basis.left_out:
        shown = [[record, reason] for record, reason in basis.left_out[:LEFT_OUT_SHOWN]]
        rest = len(basis.left_out) - len(shown)
        shown += [[f"and {rest} more", "--json has them all"]] if rest else []
        told.append(grid("Left out", ["record", "why"], shown, texts=2))
    return tuple(told)


def how_left_out(builds: LeftOutBuilds) -> str:
    """Return in a sentence what builds left out have had no part in."""
    if builds.refitted:
        return "The model was trained anew without each build, scales and judgement of mistakes included."
    return (
        f"With more than {MOST_REFITTED} builds, scales of scatter and the judgement of mistakes are those of all "
        "builds together, which flatters the errors by some per cent."
    )


def not_counted(builds: int) -> str:
    """Return the start of a sentence on builds that look like a mistake; how it is with them follows."""
    if builds == 1:
        return "1 build that looks like a mistake is not counted; with it"
    return f"{builds} builds that look like a mistake are not counted; with them"
