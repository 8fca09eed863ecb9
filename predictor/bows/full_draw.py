"""A bow drawn to its promise: where it is strained most, or why it must not be drawn so far."""

from collections.abc import Mapping

from datasets.history import BowAt
from datasets.materials import Material
from datasets.record import DrawLength
from predictor.bows.bent import bent_bow
from predictor.bows.bow import Refusal, handbook_moduli
from predictor.bows.margins import Strained, strained_places, too_far


def drawn(
    bow: BowAt,
    draw: DrawLength,
    draw_in: float,
    materials: Mapping[str, Material],
    limit: float | None = None,
) -> tuple[Strained, ...] | Refusal:
    """Return where a bow's lams are strained most, or why it must not be drawn so far.

    Args:
        bow: geometry at its moment.
        draw: the draw.
        draw_in: the same, in inches from the back of the riser.
        materials: every material that its lams name.
        limit: highest strain allowed of any face; nothing for the materials' own limits alone.
    """
    bent = bent_bow(bow, handbook_moduli(bow, materials), [draw_in])
    if isinstance(bent, Refusal):
        return bent
    places = strained_places(bent, [draw], materials)
    most = max(places, key=lambda place: abs(place.strain))
    if limit is not None and abs(most.strain) > limit:
        return Refusal(reason=f"strain over the shop's limit of {limit:.2%}", where=str(most))
    return too_far(places) or places
