"""Commands that tell where stock comes off a pressed bow: worth, tiller and plan."""

import json
import sys
from typing import Annotated

import typer

from datasets.book import ShopBook
from datasets.contents import Contents
from datasets.schema import (
    Build,
)
from predictor.bows.bow import Refusal
from predictor.bows.tiller import tillered
from reports import (
    layup,
)
from reports.commands.ending import FINDINGS, FINE, StopError, stopping_at
from reports.commands.found import (
    find_build,
    form_of,
    promised_in,
    trained_model,
    units_of,
)
from reports.commands.options import (
    BuildArgument,
    DrawOption,
    HeldShotsOption,
    JsonOption,
    JudgingScaleOption,
    TargetOption,
    ToleranceOption,
    UnitsOption,
    UntrainedOption,
)
from reports.commands.typed import (
    given,
    one_draw_typed,
    tiller_typed,
)
from reports.plan import plan_for
from reports.plan_told import plan_json, show_plan
from reports.printing import console
from reports.tiller import show_tiller
from reports.worth import show_worth, worth_json, worth_of


def tell_worth(
    context: typer.Context,
    build_id: BuildArgument,
    draw: DrawOption = None,
    untrained: UntrainedOption = False,
    as_json: JsonOption = False,
    units: UnitsOption = None,
) -> int:
    """Tell what a little off sides, edges or glass is worth in pounds.

    Example: drawweight worth K-014 --draw 28
    """
    with ShopBook.open(context.obj.book) as book:
        contents = book.contents()
        model = None if untrained else trained_model(book)
    build = find_build(contents, build_id)
    at = one_draw_typed(draw, contents)
    told = worth_of(contents, form_of(build, contents), build, at, model)
    if isinstance(told, Refusal):
        raise StopError(f"no worth of stock on {build.id}: {told.reason} ({told.where})", FINDINGS)
    if as_json:
        sys.stdout.write(json.dumps(worth_json(build.id, told, at), indent=2) + "\n")
    else:
        show_worth(build.id, told, at, units_of(contents, units), console())
    return FINE


def tell_tiller(
    context: typer.Context,
    build_id: BuildArgument,
    want: Annotated[
        str | None, typer.Option("--want", help='tiller wanted, such as "1/8,1/4" (default: the shop\'s)')
    ] = None,
    draw: DrawOption = None,
    as_json: JsonOption = False,
    units: UnitsOption = None,
) -> int:
    """Tell which limb is too stiff, and what to take off it.

    What that costs in draw weight is told too.

    Tiller is the upper less the lower gap from string to belly at the fades, as noted with `drawweight weigh --gaps`.

    Example: drawweight tiller K-014 --want 1/8,1/4
    """
    with ShopBook.open(context.obj.book) as book:
        contents = book.contents()
    build = find_build(contents, build_id)
    form, at = form_of(build, contents), one_draw_typed(draw, contents)
    wanted = tiller_typed(want, contents)
    told = tillered(form, build, contents.events.get(build.id, ()), at, contents.materials, wanted)
    if isinstance(told, Refusal):
        raise StopError(f"no tiller of {build.id}: {told.reason} ({told.where})", FINDINGS)
    if as_json:
        sys.stdout.write(told.model_dump_json(indent=2) + "\n")
    else:
        show_tiller(told, units_of(contents, units), console())
    return FINE if told.stiff is None else FINDINGS


def plan_removals(
    context: typer.Context,
    build_id: BuildArgument,
    target: TargetOption = None,
    shots: HeldShotsOption = None,
    tolerance: ToleranceOption = None,
    scale: JudgingScaleOption = None,
    untrained: UntrainedOption = False,
    as_json: JsonOption = False,
    units: UnitsOption = None,
) -> int:
    """Plan what to take off a kit, down to its promised weight.

    Without a target its order counts. Ask again after each weighing: it changes the rest of the plan.

    Example: drawweight plan K-014 --target "50#@28" --shots 500
    """
    with ShopBook.open(context.obj.book) as book:
        contents = book.contents()
        model = None if untrained else trained_model(book)
    build = find_build(contents, build_id)
    order = None if target is not None else _order_of(build, contents)
    promised = promised_in(target, order, given(tolerance_lbf=tolerance, shots=shots, scale=scale), contents)
    with stopping_at(ValueError):
        promise = layup.promise_of(promised, contents.shop)
    told = plan_for(contents, form_of(build, contents), build, promise, model, tiller_typed(None, contents))
    if isinstance(told, Refusal):
        raise StopError(f"no plan for {build.id}: {told.reason} ({told.where})", FINDINGS)
    if as_json:
        sys.stdout.write(plan_json(told) + "\n")
    else:
        show_plan(told, units_of(contents, units), console())
    return FINDINGS if told.too_light or told.out_of_reach else FINE


def _order_of(build: Build, contents: Contents) -> str:
    """Return the open order that a build is to keep."""
    mine = [
        name for name, order in contents.orders.items() if order.build == build.id and not order.delivered
    ]
    if len(mine) != 1:
        raise StopError(f"wanted one open order of {build.id}, got {len(mine)}; add --target, such as 50#@28")
    return mine[0]
