"""Commands that fit the model: train, report and demo."""

import sys
from pathlib import Path
from time import perf_counter
from typing import Annotated

import typer
from rich.console import Console

from datasets.book import ShopBook
from predictor.belief.model import ModelError
from reports import demo
from reports.commands.ending import COULD_NOT, FINDINGS, FINE, StopError, stopping_at
from reports.commands.found import units_of
from reports.commands.options import JsonOption, UnitsOption
from reports.learned import learn, learned_json, show_learned
from reports.printing import console


def lay_out_demo(
    into: Annotated[Path, typer.Option("--into", help="folder for the invented shop's book")],
) -> int:
    """Lay out an invented shop, train on it and predict a planned kit.

    Example: drawweight demo --into demo
    """
    return demo.run_demo(into, console())


def train_model(context: typer.Context, as_json: JsonOption = False) -> int:
    """Learn from every build of the book that may teach.

    What is learned is kept beside the book. Builds that look like a mistake of the pencil count for little and
    are named.

    Example: drawweight train
    """
    # The fit is slow to load, so only this command loads it.
    from training.learning.train import NothingToLearnError

    started = perf_counter()
    with (
        stopping_at(NothingToLearnError, code=FINDINGS),
        stopping_at(ModelError, code=COULD_NOT),
        ShopBook.open(context.obj.book) as book,
        Console(stderr=True).status("learning from the book"),
    ):
        model = learn(book)
    if as_json:
        sys.stdout.write(learned_json(model) + "\n")
    else:
        show_learned(model, perf_counter() - started, console())
    return FINDINGS if model.doubtful else FINE


def tell_report(
    context: typer.Context,
    name: Annotated[
        str,
        typer.Argument(
            metavar="NAME",
            help="calibration, errors, drift, settling, scales, tolerance, learning, differences, or all",
        ),
    ],
    words: Annotated[
        list[str] | None, typer.Argument(metavar="[WORDS]", help="what the report wants to know")
    ] = None,
    html: Annotated[Path | None, typer.Option("--html", help="write it as a page with graphs")] = None,
    into: Annotated[Path | None, typer.Option("--into", help="folder for the page and values of all")] = None,
    as_json: JsonOption = False,
    units: UnitsOption = None,
) -> int:
    """Tell how good predictions have been, and what may be promised.

    The model is fitted anew to the book as it is, and judged by builds left out. A page holds all it
    needs, for a phone and for paper.

    Example: drawweight report calibration --html calibration.html
    """
    # The fit and the plots are slow to load, so only this command loads them.
    from reports import report_files
    from reports.sources import ReportError, gather

    with stopping_at(ReportError):
        found = report_files.find(name, words or ())
    if (name == report_files.ALL) != (into is not None):
        raise StopError(
            "wanted --into DIR with the reports named all and only there; see: drawweight report --help"
        )
    with ShopBook.open(context.obj.book) as book, Console(stderr=True).status("learning from the book"):
        sources = gather(book, report_files.with_progress)
    asked = units_of(sources.contents, units)
    if into is None:
        with stopping_at(ReportError):
            report_files.tell_one(found[0], sources, words or (), asked, html=html, as_json=as_json)
    else:
        sys.stdout.writelines(f"{path}\n" for path in report_files.write_all(into, found, sources, asked))
    return FINE
