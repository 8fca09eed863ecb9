"""What the book holds, looked up by what was typed; what is not there ends the command."""

from collections.abc import Mapping

from datasets.book import ShopBook, read_record
from datasets.contents import Contents
from datasets.mistakes import RawRecord, nearest
from datasets.schema import Build, Form, Order, Stage, WeighIn
from predictor.belief.model import Model, ModelError
from predictor.belief.model_file import load_model, model_path, staleness
from reports import adding, expectation
from reports.commands.ending import COULD_NOT, StopError
from reports.commands.options import UnitSystem
from reports.commands.typed import TYPED, mark_typed
from reports.printing import Units, note
from reports.usage import shortened

ANY_MARK = "50#@28"
"""Stands for a target where bows are only compared at its draw."""

PROMISE_OPTIONS = {"tolerance_lbf": "--tolerance", "shots": "--shots", "scale": "--scale"}
"""How the fields of a promise are typed."""


def find_build(contents: Contents, build_id: str) -> Build:
    """Return a build by its id, in any case of letters."""
    build = contents.builds.get(build_id.upper())
    if build is None:
        last = ", ".join(list(contents.builds)[-3:]) or "none yet"
        raise StopError(
            f"wanted a build of the book (the last ones: {last}), got {shortened(build_id)}; see: drawweight show"
        )
    return build


def find_form(contents: Contents, form_id: str) -> Form:
    """Return a form by its id, with or without its revision; the latest without."""
    forms = {f"{name}/{revision}": form for (name, revision), form in contents.forms.items()}
    latest = {form.id: form for form in sorted(forms.values(), key=lambda form: form.revision)}
    known = latest | forms
    if form_id not in known:
        do = nearest(form_id, known) if known else "add one with: drawweight form --add FILE"
        raise StopError(f"wanted a form of the book, got {shortened(form_id)}; {do}")
    return known[form_id]


def form_of(build: Build, contents: Contents) -> Form:
    """Return the form that a build was pressed on."""
    form = contents.form_of(build)
    if form is None:
        raise StopError(
            f"wanted the form of {build.id}, got none of that name; add it with: drawweight form --add FILE"
        )
    return form


def last_stage(contents: Contents, build_id: str) -> Stage:
    """Return the stage at which a build was weighed last."""
    stage = expectation.last_stage(contents, contents.builds[build_id])
    if stage is None:
        raise StopError(
            f"wanted the stage of the first weighing, got none; add --stage, one of {', '.join(Stage)}"
        )
    return stage


def units_of(contents: Contents, asked: UnitSystem | None) -> Units:
    """Return the units of the output: those asked for, or the shop's."""
    return Units(contents.shop.units if asked is None else asked.value)


def promised_in(target: str | None, order: str | None, typed: Mapping[str, str], contents: Contents) -> Order:
    """Return what is to be kept: an order of the book or a target, with what else was typed."""
    kept = None if order is None else contents.orders.get(order.upper())
    if order is not None and kept is None:
        raise StopError(f"wanted an order of the book, got {shortened(order)}; see: drawweight order")
    mark = mark_typed(ANY_MARK if target is None else target)
    data = {"weight": mark.weight_typed, "draw": mark.draw_typed} if kept is None else kept.model_dump()
    raw = RawRecord("order", {**data, **typed}, 0)
    outcome = read_record("order", raw.data, contents)
    if not isinstance(outcome.record, Order):
        (first, *_) = adding.told([raw], [outcome]).mistakes
        option = PROMISE_OPTIONS.get(first.where.rpartition(", ")[2])
        raise StopError(f"{option}: {first.message}" if option else adding.one_line(first, TYPED))
    note_new_scale(outcome.record.scale, contents)
    return outcome.record


def note_new_scale(scale: str | None, contents: Contents) -> None:
    """Say that nobody has weighed on a scale yet, so that a slip in its name is seen."""
    weighed_on = (
        event.scale for events in contents.events.values() for event in events if isinstance(event, WeighIn)
    )
    known = sorted({*contents.scales, *filter(None, weighed_on)})
    if scale == "":
        raise StopError("wanted the name of a scale, got nothing; leave --scale out for the usual one")
    if known and scale is not None and scale not in known:
        note(
            f"nobody has weighed on {shortened(scale)} yet: its error may be any scale's; {nearest(scale, known)}"
        )


def model_if_whole(book: ShopBook) -> Model | None:
    """Return the model beside a book, if there is one that can be used; a reading is kept either way."""
    try:
        return load_model(model_path(book.path))
    except ModelError as error:
        note(f"expected untrained: {error}")
        return None


def trained_model(book: ShopBook) -> Model | None:
    """Return the model beside a book, if there is one; what it has not seen is told."""
    try:
        model = load_model(model_path(book.path))
    except ModelError as error:
        raise StopError(f"{error}; or add --untrained", COULD_NOT) from None
    behind = model and staleness(model, book.length(), book.data_hash())
    if behind:
        note(behind)
    return model
