"""The invented shop: its book laid into a folder, what it teaches learned, and the main job done on it."""

from importlib.resources import files
from pathlib import Path
from time import perf_counter

from rich.console import Console
from rich.markup import escape

from datasets.book import ShopBook, read_record
from datasets.contents import Contents
from datasets.files import Format, read_bytes
from datasets.schema import KINDS, Build, Stage
from predictor.belief.model import Model
from predictor.bows.bow import Refusal
from predictor.bows.tiller import SPLIT_FINGER_IN
from reports import expectation, show
from reports.adding import add_reading
from reports.layup import promise_of
from reports.learned import learn, show_in_brief
from reports.plan import plan_for
from reports.plan_told import show_plan
from reports.prediction import show_prediction
from reports.printing import Units

INVENTED = (
    "This shop is invented: its bows were computed, not measured. Do not learn about real woods from it."
)


HEAVY_KIT, LIGHT_KIT, ALIKE = "K-050", "K-051", ("K-052", "K-053")
"""Kits that came out heavy and light for their orders, and two bows of one plan."""


def run_demo(folder: Path, out: Console) -> int:
    """Lay the invented shop's book into a folder, train on it, predict its planned kit and plan a heavy one's removal.

    Args:
        folder: made if it is not there; a book in it is left alone.
        out: where the answers go.

    Returns:
        0, or 1 where there is no answer.
    """
    folder.mkdir(parents=True, exist_ok=True)
    path, kit_path = folder / "shop.book", folder / "planned-kit.toml"
    kit_path.write_bytes(_shipped("demo-planned.toml"))
    contents = _laid_out(path)
    units = Units(contents.shop.units)
    _show_book(path, contents, units, out)
    started = perf_counter()
    with ShopBook.open(path) as laid_out:
        model = learn(laid_out)
    show_in_brief(model, perf_counter() - started, out)
    out.print(escape(f"All that it learned: drawweight --book {path} train"), soft_wrap=True)
    told = (_predict(kit_path, contents, model, units, out), _plan(contents, model, units, out))
    _show_next(path, kit_path, folder, out)
    return 0 if all(told) else 1


def _show_book(path: Path, contents: Contents, units: Units, out: Console) -> None:
    events = sum(len(history) for history in contents.events.values())
    out.print(f"[bold]{escape(INVENTED)}[/]")
    out.print(
        escape(
            f"{path} has {len(contents.builds)} builds on {len(contents.forms)} forms, {events} weighings and "
            f"removals, {len(contents.orders)} orders and {len(contents.stock)} kinds of lams. The last builds:"
        )
    )
    show.show_book(contents, units, out, last=5)


def _predict(kit_path: Path, contents: Contents, model: Model, units: Units, out: Console) -> bool:
    """Print what the planned kit will weigh; return whether there is an answer."""
    out.print("\n[bold]What will the planned kit weigh?[/]")
    (raw,) = read_bytes(kit_path.read_bytes(), KINDS, "build", Format.TOML).records
    kit = read_record(raw.kind, raw.data, contents).record
    if not isinstance(kit, Build):
        raise TypeError(
            f"wanted a readable kit in {kit_path}, got a {raw.kind} that is not; install the tool anew"
        )
    prediction = expectation.expect(contents, kit, expectation.usual_draws(contents), model=model)
    if isinstance(prediction, Refusal):
        out.print(escape(f"No prediction: {prediction.reason} ({prediction.where})"))
        return False
    show_prediction(prediction, Stage.TILLERED, units, out)
    return True


def _plan(contents: Contents, model: Model, units: Units, out: Console) -> bool:
    """Print what to take off the heavy kit; return whether there is an answer."""
    kit = contents.builds.get(HEAVY_KIT)
    form = None if kit is None else contents.form_of(kit)
    order = next((order for order in contents.orders.values() if order.build == HEAVY_KIT), None)
    if kit is None or form is None or order is None:
        out.print(
            f"\nThis book has no order of {HEAVY_KIT}: nothing to plan. Lay the demo into another folder."
        )
        return True
    out.print(f"\n[bold]The kit {escape(kit.id)} is heavy for its order. What to take off?[/]")
    told = plan_for(contents, form, kit, promise_of(order, contents.shop), model, SPLIT_FINGER_IN)
    if isinstance(told, Refusal):
        out.print(escape(f"No plan: {told.reason} ({told.where})"))
        return False
    show_plan(told, units, out)
    return True


def _show_next(path: Path, kit_path: Path, folder: Path, out: Console) -> None:
    # Reports load the plots, which no answer at the bench needs.
    from reports.registry import REPORTS

    book = f"drawweight --book {path}"
    for line in (
        "\nNext, try:",
        f"  {book} show {HEAVY_KIT}",
        f"  {book} predict {kit_path} --draws 28,30 --budget",
        f"  {book} predict {kit_path} --if sides=1/32",
        f"  {book} layup --form long-66 --order ORDER-005",
        f"  {book} plan {LIGHT_KIT}",
        f"  {book} report differences {' '.join(ALIKE)}",
        f"  {book} report all --into {folder / 'reports'}",
        f"Its page has, with graphs: {', '.join(name for name, report in REPORTS.items() if not report.wants)}.",
    ):
        out.print(escape(line), soft_wrap=True)


def _laid_out(path: Path) -> Contents:
    """Return the contents of the invented shop's book, making it if it is not there."""
    with ShopBook.open(path, create=True) as book:
        if not book.contents().forms:
            added = add_reading(
                book, read_bytes(_shipped("demo.toml"), KINDS, None, Format.TOML), keep_good=False
            )
            if added.mistakes:
                raise ValueError(
                    f"wanted the shipped book to be right, got {added.mistakes[0]}; install the tool anew"
                )
        return book.contents()


def _shipped(name: str) -> bytes:
    return files("datasets").joinpath("data", name).read_bytes()
