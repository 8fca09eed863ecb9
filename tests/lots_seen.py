"""Whether a belief has met the lots that a bow is made of."""

from predictor.belief.columns import Columns
from predictor.belief.posterior import Posterior
from predictor.belief.scatter import LOTS_OF_GLASS, LOTS_OF_WOOD
from predictor.belief.seen import level_name


def lots_seen(belief: Posterior, columns: Columns) -> str:
    """Return whether a belief has met a bow's lots: "seen" all, "new" none, or "partly"; it meets none not noted."""
    groups = {group: columns.groups.get(group, {}) for group in (LOTS_OF_WOOD, LOTS_OF_GLASS)}
    known = [
        level_name(group, level) in belief.effects for group, levels in groups.items() for level in levels
    ]
    known += [False for lots in columns.unnoted.values() for _ in lots]
    return "seen" if all(known) else "partly" if any(known) else "new"
