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
from predictor.bow import Refusal
from reports import expectation, show
from reports.adding import add_reading
from reports.learned import learn, show_learned
from reports.prediction import show_prediction
from reports.printing import Units

INVENTED = (
    "This shop is invented: its bows were computed, not measured. Do not learn about real woods from it."
)


def run_demo(folder: Path, out: Console) -> int:
    """Lay the invented shop's book into a folder, show it in brief, train on it and predict its planned kit.

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
    out.print(f"[bold]{escape(INVENTED)}[/]")
    out.print(
        f"{path} has {len(contents.builds)} builds on {len(contents.forms)} forms, "
        f"{sum(len(history) for history in contents.events.values())} weighings and removals. The last ones:"
    )
    show.show_book(contents, units, out, last=5)
    (raw,) = read_bytes(kit_path.read_bytes(), KINDS, "build", Format.TOML).records
    kit = read_record(raw.kind, raw.data, contents).record
    if not isinstance(kit, Build):
        raise TypeError(
            f"wanted a readable kit in {kit_path}, got a {raw.kind} that is not; install the tool anew"
        )
    started = perf_counter()
    with ShopBook.open(path) as laid_out:
        model = learn(laid_out)
    show_learned(model, perf_counter() - started, out)
    prediction = expectation.expect(contents, kit, expectation.usual_draws(contents), model=model)
    if isinstance(prediction, Refusal):
        out.print(escape(f"No prediction: {prediction.reason} ({prediction.where})"))
        return 1
    show_prediction(prediction, Stage.TILLERED, units, out)
    book = f"drawweight --book {path}"
    first = next(iter(contents.builds))
    for line in (
        "Next, try:",
        f"  {book} show {first}",
        f"  {book} predict {kit_path} --draws 28,30 --budget",
        f"  {book} form",
    ):
        out.print(escape(line), soft_wrap=True)
    return 0


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
