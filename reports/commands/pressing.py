"""The command layup: which stack to press."""

import sys
from typing import Annotated

import typer

from datasets import notation
from datasets.book import ShopBook
from datasets.contents import Contents
from datasets.materials import named
from datasets.schema import Build
from predictor.bows.bow import Refusal
from predictor.planning.promise import Judged
from predictor.pressing.swaps import Change
from reports import (
    layup,
    layup_told,
)
from reports.commands.ending import FINDINGS, FINE, StopError, stopping_at
from reports.commands.found import find_build, find_form, form_of, promised_in, trained_model, units_of
from reports.commands.options import (
    HeldShotsOption,
    JsonOption,
    JudgingScaleOption,
    TargetOption,
    ToleranceOption,
    UnitsOption,
    UntrainedOption,
)
from reports.commands.typed import given, whole_typed
from reports.printing import Units, console

MOST_TOLD = 1000
"""Stacks to tell at most, whatever is asked."""


def choose_layup(
    context: typer.Context,
    form_id: Annotated[str | None, typer.Option("--form", help="the form to press on")] = None,
    like: Annotated[str | None, typer.Option("--like", help="a build to make another like it")] = None,
    target: TargetOption = None,
    order: Annotated[
        str | None, typer.Option("--order", help="an order of the book, for all that it promises")
    ] = None,
    length: Annotated[
        str | None, typer.Option("--length", help="nock to nock (default: the form's, or as it was)")
    ] = None,
    wood: Annotated[str | None, typer.Option("--wood", help="material of the cores")] = None,
    glass: Annotated[
        str | None, typer.Option("--glass", help="thickness of both faces, such as .050")
    ] = None,
    shots: HeldShotsOption = None,
    tolerance: ToleranceOption = None,
    scale: JudgingScaleOption = None,
    count: Annotated[str, typer.Option("--count", help="stacks to tell at most")] = "5",
    untrained: UntrainedOption = False,
    as_json: JsonOption = False,
    units: UnitsOption = None,
) -> int:
    """Tell which stack of the lams in stock to press, and how thick.

    It is heavy enough to reach the weight after finishing and shooting in, with the least to take off. With --like
    the cores of another bow like one of the book: for a target or, without one, of the same weight with other glass,
    wood or length.

    Example: drawweight layup --form ridge-66 --target "50#@28"
    """
    most = whole_typed(count, "how many stacks to tell", 1, MOST_TOLD)
    with ShopBook.open(context.obj.book) as book:
        contents = book.contents()
        model = None if untrained else trained_model(book)
    typed = given(tolerance_lbf=tolerance, shots=shots, scale=scale)
    promised = promised_in(target, order, typed, contents)
    change = _change_wanted(contents, glass, wood, length)
    asked = layup.Asked(contents, model, Judged(promised.draw, promised.shots, promised.scale), change)
    if like is not None and form_id is None and target is None and order is None:
        return _swap(asked, find_build(contents, like), units_of(contents, units), as_json=as_json)
    if (target is None) == (order is None) or (form_id is None) == (like is None):
        raise StopError("wanted --form or --like with --target or --order; see: drawweight layup --help")
    with stopping_at(ValueError, code=FINDINGS):
        promise = layup.promise_of(promised, contents.shop)
        if form_id is not None:
            told = layup.for_form(asked, find_form(contents, form_id), promise, most)
        else:
            build = find_build(contents, like or "")
            told = layup.like_build(asked, form_of(build, contents), build, promise)
    if as_json:
        sys.stdout.write(told.model_dump_json(indent=2) + "\n")
    else:
        layup_told.show_layup(told, units_of(contents, units), console())
    return FINE if told.layup.choices else FINDINGS


def _swap(asked: layup.Asked, build: Build, units: Units, *, as_json: bool) -> int:
    if asked.change == Change():
        raise StopError(
            f"wanted what is to change about {build.id}, got nothing; add --glass, --wood, --length or --target"
        )
    with stopping_at(ValueError, code=FINDINGS):
        told = layup.equal_weight(asked, form_of(build, asked.contents), build)
    if isinstance(told, Refusal):
        raise StopError(f"no bow like {build.id}: {told.reason} ({told.where})", FINDINGS)
    if as_json:
        sys.stdout.write(told.model_dump_json(indent=2) + "\n")
    else:
        layup_told.show_swap(build.id, told, units, console())
    return FINE


def _change_wanted(contents: Contents, glass: str | None, wood: str | None, length: str | None) -> Change:
    with stopping_at(notation.NotationError, LookupError):
        return Change(
            glass_in=None if glass is None else notation.read(glass, notation.Quantity.THICKNESS),
            wood=None if wood is None else named(wood, contents.materials).name,
            length_in=None if length is None else notation.read(length, notation.Quantity.LENGTH),
        )
