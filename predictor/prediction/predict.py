"""Weight of a bow at any draws with an honest interval, from the statics and a belief about what they leave open.

The belief is a fitted model's or, before there is one, the prior's. The logarithm of the weight is a mixture of
normals whose variance is the sum over independent sources: the moduli, each recorded dimension by its tolerance, and
scatter that no dimension explains. A source's effect is the derivative that `predictor.bows.features` has taken
through the statics, so the interval is right to first order in each source.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from math import sqrt

import numpy as np
from pydantic import Field

from datasets.arrows import notes_on_shot_unfinished
from datasets.exercise import notes_on_not_counted
from datasets.history import bow_at
from datasets.materials import Material
from datasets.record import DrawLength, Record
from datasets.schema import Build, Event, Form, Stage, StripTest
from predictor.belief.calibration import Calibration, Check, check, in_words
from predictor.belief.columns import Columns, columns
from predictor.belief.familiarity import distance, has_new_lots, notes_on_unfamiliar
from predictor.belief.foresight import Foretold, Situation, foresee, laid_out
from predictor.belief.habits import USUAL, Habits
from predictor.belief.lots import with_strips
from predictor.belief.mixture import NormalMixture
from predictor.belief.model import Model, basis_in_words, prior_belief
from predictor.belief.scatter import PRIOR_SCATTER
from predictor.belief.shares import log_variances
from predictor.belief.weighings import draws_from_back, moment_at
from predictor.bows.bent import bent_bow
from predictor.bows.bow import Refusal, handbook_moduli
from predictor.bows.margins import Strained, broken, notes_on_margins, over_limit, strained_places, worst

LEVELS = (0.8, 0.9)
"""Coverage of the intervals that every prediction gives."""

NAMED = 0.2
"""Probability from which a slip in an own weighing or in the bow's record is told (a choice of this project)."""

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


class Force(Record):
    """The force itself in the usual air, which a perfect scale would read."""

    weight_lbf: float
    interval: Interval


class Prediction(Record):
    """Weights of one bow as it stands, with the reasons for their width.

    The squares of the shares add up to the square of the standard deviation at the main draw.
    """

    build: str
    planned: bool
    main_draw: DrawLength
    draws: tuple[DrawPrediction, ...]
    force: Force = Field(description="at the main draw")
    scale: str | None = Field(description="on which the weights are read; nothing: one that nobody noted")
    shares: tuple[Share, ...] = Field(description="at the main draw, largest first")
    strain: tuple[Strained, ...] = Field(
        description="where each material is strained most, least margin first"
    )
    over_limit: tuple[Strained, ...] = Field(
        description="where each material is over its limit, so that the bow must not be drawn so far"
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


def predict(
    form: Form,
    build: Build,
    events: Sequence[Event],
    draws: Sequence[DrawLength],
    materials: Mapping[str, Material],
    model: Model | None = None,
    stage: Stage = Stage.TILLERED,
    strips: Sequence[StripTest] = (),
    *,
    shots: int | None = None,
    scale: str | None = None,
    count_own: bool = True,
) -> Prediction | Refusal:
    """Predict what a scale will read on a build as it stands after `events`, from its own weighings among them too.

    Args:
        form: the form revision that the build points at.
        build: the build, planned or measured.
        events: its history so far, in order.
        draws: draw lengths to predict at, each with its zero point.
        materials: every material that its layers name.
        model: what the shop's builds have taught; the prior's belief if there is none.
        stage: the stage it is weighed at; from finished on, what finish sanding takes is counted.
        strips: strip tests of the shop; those of the bow's materials are counted.
        shots: arrows shot by then; nothing where nobody counts.
        scale: the scale's name; nothing for one that nobody noted.
        count_own: whether the bow's own weighings are counted.

    Returns:
        The prediction, or why there is none: the bow cannot be braced or drawn so far, or would break.
    """
    habits = USUAL if model is None else model.habits
    moment = moment_at(form, build, draws, stage, shots, scale)
    main = min(range(len(draws)), key=lambda place: abs(moment.draws_in[place] - MAIN_DRAW_IN))
    read = Situation(tuple(events), tuple(draws), stage, shots, scale)
    force = replace(read, draws=(draws[main],), exact=True)
    layered = {layer.material for layer in build.layers}
    counted = tuple(strip for strip in strips if strip.material in layered)
    history = events if count_own else ()
    foreseen = foresee(laid_out(form, build, history, (read, force), materials, model, counted))
    if isinstance(foreseen, Refusal):
        return foreseen
    foretold, (found, _) = foreseen
    told = columns(found, moment, materials, PRIOR_SCATTER, habits)
    places = strained(form, build, events, draws, materials)
    if isinstance(places, Refusal):
        return places
    by_builds = prior_belief() if model is None else model.belief()
    belief = with_strips(by_builds, counted, materials)
    calibration = Calibration() if model is None else model.calibration
    expected = foretold.joint.marginal()
    new_lots = has_new_lots(belief, told)
    checks = tuple(check(calibration, level, moment.form, new_lots=new_lots) for level in LEVELS)
    unfamiliar = () if model is None else notes_on_unfamiliar(model, by_builds, told)
    at_draws = _at_draws(draws, expected, found.per_inch_lbf, told)
    return Prediction(
        build=build.id,
        planned=build.planned,
        main_draw=draws[main],
        draws=at_draws,
        force=_force(foretold, len(draws)),
        scale=scale,
        shares=_shares(foretold, main, at_draws[main].weight_lbf),
        distance=float(distance(belief, told)[main]),
        checks=checks,
        interval_basis=in_words(checks[-1], calibration.wider(new_lots=new_lots)),
        basis=_basis(model, counted, len(foretold.own)),
        strain=worst(places),
        over_limit=over_limit(places),
        notes=(
            *_changed(foretold),
            *_slips(foretold),
            *notes_on_not_counted(history),
            *notes_on_shot_unfinished(history),
            *_settling(stage, shots, habits),
            *found.notes,
            *unfamiliar,
            *notes_on_margins(places),
        ),
    )


def strained(
    form: Form,
    build: Build,
    events: Sequence[Event],
    draws: Sequence[DrawLength],
    materials: Mapping[str, Material],
) -> tuple[Strained, ...] | Refusal:
    """Return where a bow is strained at each draw, or why it cannot be drawn so far, or that it would break."""
    bow = bow_at(form, build, events)
    bent = bent_bow(bow, handbook_moduli(bow, materials), draws_from_back(form, draws))
    if isinstance(bent, Refusal):
        return bent
    places = strained_places(bent, draws, materials)
    return broken(places) or places


def _basis(model: Model | None, strips: Sequence[StripTest], own: int) -> str:
    tests = f"; {own} weighing{'s' if own > 1 else ''} of its own counted" if own else ""
    tests += f"; {len(strips)} strip test{'s' if len(strips) > 1 else ''} counted" if strips else ""
    return f"{basis_in_words(model)}{tests}"


def _changed(foretold: Foretold) -> Iterator[str]:
    """Say that a build's weighings count in the model only, where what taught it is no longer what the book says."""
    if foretold.changed:
        yield (
            "records of this bow that taught the model have changed since: its weighings of then are not counted "
            "anew; train again: drawweight train"
        )


def _slips(foretold: Foretold) -> Iterator[str]:
    """Say which own weighings are hardly followed, or that the bow's record does not fit its weighings."""
    found = foretold.slips()
    if not foretold.own:
        return
    if found[""] >= NAMED:
        yield f"its record may be wrong ({found['']:.0%}), such as a layer not noted: check its dimensions"
    for weigh_in, probability in found.items():
        if weigh_in and probability >= NAMED:
            yield f"{weigh_in} may be a slip ({probability:.0%}) and counts for so much less: weigh again"


def _settling(stage: Stage, shots: int | None, habits: Habits) -> Iterator[str]:
    """Say what law a settled weight rests on, whether it is a default, and where it goes beyond what is weighed."""
    if stage is Stage.SETTLED:
        yield habits.settling.in_words()
        beyond = None if shots is None else habits.settling.beyond(shots)
        if beyond is not None:
            yield beyond


def _at_draws(
    draws: Sequence[DrawLength],
    expected: NormalMixture,
    per_inch: Sequence[float],
    told: Columns,
) -> tuple[DrawPrediction, ...]:
    """Return the prediction at each draw; the expected weight is the median."""
    middle = np.exp(expected.quantile(0.5))
    ends = {
        level: [np.exp(expected.quantile((1 + side * level) / 2)) for side in (-1, 1)] for level in LEVELS
    }
    slopes = np.array(per_inch) * middle[: len(draws)] / np.exp(told.offset)
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


def _force(foretold: Foretold, place: int) -> Force:
    """Return the force itself, whose row it is."""
    low, middle, high = (
        float(foretold.weights_lbf(p)[place]) for p in ((1 - LEVELS[-1]) / 2, 0.5, (1 + LEVELS[-1]) / 2)
    )
    return Force(weight_lbf=middle, interval=Interval(level=LEVELS[-1], low_lbf=low, high_lbf=high))


def _shares(foretold: Foretold, place: int, weight: float) -> tuple[Share, ...]:
    """Return the sources at one draw as shares of a weight, largest first."""
    directions = np.zeros(foretold.joint.means.shape[1])
    directions[place] = 1.0
    variances = log_variances(foretold, directions)
    return tuple(Share(source=source, sd_lbf=weight * sqrt(v)) for source, v in variances.items() if v > 0)
