"""Commands with one list each: order, stock and shop."""

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console

from datasets.book import PREFIXES, ShopBook
from datasets.contents import Contents
from datasets.files import Reading
from datasets.mistakes import RawRecord
from datasets.schema import Part
from reports import adding, orders, settings, stock
from reports.commands.ending import FINE, StopError, stopping_at
from reports.commands.found import units_of
from reports.commands.keeping import added_to, tell_added
from reports.commands.options import (
    BecauseOption,
    JsonOption,
    LotOption,
    NoteOption,
    ToleranceOption,
    UnitsOption,
    UnitSystem,
)
from reports.commands.typed import TYPED, given, mark_typed
from reports.printing import Units, console


def take_order(
    context: typer.Context,
    what: Annotated[
        str | None,
        typer.Argument(metavar='["50#@28"|ORDER]', help="what is promised, or an order to change"),
    ] = None,
    build: Annotated[str | None, typer.Option("--build", help="the bow that is to keep it")] = None,
    tolerance: ToleranceOption = None,
    shots: Annotated[str | None, typer.Option("--shots", help="arrows after which it holds")] = None,
    scale: Annotated[str | None, typer.Option("--scale", help="scale on which it is judged")] = None,
    customer: Annotated[str | None, typer.Option("--customer", help="who ordered")] = None,
    due: Annotated[str | None, typer.Option("--due", help="day, such as 2026-05-31")] = None,
    delivered: Annotated[
        str | None, typer.Option("--delivered", help="the last weighing before it was handed over: K-014/5")
    ] = None,
    remark: NoteOption = None,
    because: BecauseOption = None,
    as_json: JsonOption = False,
    units: UnitsOption = None,
) -> int:
    """List the promised weights, take an order, or change one.

    An order that names no scale is judged by the true force. It stays open until it names the weighing that it
    was delivered with.

    Example: drawweight order "50#@28" --build K-014 --due 2026-06-01
    """
    data = given(
        build=build,
        tolerance_lbf=tolerance,
        shots=shots,
        scale=scale,
        customer=customer,
        due=due,
        delivered=delivered,
        note=remark,
    )
    if what is None and not data:
        return _list(context, units, as_json, orders.show_orders, orders.orders_json)
    if what is not None and what.upper().startswith(PREFIXES["order"]):
        return _change(context.obj.book, RawRecord("order", data, 0), what.upper(), because)
    if what is None:
        raise StopError(
            "wanted what is promised, or an order to change, got neither; write it such as 50#@28"
        )
    mark = mark_typed(what)
    promise = {"weight": mark.weight_typed, "draw": mark.draw_typed, **data}
    return tell_added(
        added_to(context.obj.book, Reading([RawRecord("order", promise, 0)]), keep_good=False), TYPED
    )


def keep_stock(
    context: typer.Context,
    what: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[PART MATERIAL THICKNESS|STOCK]",
            help=f"{', '.join(Part)}; its material; its thickness at the butt; or stock to change",
        ),
    ] = None,
    ground_to: Annotated[
        str | None, typer.Option("--ground-to", help="the thinnest that may be ground from it")
    ] = None,
    lot: LotOption = None,
    taper: Annotated[str | None, typer.Option("--taper", help="inch of thickness lost per inch")] = None,
    length: Annotated[str | None, typer.Option("--length", help="of one piece")] = None,
    width: Annotated[str | None, typer.Option("--width", help="of one piece")] = None,
    pieces: Annotated[
        str | None, typer.Option("--pieces", help="how many (default: one bow's, 4 of glass, else 2)")
    ] = None,
    remark: NoteOption = None,
    because: BecauseOption = None,
    as_json: JsonOption = False,
    units: UnitsOption = None,
) -> int:
    """List the lams at hand, add some, or change them.

    What can be ground has two thicknesses: as it is, and the thinnest that may be ground from it.

    Example: drawweight stock core "hard maple" .130 --ground-to .060 --lot m7 --pieces 8
    """
    data = given(
        ground_to_in=ground_to,
        lot=lot,
        taper_per_in=taper,
        length_in=length,
        width_in=width,
        pieces=pieces,
        note=remark,
    )
    match what or []:
        case [] if not data:
            return _list(context, units, as_json, stock.show_stock, stock.stock_json)
        case [stock_id] if stock_id.upper().startswith(PREFIXES["stock"]):
            return _change(context.obj.book, RawRecord("stock", data, 0), stock_id.upper(), because)
        case [part, material, thickness]:
            raw = RawRecord(
                "stock", {"part": part, "material": material, "thickness_in": thickness, **data}, 0
            )
            return tell_added(added_to(context.obj.book, Reading([raw]), keep_good=False), TYPED)
        case words:
            raise StopError(
                f"wanted part, material and thickness, got {len(words)} of them; "
                'write them such as: core "hard maple" .130'
            )


def change_shop(
    context: typer.Context,
    typed: Annotated[
        list[str] | None, typer.Argument(metavar="[SETTING=VALUE...]", help="such as tolerance_lbf=1.5")
    ] = None,
    as_json: JsonOption = False,
    units: UnitsOption = None,
) -> int:
    """List the shop's settings, or change some of them.

    Example: drawweight shop least_width_fade_in="1 1/8" least_width_nock_in=7/16
    """
    if not typed:
        return _list(
            context,
            units,
            as_json,
            lambda contents, asked, out: settings.show_settings(contents.shop, asked, out),
            lambda contents: contents.shop.model_dump_json(indent=2),
        )
    with stopping_at(ValueError):
        raw = RawRecord("shop", settings.changes(typed), 0)
    return tell_added(added_to(context.obj.book, Reading([raw]), keep_good=False), TYPED)


def _list(
    context: typer.Context,
    units: UnitSystem | None,
    as_json: bool,
    show_all: Callable[[Contents, Units, Console], None],
    all_json: Callable[[Contents], str],
) -> int:
    """Print every record of a kind, for people or as JSON."""
    with ShopBook.open(context.obj.book) as book:
        contents = book.contents()
    if as_json:
        sys.stdout.write(all_json(contents) + "\n")
    else:
        show_all(contents, units_of(contents, units), console())
    return FINE


def _change(path: Path, raw: RawRecord, record_id: str, because: str | None) -> int:
    """Change fields of an order or of stock, whose changes need no reason: they are no mistakes."""
    if not raw.data:
        raise StopError(f"wanted something to change about {record_id}, got nothing; see: drawweight --help")
    with ShopBook.open(path) as book:
        outcome = book.correct(record_id, raw, because or "changed")
    return tell_added(adding.told([raw], [outcome]), TYPED)
