"""The removal plan of a kit in words for the bench: where it stands, its passes, what to do between them, cautions."""

import json
from collections.abc import Iterator

from rich.console import Console
from rich.markup import escape

from datasets.exercise import ENOUGH_DRAWS
from datasets.schema import Method
from predictor.planning.awaited import MOST_OVER_LBF
from predictor.planning.passes import Step
from predictor.planning.plan import Plan
from predictor.planning.shortening import SHORTENINGS_IN, Shortened
from predictor.planning.stakes import Chances
from predictor.prediction.ranged import Ranged
from reports.numbers import counted, fixed
from reports.pass_told import (
    COMMAND,
    expecting,
    pass_in_words,
    stop_early,
    table_of,
    too_heavy,
    weighing_in_words,
    what_to_do,
)
from reports.printing import KG_PER_LBF, Units

DONE_LBF = 0.01
"""A bow that finish sanding is expected to cost less than this is finished."""

SHOWN_CHANCE = 0.01
"""Chances are shown in whole per cent."""

SAFETY = (
    "Dust of glass and wood harms the lungs: respirator and extraction on, gloves and long sleeves for glass.",
    "Saw and sander: eye and ear protection, both hands on the limb, guards on, stop before measuring; keep to local "
    "rules and the maker's sheets.",
    "An untested bow may break: eye protection, nobody in line with the limbs, draw it a little further each time.",
    "Never draw past the draw that is tillered, nor past the target weight but for what settling is still to take: "
    f"{MOST_OVER_LBF:g} lb ({MOST_OVER_LBF * KG_PER_LBF:.0f} kg) at most.",
    "Stop at a tick, a white or raised line in the glass, a lifting lam or an opening glue line: unstring it.",
)
"""Common practice, no source."""


def show_plan(told: Plan, units: Units, out: Console) -> None:
    """Print a plan: where the kit stands, each pass, how it is likely to end, and cautions."""
    for line in _standing(told, units):
        out.print(escape(line))
    for number, one in enumerate(told.passes, 1):
        if one.once_finished and not any(before.once_finished for before in told.passes[: number - 1]):
            out.print(escape(_finish_first(told, units)))
        out.print(escape(pass_in_words(number, one, units)))
        out.print(table_of(one, units))
        out.print(escape(weighing_in_words(one, told, units)))
    for line in (*_ending(told, units), *_remarks(told), *(f"Caution: {line}" for line in SAFETY)):
        out.print(escape(line), soft_wrap=line.startswith(COMMAND))


def plan_json(told: Plan) -> str:
    """Return a plan as JSON, the cautions with it."""
    return json.dumps({**told.model_dump(mode="json"), "cautions": SAFETY}, indent=2)


def _standing(told: Plan, units: Units) -> Iterator[str]:
    judged = "in true force" if told.scale is None else f"on {told.scale}"
    weigh = units.tenths_of_weight
    yield (
        f"{told.build}: {weigh(told.target_lbf)} ± {weigh(told.tolerance_lbf)} {units.weight} at "
        f"{units.draw(told.draw)} after {counted(told.shots, 'shot')}, {judged}"
    )
    unfinished = told.kept_for_finishing_lbf >= DONE_LBF
    work = "edges and finish sanding" if told.edges_to_come else "finish sanding"
    finishing = f"{work} {weigh(told.kept_for_finishing_lbf)}, for " if unfinished else ""
    standing = "Not weighed yet; by its record" if told.next_step is Step.STRING else "Now"
    yield (
        f"{standing} {_in_range(told.now, units, 'nine in ten: ')}. Kept back for {finishing}shooting in "
        f"{weigh(told.kept_for_shooting_lbf)}: with nothing more taken off it settles at "
        f"{_in_range(told.settled, units)}. Weighings can still tell ± {weigh(told.can_tell_lbf)} of that, "
        f"{'finishing and ' if unfinished else ''}shooting in will bring ± {weigh(told.after_lbf)} (one standard "
        "deviation each)."
    )


def _in_range(weight: Ranged, units: Units, held: str = "") -> str:
    ((middle, low, high),) = units.expected([(weight.lbf, weight.low_lbf, weight.high_lbf)])
    return f"{middle} {units.weight} ({held}{low} to {high})"


def _ending(told: Plan, units: Units) -> Iterator[str]:
    if told.next_step is Step.STRING:
        yield from _string_first(told, units)
    if told.out_of_reach:
        yield from _out_of_reach(told, units)
    elif told.too_light:
        yield from _too_light(told, units)
    else:
        yield from _next(told, units)
    yield _chances(told)
    yield _stakes(told, units)


def _next(told: Plan, units: Units) -> Iterator[str]:
    """Yield what to do now with a kit that can be brought to its target."""
    if told.next_step is Step.WEIGH:
        yield (
            f"Too little is known of it to take anything off safely: weigh again after {_draws(told, units)}. Weigh it "
            "on another scale too, if there is one, and ask for the plan again."
        )
    elif told.next_step is Step.STOP:
        doubt = _may_end_under(told, units)
        below = told.settled.lbf < told.target_lbf
        yield f"Nothing more to take off: {'leave it as it is.' if doubt and below else 'it is done.'} {doubt}".strip()
    elif told.next_step is Step.FINISH and told.passes:
        yield "Do that first, and ask again: each weighing changes the rest."
    elif told.next_step is Step.FINISH:
        nearer = _may_end_under(told, units) or "A last pass by hand may then bring it nearer."
        yield f"{_finish_first(told, units)} {nearer}"
    elif told.passes:
        yield from what_to_do(told.passes[0], told.build)


def _may_end_under(told: Plan, units: Units) -> str:
    """Return that a bow to which nothing better can be done may end under; nothing where the shop allows as much."""
    if told.under < told.most_under + SHOWN_CHANCE / 2:
        return ""
    chance, wanted = (fixed(100 * one, 0) for one in (told.under, told.most_under))
    return (
        f"It ends under the tolerance with a chance of {chance}%, where the shop wants {wanted}% at most"
        f"{_no_shortening(told, units) if told.settled.lbf < told.target_lbf else ''}. Another weighing tells more of "
        "it."
    )


def _no_shortening(told: Plan, units: Units) -> str:
    """Return why a bow that is left as it is is not shortened: it would not help, or is refused."""
    for one in told.shortened:
        if one.refused is not None:
            return f"; shortening, from {units.length(one.each_end_in)} at either end on, is refused: {one.refused}"
    least = units.length(SHORTENINGS_IN[0])
    return f"; shortening, from {least} at either end on, would not make it likelier within"


def _string_first(told: Plan, units: Units) -> Iterator[str]:
    """Yield what to do with a kit that was never weighed, and what is likely to come off it."""
    if told.weighing is None:
        yield (
            f"It was never weighed, and it is too heavy to be strung for this: {too_heavy(told, units)}. Check what is "
            f"noted of it (drawweight show {told.build}) before you take anything off."
        )
    else:
        yield (
            f"It was never weighed, so take nothing off by this plan yet. If its limbs are sound and bend alike: "
            f"string it, check brace and tiller, draw it a little further each time, weigh it after "
            f"{_draws(told, units)}. Note it (drawweight weigh {told.build}) and ask again."
        )
    yield _likely(told, units)


def _likely(told: Plan, units: Units) -> str:
    """Return by how much a kit that was never weighed is likely to miss its target if nothing is taken off."""
    settled, target = told.settled, told.target_lbf
    side, sign = ("over", 1) if settled.lbf >= target else ("under", -1)
    low, high = sorted(sign * (lbf - target) for lbf in (settled.low_lbf, settled.high_lbf))
    ((middle, least, most),) = units.expected([(sign * (settled.lbf - target), low, high)])
    follows = ", which would then come off" if sign > 0 and not told.out_of_reach else ""
    off = f"{middle} {units.weight} {side} the target ({least} to {most})"
    return f"By its record it is likely to settle {off}{follows}."


def _draws(told: Plan, units: Units) -> str:
    """Return the draws before the next weighing of a bow as it stands, and what it is expected to read."""
    weighing = told.weighing
    if weighing is None:
        return f"at a draw where it does not pass {units.tenths_of_weight(told.target_lbf)} {units.weight}"
    full = weighing.draw == told.draw
    how = "full draws" if full else f"draws to {units.draw(weighing.draw)}, no further"
    draws = f"{ENOUGH_DRAWS} {how}"
    may_pass = not full or (told.next_step is Step.STRING and weighing.reading.high_lbf > told.target_lbf)
    stop = f"; {stop_early(told, units)}" if may_pass else ""
    return f"{draws}, {expecting(weighing, told, units)}{stop}"


def _chances(told: Plan) -> str:
    chances = _in_percent(Chances(told.under, told.within, told.over))
    if told.next_step is Step.STOP or told.out_of_reach:
        return f"As it is: {chances}."
    if told.too_light:
        return f"Likely to end: {chances}."
    passes = fixed(told.expected_passes, 1)
    return f"If followed to its end: {chances}; about {passes} pass{'' if passes == '1.0' else 'es'}."


def _stakes(told: Plan, units: Units) -> str:
    a_pass, a_miss = (
        f"{units.of_weight(lbf):.2g} {units.weight}" for lbf in (told.pass_cost_lbf, told.miss_cost_lbf)
    )
    return (
        f"Weight under the tolerance counts {told.under_to_over:g} times as much as over it, a pass {a_pass}, ending "
        f"outside the tolerance at all {a_miss} (it decides between plans that cost nearly the same); ending under at "
        f"most {told.most_under:.0%} likely over all passes."
    )


def _out_of_reach(told: Plan, units: Units) -> Iterator[str]:
    *alone, together = told.out_of_reach
    target = "By its record the target" if told.next_step is Step.STRING else "The target"
    yield (
        f"{target} is out of reach within the shop's limits, so take nothing off for it: all that they allow still "
        f"leaves about {units.tenths_of_weight(together.settled_lbf)} {units.weight} settled. Each way alone:"
    )
    for one in alone:
        if one.method is not None:
            leaves = f"{units.tenths_of_weight(one.settled_lbf)} {units.weight}"
            yield f"- {_LIMITS[one.method]}: {leaves}"
    yield "Promise a weight that can be reached, or change the limits: drawweight shop"


_LIMITS = {
    Method.SIDES: "sides at the least widths",
    Method.EDGES: "edges at the largest radius",
    Method.TRAP: "trap at its limit",
    Method.BELLY_GLASS: "belly glass at its limit",
}


def _finish_first(told: Plan, units: Units) -> str:
    """Return what is done before the last passes, as most of what is kept back shows in the weighing after it."""
    sand = "" if told.kept_for_finishing_lbf < DONE_LBF else "finish-sand it, "
    weighing = told.first_shot_in
    further, there, reading = "", "", ""
    if weighing is not None:
        reading = f", {expecting(weighing, told, units)}"
        if weighing.draw != told.draw:
            further, there = f" drawn to {units.draw(weighing.draw)}, no further", " there"
    return (
        f"Before any more comes off: {sand}shoot {told.first_shots} arrows{further}, weigh it{there} "
        f"(--stage settled --shots {told.first_shots}){reading}. Then ask again."
    )


def _too_light(told: Plan, units: Units) -> Iterator[str]:
    yield "It is too light, or too likely to end so: take nothing off. What can be done:"
    for one in told.shortened:
        by = units.length(one.each_end_in)
        yield f"- shorten both nock ends by {by}: {_shorter(one, units)}"
    if not told.shortened:
        least, most = units.length(SHORTENINGS_IN[0]), units.length(SHORTENINGS_IN[-1])
        yield f"- no shortening, from {least} to {most} off both nock ends, makes it likelier within the tolerance"
    elif told.shortened[0].settled is not None:
        yield (
            "  Shortening cannot be undone: take half of it first, move the nocks, brace it as before, weigh and ask "
            "again."
        )
    yield f"- sell it as it is: {_in_range(told.settled, units)} settled"
    zero = "" if told.draw.zero == "standard" else f" {told.draw.zero}"
    mark = f"{told.target_lbf:g}#@{told.draw.inch:g}{zero}"
    yield f'- press another: drawweight layup --like {told.build} --target "{mark}"'


def _shorter(one: Shortened, units: Units) -> str:
    """Return what a shorter bow settles at and how it then ends, or why it is refused."""
    if one.settled is None or one.chances is None:
        return one.refused or ""
    return f"about {_in_range(one.settled, units)} settled, {_in_percent(one.chances)}"


def _in_percent(chances: Chances) -> str:
    under, within, over = (fixed(100 * one, 0) for one in (chances.under, chances.within, chances.over))
    return f"under {under}%, within {within}%, over {over}%"


def _remarks(told: Plan) -> Iterator[str]:
    for remark in told.notes:
        yield f"{remark[:1].upper()}{remark[1:]}."
