"""Weight of a bow at any draws with an honest interval, from the statics and a belief about what they leave open.

The belief is a fitted model's or, before there is one, the prior's. The logarithm of the weight is a mixture of normals
whose variance is the sum over independent sources: the moduli, each recorded dimension by its tolerance, and scatter
that no dimension explains. A source's effect is the derivative that `predictor.features` has taken through the statics,
so the interval is right to first order in each source.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import hypot

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from datasets.history import bow_at
from datasets.materials import Material
from datasets.record import DrawLength, Record, ZeroPoint
from datasets.schema import Build, Event, Form, Stage, StripTest, WeighIn
from datasets.zero_points import from_back, from_zero
from predictor import posterior
from predictor.bent import bent_bow
from predictor.bow import Refusal, handbook_moduli
from predictor.calibration import Calibration, Check, check, in_words, stretch
from predictor.columns import Columns, Moment, columns
from predictor.familiarity import distance, has_new_lots, notes_on_unfamiliar
from predictor.features import Case, Features, features
from predictor.habits import USUAL, Habits
from predictor.lots import with_strips
from predictor.margins import Strained, broken, notes_on_margins, strained_places, worst
from predictor.mixture import NormalMixture
from predictor.model import Model, Seen, prior_belief, seen_by
from predictor.posterior import Posterior
from predictor.scatter import (
    BOW,
    FINISH_SANDING,
    FORMS,
    LOTS_OF_GLASS,
    LOTS_OF_WOOD,
    PRIOR_SCATTER,
    SCALES,
    SHOOTING_IN,
    SMOOTH,
    UNNOTED_SCALE,
)

Array = NDArray[np.float64]

LEVELS = (0.8, 0.9)
"""Coverage of the intervals that every prediction gives."""

MAIN_DRAW_IN = 28.0
"""The draw whose uncertainty is told source by source: the one nearest to it."""


class Interval(Record):
    """A central interval: the weight lies below it as often as above it."""

    level: float = Field(gt=0, lt=1)
    low_lbf: float
    high_lbf: float


class DrawPrediction(Record):
    """What the scale is expected to read at one draw."""

    draw: DrawLength
    weight_lbf: float
    per_inch_lbf: float = Field(description="pounds per inch of draw, at this draw")
    log_sd: float = Field(description="standard deviation of the logarithm of the weight")
    intervals: tuple[Interval, ...]


class Share(Record):
    """What one source of uncertainty alone would scatter the weight by."""

    source: str
    sd_lbf: float


class Prediction(Record):
    """Weights of one bow as it stands, with the reasons for their width.

    The squares of the shares add up to the square of the standard deviation at the main draw.
    """

    build: str
    planned: bool
    main_draw: DrawLength
    draws: tuple[DrawPrediction, ...]
    shares: tuple[Share, ...] = Field(description="at the main draw, largest first")
    strain: tuple[Strained, ...] = Field(
        description="where each material is strained most, least margin first"
    )
    distance: float = Field(
        ge=0,
        description="share of the doubt about what builds can teach that is left for this bow: "
        "0 all is settled, 1 nothing is known",
    )
    checks: tuple[Check, ...] = Field(description="of the intervals, by builds left out of the model")
    interval_basis: str = Field(description="where the widths of the intervals come from")
    basis: str
    notes: tuple[str, ...]


GROUP_SOURCES = {
    LOTS_OF_WOOD: "lot of wood",
    LOTS_OF_GLASS: "lot of glass",
    FORMS: "the form's true shape",
    SCALES: "the scale",
    SMOOTH: "statics off by stack, length and share of wood",
}
BUILD_SOURCES = {
    BOW: "this bow's own scatter",
    FINISH_SANDING: "finish sanding of this bow",
    SHOOTING_IN: "shooting in of this bow",
    UNNOTED_SCALE: "a scale that nobody noted",
}


def _basis(model: Model | None, strips: Sequence[StripTest]) -> str:
    tests = f"; {len(strips)} strip test{'s' if len(strips) > 1 else ''} counted" if strips else ""
    if model is None:
        return f"beam statics at handbook moduli; nothing is learned from the shop's builds yet{tests}"
    return (
        f"beam statics and what {model.builds} of the shop's builds have taught (trained {model.trained_at})"
        f"{tests}"
    )


@dataclass(frozen=True)
class Explained:
    """A bow as it stands, by what its weight depends on."""

    features: Features
    moment: Moment
    columns: Columns


def explain(
    form: Form,
    build: Build,
    events: Sequence[Event],
    draws: Sequence[DrawLength],
    materials: Mapping[str, Material],
    stage: Stage = Stage.TILLERED,
    habits: Habits = USUAL,
) -> Explained | Refusal:
    """Return what the weight of a build depends on; the arguments are those of `predict`, and the model's habits."""
    depth, from_back_in = form.handle_depth_in.inch, _from_back(form, draws)
    (found,) = features([Case(form, build, tuple(events), from_back_in)], materials)
    if isinstance(found, Refusal):
        return found
    standard_in = tuple(from_zero(inch, ZeroPoint.STANDARD, depth) for inch in from_back_in)
    moment = Moment(f"{form.id}/{form.revision}", standard_in, stage, builder=build.builder)
    return Explained(found, moment, columns(found, moment, materials, PRIOR_SCATTER, habits))


def strips_of(found: Features, strips: Sequence[StripTest]) -> tuple[StripTest, ...]:
    """Return the strip tests that tell of a bow's materials."""
    materials = {effect.material for effect in found.moduli}
    return tuple(strip for strip in strips if strip.material in materials)


def _from_back(form: Form, draws: Sequence[DrawLength]) -> tuple[float, ...]:
    return tuple(from_back(draw.inch, draw.zero, form.handle_depth_in.inch) for draw in draws)


def predict(
    form: Form,
    build: Build,
    events: Sequence[Event],
    draws: Sequence[DrawLength],
    materials: Mapping[str, Material],
    model: Model | None = None,
    stage: Stage = Stage.TILLERED,
    strips: Sequence[StripTest] = (),
) -> Prediction | Refusal:
    """Predict what a scale will read on a build as it stands after `events`.

    Args:
        form: the form revision that the build points at.
        build: the build, planned or measured.
        events: its history so far, in order.
        draws: draw lengths to predict at, each with its zero point.
        materials: every material that its layers name.
        model: what the shop's builds have taught; the prior's belief if there is none.
        stage: the stage it is weighed at; from finished on, what finish sanding takes is counted.
        strips: strip tests of the shop; those of the bow's materials are counted.

    Returns:
        The prediction, or why there is none: the bow cannot be braced or drawn so far, or would break.
    """
    habits = USUAL if model is None else model.habits
    explained = explain(form, build, events, draws, materials, stage, habits)
    if isinstance(explained, Refusal):
        return explained
    found, moment, told = explained.features, explained.moment, explained.columns
    bow = bow_at(form, build, events)
    bent = bent_bow(bow, handbook_moduli(bow, materials), _from_back(form, draws))
    if isinstance(bent, Refusal):
        return bent
    places = strained_places(bent, draws, materials)
    breaking = broken(places)
    if breaking is not None:
        return breaking
    by_builds = prior_belief() if model is None else model.belief()
    counted = strips_of(found, strips)
    belief = with_strips(by_builds, counted, materials)
    seen = seen_by(belief, told)
    calibration = Calibration() if model is None else model.calibration
    wider = stretch(calibration.scores())
    expected = posterior.predict(belief, seen.rows).marginal().stretched(wider)
    new_lots = has_new_lots(by_builds, told)
    checks = tuple(check(calibration, level, moment.form, new_lots=new_lots) for level in LEVELS)
    unfamiliar = () if model is None else notes_on_unfamiliar(model, by_builds, told)
    main = min(range(len(draws)), key=lambda place: abs(moment.draws_in[place] - MAIN_DRAW_IN))
    at_draws = _at_draws(draws, expected, seen.offset, found.per_inch_lbf, told)
    return Prediction(
        build=build.id,
        planned=build.planned,
        main_draw=draws[main],
        draws=at_draws,
        shares=_shares(belief, seen, main, wider * at_draws[main].weight_lbf),
        distance=float(distance(belief, told)[main]),
        checks=checks,
        interval_basis=in_words(checks[-1], wider),
        basis=_basis(model, counted),
        strain=worst(places),
        notes=(
            *_own_weighings(events),
            *_settling(stage, habits),
            *found.notes,
            *unfamiliar,
            *notes_on_margins(places),
        ),
    )


def _own_weighings(events: Sequence[Event]) -> Iterator[str]:
    """Say that what a bow has already shown of itself is not in its prediction."""
    own = [event for event in events if isinstance(event, WeighIn)]
    if own:
        last = min(own[-1].readings, key=lambda reading: abs(reading.draw.inch - MAIN_DRAW_IN))
        yield (
            f"its own weighings are not counted in this: the last one read {last.weight.lbf:g} lb "
            f"at {last.draw.inch:g} in ({own[-1].stage})"
        )


def _settling(stage: Stage, habits: Habits) -> Iterator[str]:
    """Say what law a settled weight rests on, and whether it is a default."""
    if stage is Stage.SETTLED:
        yield habits.settling.in_words()


def _at_draws(
    draws: Sequence[DrawLength],
    expected: NormalMixture,
    offset: Array,
    per_inch: Sequence[float],
    told: Columns,
) -> tuple[DrawPrediction, ...]:
    """Return the prediction at each draw; the expected weight is the median."""
    middle = np.exp(offset + expected.quantile(0.5))
    ends = {
        level: [np.exp(offset + expected.quantile((1 + side * level) / 2)) for side in (-1, 1)]
        for level in LEVELS
    }
    slopes = np.array(per_inch) * middle / np.exp(told.offset)
    return tuple(
        DrawPrediction(
            draw=draw,
            weight_lbf=middle[place],
            per_inch_lbf=slopes[place],
            log_sd=expected.sd[place],
            intervals=tuple(
                Interval(level=level, low_lbf=low[place], high_lbf=high[place])
                for level, (low, high) in ends.items()
            ),
        )
        for place, draw in enumerate(draws)
    )


def _shares(belief: Posterior, seen: Seen, place: int, weight: float) -> tuple[Share, ...]:
    """Return the sources at one draw as shares of a weight, those of one name together, largest first."""
    log_sds: dict[str, float] = defaultdict(float)
    for source, log_sd in _sources(belief, seen, place):
        log_sds[source] = hypot(log_sds[source], log_sd)
    in_order = sorted(log_sds.items(), key=lambda item: -item[1])
    return tuple(Share(source=source, sd_lbf=sd * weight) for source, sd in in_order if sd > 0)


def _sources(belief: Posterior, seen: Seen, place: int) -> Iterator[tuple[str, float]]:
    """Yield each independent source with its standard deviation of the logarithm of the weight at one draw."""
    rows = seen.rows
    effects = rows.effects[place]
    if effects.any():
        spread = belief.weights @ np.einsum("i,kij,j->k", effects, belief.covariances, effects)
        yield "what builds and strip tests so far leave open", float(np.sqrt(spread))

    def scale(name: str) -> float:
        return float(np.sqrt(belief.weights @ belief.scale(name) ** 2))

    for name, column in zip(seen.sources, rows.tolerances[place], strict=True):
        yield name, abs(float(column))
    for group, levels in rows.unseen.items():
        yield GROUP_SOURCES[group], scale(group) * float(np.hypot.reduce(levels[place], initial=0.0))
    for name, column in zip(belief.build_columns, rows.build[place], strict=True):
        yield BUILD_SOURCES[name], scale(name) * abs(float(column))
    yield "reading the scale and the draw", scale("noise") * float(rows.sd[place])
