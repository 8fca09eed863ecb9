"""The removal plan of a kit: what to take off in each pass, what to read after it, and how it is likely to end.

Only the first pass is to be carried out as it stands: each weighing changes what is believed, and so the rest of the
plan.
"""

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from pydantic import Field

from datasets.exercise import notes_on_not_counted
from datasets.history import bow_at
from datasets.record import DrawLength, Record
from datasets.schema import Method, Removal, WeighIn
from datasets.tolerances import DEFAULT_RADIUS_IN
from predictor.belief.weighings import draws_from_back
from predictor.bows.bow import Refusal
from predictor.bows.full_draw import drawn
from predictor.bows.margins import Strained, notes_on_margins
from predictor.bows.tiller import tillered
from predictor.planning.awaited import Awaited, readings_of
from predictor.planning.cut_patterns import Stiffer
from predictor.planning.kit_state import Kit, KitState, first_shots, kit_state
from predictor.planning.knowledge import Knowledge
from predictor.planning.passes import Step
from predictor.planning.plan_parts import Ending, Followed, Pass
from predictor.planning.planned_passes import Planner
from predictor.planning.promise import Promise
from predictor.planning.shortening import Shortened, shortened
from predictor.planning.stakes import Stakes
from predictor.planning.ways import Limits, Ways, ways_of
from predictor.prediction.ranged import Ranged


class Reach(Record):
    """How far a kit can be brought down."""

    method: Method | None = Field(description="by which alone; nothing for all together, one after another")
    settled_lbf: float = Field(description="settled weight expected at its limit")


class Plan(Record):
    """What to take off a kit for a promise. Weights in pounds, judged as the promise is."""

    build: str
    target_lbf: float
    draw: DrawLength
    shots: int
    scale: str | None = Field(description="on which the promise is judged; nothing for the true force")
    read_on: str | None = Field(description="scale that the readings after each pass are expected on")
    tolerance_lbf: float
    under_to_over: float
    pass_cost_lbf: float
    miss_cost_lbf: float
    most_under: float
    now: Ranged
    edges_to_come: float = Field(
        description="share of a usual rounding of the edges that is still to come, 0 to 1"
    )
    kept_for_finishing_lbf: float = Field(
        description="that finish sanding, and edges to come, are expected to take"
    )
    kept_for_shooting_lbf: float = Field(description="that shooting in is expected to take")
    settled: Ranged = Field(description="expected if nothing more is taken off")
    can_tell_lbf: float = Field(description="standard deviation of it that weighings can still tell")
    after_lbf: float = Field(description="standard deviation of it by finishing and shooting in")
    next_step: Step
    weighing: Awaited | None = Field(
        description="of the bow as it stands, at the draw to weigh at; nothing where even the shortest is expected "
        "past the target"
    )
    first_shots: int = Field(description="arrows to be shot between finish sanding and the last passes")
    first_shot_in: Awaited | None = Field(description="the weighing after them, if they are ahead")
    passes: tuple[Pass, ...]
    expected_passes: float
    under: float = Field(description="chance of ending under the tolerance")
    within: float
    over: float
    out_of_reach: tuple[Reach, ...] = Field(
        description="what each allowed method leaves alone, and all together last; none if the target is within reach"
    )
    too_light: bool = Field(
        description="whether ending under is likelier than allowed, and it is expected under the tolerance, or below "
        "the target and likelier within the tolerance if it is shortened"
    )
    shortened: tuple[Shortened, ...] = Field(
        description="what would make a light bow heavier and likelier within the tolerance, the first that is refused "
        "last; of a bow that is left as it is at most the refused one"
    )
    notes: tuple[str, ...]


def plan(kit: Kit, promise: Promise, stakes: Stakes, limits: Limits, knowledge: Knowledge) -> Plan | Refusal:
    """Return the plan of a kit, or why there is none: its statics, or strain above the limit before or after it.

    Args:
        kit: with its weighings so far.
        promise: weight, tolerance, draw, shots and scale.
        stakes: what missing it costs.
        limits: of methods, strain and tiller.
        knowledge: of the shop.
    """
    planner = _planner(kit, promise, stakes, limits, knowledge)
    if isinstance(planner, Refusal):
        return planner
    beyond = _out_of_reach(planner.ways, promise.weight_lbf + stakes.tolerance_lbf)
    followed = _followed(planner, beyond)
    taken = [removal for one in followed.passes for removal in one.removals]
    after = _strains(kit, taken, promise, limits, knowledge)
    if isinstance(after, Refusal):
        return Refusal(reason=f"after the passes: {after.reason}", where=after.where)
    margins = [f"drawn to its promise, {note}" for note in notes_on_margins(after)]
    notes = (*notes_on_not_counted(kit.events), *planner.notes, *_of_corners(kit, followed), *margins)
    told = _told(planner, promise, followed, beyond, notes)
    if not _may_be_light(told):
        return told
    shorter = tuple(shortened(kit, promise, told.within, knowledge, limits.strain))
    helped = any(one.settled is not None for one in shorter)
    light = helped or told.settled.lbf < told.target_lbf - told.tolerance_lbf
    return told.model_copy(update={"too_light": light, "shortened": shorter})


def _planner(
    kit: Kit, promise: Promise, stakes: Stakes, limits: Limits, knowledge: Knowledge
) -> Planner | Refusal:
    """Return what the passes of a kit follow from, or why there are none."""
    now = _strains(kit, (), promise, limits, knowledge)
    if isinstance(now, Refusal):
        return now
    state = kit_state(kit, promise, knowledge)
    if isinstance(state, Refusal):
        return state
    stiffer, notes = _stiffer(kit, promise, limits, knowledge)
    ways = ways_of(kit, state, promise.judged, limits, knowledge, stiffer)
    if isinstance(ways, Refusal):
        return ways
    readings = readings_of(kit, state, promise, knowledge)
    return Planner(ways, state, readings, promise.weight_lbf, stakes, (*notes, *_of_tiller(ways)))


def _followed(planner: Planner, beyond: Sequence[Reach]) -> Followed:
    """Return what the plan comes to; a kit that was never weighed is weighed before anything is taken off."""
    weighed = planner.ways.kit.last_weighing() is not None
    if beyond:
        return Followed(Step.STOP if weighed else Step.STRING, (), Ending(0.0, 0.0, 1.0, 0.0))
    return planner.followed() if weighed else planner.weighed_first()


def _told(
    planner: Planner,
    promise: Promise,
    followed: Followed,
    beyond: tuple[Reach, ...],
    notes: tuple[str, ...],
) -> Plan:
    """Return the plan that follows."""
    ending, judged = followed.ending, promise.judged
    return Plan(
        build=planner.ways.kit.build.id,
        target_lbf=promise.weight_lbf,
        draw=judged.draw,
        shots=judged.shots,
        scale=judged.scale,
        **asdict(planner.stakes),
        **_of_state(planner.state, promise.weight_lbf),
        next_step=followed.step,
        weighing=planner.readings.now(),
        first_shots=first_shots(promise),
        first_shot_in=followed.first_shot_in,
        passes=followed.passes,
        expected_passes=ending.passes,
        under=ending.under,
        within=1 - ending.under - ending.over,
        over=ending.over,
        out_of_reach=beyond,
        too_light=False,
        shortened=(),
        notes=notes,
    )


def _may_be_light(told: Plan) -> bool:
    """Return whether a bow is expected below its target and may end under the tolerance likelier than allowed."""
    below = told.next_step is not Step.STRING and told.settled.lbf < told.target_lbf
    return below and not told.passes and told.under > told.most_under


def _of_state(state: KitState, target_lbf: float) -> dict[str, Any]:
    """Return the fields of a plan that tell of the kit, its doubts as those of its own weight, not of the target's."""
    share = state.settled_lbf / target_lbf
    return {
        "read_on": state.scale,
        "now": state.now,
        "edges_to_come": state.edges_to_come,
        "kept_for_finishing_lbf": state.now_lbf - state.finished_lbf,
        "kept_for_shooting_lbf": state.finished_lbf - state.settled_lbf,
        "settled": state.settled,
        "can_tell_lbf": share * state.can_tell_lbf,
        "after_lbf": share * state.noise.after_lbf,
    }


def _out_of_reach(ways: Ways, most_lbf: float) -> tuple[Reach, ...]:
    """Return what each method leaves alone and all together, if all together leave too much."""
    together = ways.settled_lbf
    for way in ways.one_after_another():
        together = float(way.settled_lbf[-1])
        if together <= most_lbf:
            return ()
    alone = [(method, ways.way(method, (), ways.settled_lbf).settled_lbf[-1]) for method in ways.got]
    return tuple(Reach(method=method, settled_lbf=lbf) for method, lbf in [*alone, (None, together)])


def _strains(
    kit: Kit, taken: Sequence[Removal], promise: Promise, limits: Limits, knowledge: Knowledge
) -> tuple[Strained, ...] | Refusal:
    """Return the strains of a bow that has lost some stock and is drawn to its promise, or why it must not be."""
    draw = promise.judged.draw
    (draw_in,) = draws_from_back(kit.form, [draw])
    bow = bow_at(kit.form, kit.build, (*kit.events, *taken))
    return drawn(bow, draw, draw_in, knowledge.materials, limits.strain)


def _of_corners(kit: Kit, followed: Followed) -> tuple[str, ...]:
    """Return what is to be noted where corners are to be rounded whose radius nobody noted."""
    to_round = any(one.method is Method.EDGES for one in followed.passes)
    noted = kit.build.edge_radius_in is not None or any(
        isinstance(event, Removal) and event.method is Method.EDGES for event in kit.events
    )
    if noted or not to_round:
        return ()
    return (
        f"the corners' radius is not noted, so {DEFAULT_RADIUS_IN:.3f} in is taken: measure and note it before any is "
        "rounded",
    )


def _of_tiller(ways: Ways) -> tuple[str, ...]:
    """Return what is to be noted where the tiller is off and no width is left to set it right."""
    if ways.stiffer is None or ways.sides.has_room:
        return ()
    limb = ways.stiffer.limb
    return (
        f"the {limb} limb is stiff and its sides are at their least: round its edges first, the tiller in view",
    )


def _stiffer(
    kit: Kit, promise: Promise, limits: Limits, knowledge: Knowledge
) -> tuple[Stiffer | None, tuple[str, ...]]:
    """Return the limb that a measured tiller says to begin with, and what is to be noted of the tiller."""
    weigh_ins = [event for event in kit.events if isinstance(event, WeighIn)]
    if not any(one.gap_upper_in and one.gap_lower_in for one in weigh_ins):
        return None, ("no tiller measured, so both limbs are cut alike: measure both gaps at brace",)
    told = tillered(
        kit.form, kit.build, kit.events, promise.judged.draw, knowledge.materials, limits.tiller_in
    )
    if isinstance(told, Refusal):
        return None, (f"tiller not looked at: {told.reason} ({told.where})",)
    if told.stiff is None or not told.cuts:
        return None, told.notes
    first = f"the {told.stiff} limb is the stiffer by its tiller, so more comes off it"
    return Stiffer(told.stiff, told.cuts[0].amount_in / told.cuts[0].width_in), (first, *told.notes)
