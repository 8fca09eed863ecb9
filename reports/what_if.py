"""What one change would do to a bow's weight: asked of the book, and told."""

from collections.abc import Iterator, Sequence

from rich.console import Console
from rich.markup import escape

from datasets.contents import Contents
from datasets.record import DrawLength
from datasets.schema import Build, Stage
from predictor.belief.model import Model
from predictor.bows.bow import Refusal
from predictor.prediction.supposed import Supposed
from predictor.prediction.what_if import WhatIf, what_if
from reports.big_cuts import doubts_if
from reports.changes import by_statics_in_words, change_in_words, weight_in_words
from reports.expectation import no_form
from reports.prediction import CAUTION, over_limit_in_words
from reports.printing import Units
from reports.supposing import in_words, suppose

DUST = "Caution: where stock comes off wear a respirator, for the dust of glass and wood harms the lungs."

FARTHER = (
    "Caution: a bow that is drawn farther than it was tillered may break: tiller it to the new draw first."
)


def asked(
    contents: Contents,
    build: Build,
    typed: Sequence[str],
    draw: DrawLength,
    model: Model | None,
    stage: Stage,
    shots: int | None,
    units: Units,
    *,
    measured: bool,
) -> WhatIf | Refusal:
    """Return what some changes together do to the force on a build as it stands.

    Args:
        contents: the book.
        build: of the book, or planned.
        typed: the changes.
        draw: the draw before them.
        model: what the shop's builds have taught.
        stage: how far the bow is.
        shots: arrows shot.
        units: what to tell remarks in.
        measured: whether what is taken off is measured afterwards.

    Raises:
        ValueError: a change cannot be read; in one line.
    """
    form = contents.form_of(build)
    if form is None:
        return no_form(build)
    now = Supposed(build, contents.events.get(build.id, ()), draw)
    then = suppose(now, typed, contents, measured=measured)
    strips = tuple(contents.strips.values())
    change = in_words(typed, now, contents)
    told = what_if(form, now, then, change, contents.materials, model, stage, strips, shots)
    if isinstance(told, Refusal):
        return told
    doubts = doubts_if(contents, form, now, then, told, units)
    return told.model_copy(update={"notes": (*doubts, *told.notes)})


def show_what_if(told: WhatIf, units: Units, out: Console) -> None:
    """Print a change of weight with its intervals, the weight before and after, and on top what it strains too far."""
    for caution in over_limit_in_words(told.over_limit, units):
        out.print(escape(caution), style="bold")
    draw = units.draw(told.draw_before)
    if told.draw_after != told.draw_before:
        draw += f", then {units.draw(told.draw_after)}"
    out.print(f"[bold]{escape(told.build)}[/] weighed as {told.stage}, the force itself at {escape(draw)}:")
    change = f"{change_in_words(told.difference, units)}{by_statics_in_words(told, units)}"
    out.print(escape(f"{told.change}: {change}"))
    before, after = (weight_in_words(one, units) for one in (told.before, told.after))
    out.print(escape(f"before {before}, after {after}; ranges are those of 90% of such bows"))
    out.print(escape(f"of 80% of such bows: {change_in_words(told.difference, units, place=0)}"))
    for remark in (*told.notes, *_cautions(told)):
        out.print(escape(remark))


def _cautions(told: WhatIf) -> Iterator[str]:
    """Yield what to beware of with the change that was asked about."""
    if told.takes_off:
        yield DUST
    if told.draw_after.inch > told.draw_before.inch:
        yield FARTHER
    yield CAUTION
