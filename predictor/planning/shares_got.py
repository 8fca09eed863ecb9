"""What is got of the loss that the statics tell of a little stock: for each way of taking it off, on one bow."""

from collections.abc import Mapping

from datasets.history import BowAt, bow_at
from datasets.record import DrawLength, Side, Taken
from datasets.removals import Polyline
from datasets.schema import Method, Removal
from datasets.thought_of import thought_of
from predictor.bows.bow import Refusal
from predictor.planning.kit_state import Kit
from predictor.planning.knowledge import Knowledge
from predictor.planning.promise import Judged
from predictor.planning.removal_gains import got_by
from predictor.prediction.worth import UNIT_IN


def shares_got(kit: Kit, draw: DrawLength, knowledge: Knowledge) -> Mapping[Method, float] | Refusal:
    """Return the share of the statics' loss that is expected of a unit off the whole limbs, measured, by method.

    Args:
        kit: the bow as it stands.
        draw: at which weight counts.
        knowledge: of the shop.
    """
    bow = bow_at(kit.form, kit.build, kit.events)
    units = {method: _unit_off(kit, bow, method) for method in UNIT_IN}
    tried = {method: (unit, unit) for method, unit in units.items()}
    got = got_by(kit, Judged(draw, 0), knowledge, tried, kit.stands_at()[0])
    return got if isinstance(got, Refusal) else {method: one.gain for method, one in got.items()}


def _unit_off(kit: Kit, bow: BowAt, method: Method) -> tuple[Removal, ...]:
    """Return a unit off both limbs; a corner is rounded by a unit more than it is already."""
    even: Polyline = ((0.0,), (0.0,))
    upper, lower = (limb.edge_radius if method is Method.EDGES else even for limb in (bow.upper, bow.lower))
    limbs = {Side.BOTH: upper} if upper == lower else {Side.UPPER: upper, Side.LOWER: lower}
    off = {
        limb: [(max(at, 0.0), had + UNIT_IN[method]) for at, had in zip(*already, strict=True)]
        for limb, already in limbs.items()
    }
    return thought_of(kit.build, kit.events, method, off, Taken.CALIPER)
