"""From what a bow weighs now over finished to settled, with what is lost on each step.

All are foretold together, so that what they share cancels from the losses: these are surer than the weights.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from pydantic import Field

from datasets.materials import Material
from datasets.record import DrawLength, Record
from datasets.schema import Build, Event, Form, Stage, StripTest
from predictor.belief.columns import FINISHED, edges_to_come
from predictor.belief.foresight import Situation, foresee, laid_out
from predictor.belief.model import Model
from predictor.bows.bow import Refusal
from predictor.bows.features import Features
from predictor.prediction.what_if import Expected, expected_change, expected_weight


class Step(Record):
    """The force itself at one stage."""

    stage: Stage
    shots: int | None = Field(description="arrows shot by then; nothing where nobody counts")
    weight: Expected
    change: Expected | None = Field(description="from the step before")
    by: str | None = Field(description="what takes it")


class Way(Record):
    """A bow's weights at one draw from now to settled."""

    draw: DrawLength
    scale: str | None = Field(description="nothing: one that nobody noted")
    reading: Expected = Field(description="what the scale reads now")
    steps: tuple[Step, ...] = Field(description="now first, settled last")


def way(
    form: Form,
    build: Build,
    events: Sequence[Event],
    now: Situation,
    materials: Mapping[str, Material],
    model: Model | None = None,
    strips: Sequence[StripTest] = (),
    shots: int | None = None,
) -> Way | Refusal:
    """Return a bow's weights from now to settled, given its own weighings so far.

    Args:
        form: the form revision that the build points at.
        build: the build, planned or measured.
        events: its history so far, in order.
        now: what the scale is asked for now, at one draw.
        materials: every material that its layers name.
        model: what the shop's builds have taught; the prior's belief if there is none.
        strips: strip tests of the shop; those of the bow's materials are counted.
        shots: arrows shot by the time it has settled; nothing for fully settled.

    Returns:
        The way, or why the statics refuse the bow.
    """
    layered = {layer.material for layer in build.layers}
    counted = tuple(strip for strip in strips if strip.material in layered)
    force = replace(now, exact=True)
    ahead = [replace(force, stage=Stage.SETTLED, shots=shots)]
    if now.stage not in FINISHED:
        ahead.insert(0, replace(force, stage=Stage.FINISHED))
    stops = [force, *ahead]
    foreseen = foresee(laid_out(form, build, events, (now, *stops), materials, model, counted))
    if isinstance(foreseen, Refusal):
        return foreseen
    foretold, solved = foreseen
    return Way(
        draw=now.draws[0],
        scale=now.scale,
        reading=expected_weight(foretold, 0),
        steps=tuple(
            Step(
                stage=stop.stage,
                shots=stop.shots,
                weight=expected_weight(foretold, row),
                change=None if row == 1 else expected_change(foretold, row - 1, row),
                by=None if row == 1 else _by(stop.stage, solved[row]),
            )
            for row, stop in enumerate(stops, 1)
        ),
    )


def _by(stage: Stage, found: Features) -> str:
    if stage is not Stage.FINISHED:
        return "shooting in"
    return "edges and finish sanding" if edges_to_come(found) else "finish sanding"
