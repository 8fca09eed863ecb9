"""Stacks of lams that a shop can press, from what it has at hand or can grind."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations_with_replacement, product

from datasets.record import Dimension, Taken
from datasets.schema import Layer, Part, Stock

MOST_CORES = 3
"""Core lams of one stack at most."""


@dataclass(frozen=True)
class Lam:
    """One lam of a stack.

    Attributes:
        layer: as it is at hand.
        ground_in: least and greatest thickness at its butt that it may be ground to; nothing where it is used as it is.
        share: of the stack's ground thickness that it gets.
        stock: what it is taken from; nothing where it is only thought of.
    """

    layer: Layer
    ground_in: tuple[float, float] | None = None
    share: float = 1.0
    stock: str | None = None

    def ground(self, inch: float) -> Layer:
        """Return the layer ground to its share of a thickness, as far as it may be."""
        if self.ground_in is None:
            return self.layer
        least, most = self.ground_in
        return at_butt(self.layer, min(max(inch * self.share, least), most))


def at_butt(layer: Layer, inch: float) -> Layer:
    """Return a layer of another thickness at its butt, the taper kept."""
    changed = {"butt_in": Dimension(inch=inch, taken=Taken.PLANNED)}
    if layer.tip_in is not None:
        tip = max(layer.tip_in.inch + inch - layer.butt_in.inch, 0.0)
        changed["tip_in"] = Dimension(inch=tip, taken=Taken.PLANNED)
    return layer.model_copy(update=changed)


@dataclass(frozen=True)
class Stack:
    """Lams from the back to the belly. Those that are ground get their shares of one thickness, as far as each may."""

    lams: tuple[Lam, ...]

    @property
    def bounds_in(self) -> tuple[float, float]:
        """Least and greatest of the thickness that is shared out; zeros where no lam is ground."""
        bounds = [
            (lam.ground_in[0] / lam.share, lam.ground_in[1] / lam.share)
            for lam in self.lams
            if lam.ground_in is not None
        ]
        if not bounds:
            return 0.0, 0.0
        return min(least for least, _ in bounds), max(most for _, most in bounds)

    @property
    def is_ground(self) -> bool:
        """Whether the thickness of any lam is free."""
        return any(lam.ground_in is not None for lam in self.lams)

    @property
    def stock(self) -> frozenset[str]:
        """What it is taken from."""
        return frozenset(lam.stock for lam in self.lams if lam.stock is not None)

    def layers(self, inch: float) -> tuple[Layer, ...]:
        """Return the layers with those that are ground at their shares of a thickness."""
        return tuple(lam.ground(inch) for lam in self.lams)


CORE_RANGE = (0.3, 2.5)
"""Thickness of cores over what they were, as far as another bow like it is looked for."""


def with_free_cores(layers: Sequence[Layer]) -> Stack:
    """Return the stack of a bow with its cores free, all by one ratio of what they were.

    Raises:
        ValueError: it has no core.
    """
    cores = [layer.butt_in.inch for layer in layers if layer.part is Part.CORE]
    if not cores or min(cores) <= 0:
        raise ValueError("wanted a bow with cores, got none to change; name another with --like")
    least, most = CORE_RANGE
    return Stack(
        tuple(
            Lam(layer, (least * layer.butt_in.inch, most * layer.butt_in.inch), layer.butt_in.inch / cores[0])
            if layer.part is Part.CORE
            else Lam(layer)
            for layer in layers
        )
    )


@dataclass(frozen=True)
class Room:
    """What a lam must reach: the bow from nock to nock, its riser, and its greatest width, in inches."""

    length_in: float
    riser_in: float
    width_in: float

    def lack(self, one: Stock, lams: int = 1) -> str:
        """Return what pieces lack for so many lams of a whole bow, in width, length or number; empty for nothing."""
        if one.width_in is not None and one.width_in.inch < self.width_in:
            return f"{one.width_in.inch:g} in wide, where {self.width_in:g} in are needed"
        if one.part is Part.POWER and (one.length_in is None or one.length_in.inch <= self.riser_in):
            return f"no longer than the riser of {self.riser_in:g} in"
        if (
            one.part is not Part.POWER
            and one.length_in is not None
            and one.length_in.inch < self.length_in / 2
        ):
            return f"{one.length_in.inch:g} in long, where {self.length_in / 2:g} in are needed"
        needed = lams * self.pieces(one)
        return f"{one.pieces} of the {needed} pieces that one bow takes" if one.pieces < needed else ""

    def pieces(self, one: Stock) -> int:
        """Return how many pieces one lam of a whole bow takes."""
        whole = self.riser_in if one.part is Part.POWER else self.length_in
        return 1 if one.length_in is not None and one.length_in.inch >= whole else 2

    def lam(self, one: Stock) -> Lam:
        """Return a lam taken from stock; a power lam ends where half of its piece does."""
        end = None
        if one.part is Part.POWER and one.length_in is not None:
            end = Dimension(inch=(one.length_in.inch - self.riser_in) / 2, taken=Taken.PLANNED)
        layer = Layer(
            part=one.part,
            material=one.material,
            lot=one.lot,
            butt_in=one.thickness_in,
            taper_per_in=one.taper_per_in,
            to_in=end,
        )
        ground = None if one.ground_to_in is None else (one.ground_to_in.inch, one.thickness_in.inch)
        return Lam(layer, ground, stock=one.id)


def stacks(stock: Sequence[Stock], room: Room) -> Iterator[Stack]:
    """Yield every stack that stock suffices for: glass on both faces, one to `MOST_CORES` cores.

    A veneer, if any, lies under both faces, and a power lam in the middle. Of two faces the thinner is on the back.

    Args:
        stock: lams at hand.
        room: that they must fill.
    """
    fitting = [one for one in stock if not room.lack(one)]
    of_part = {part: [one for one in fitting if one.part is part] for part in Part}
    cores = [
        some
        for count in range(1, MOST_CORES + 1)
        for some in combinations_with_replacement(of_part[Part.CORE], count)
    ]
    veneers: list[tuple[Stock, ...]] = [(), *((one,) for one in of_part[Part.VENEER])]
    powers: list[tuple[Stock, ...]] = [(), *((one,) for one in of_part[Part.POWER])]
    for faces, some, veneer, power in product(_faces(of_part[Part.GLASS]), cores, veneers, powers):
        back, belly = faces
        middle = len(some) // 2
        used = (back, *veneer, *some[:middle], *power, *some[middle:], *veneer, belly)
        if _suffices(used, room):
            yield Stack(tuple(room.lam(one) for one in used))


def shortages(stock: Sequence[Stock], room: Room) -> Iterator[str]:
    """Yield in words what glass and cores lack for one bow, one by one; nothing of a part that suffices.

    Args:
        stock: lams at hand.
        room: that they must fill.
    """
    glass, cores = ([one for one in stock if one.part is part] for part in (Part.GLASS, Part.CORE))
    fitting = [one for one in glass if not room.lack(one)]
    if not any(_suffices(faces, room) for faces in _faces(fitting)):
        yield from _lacking(glass, Part.GLASS, 2, room)
    if all(room.lack(one) for one in cores):
        yield from _lacking(cores, Part.CORE, 1, room)


def _lacking(stock: Sequence[Stock], part: Part, lams: int, room: Room) -> Iterator[str]:
    if not stock:
        yield f"no {part}"
    for one in stock:
        yield f"{one.id}, {part} of {one.material}: {room.lack(one, lams)}"


def _faces(glass: Sequence[Stock]) -> Iterator[tuple[Stock, Stock]]:
    """Yield pairs of faces of one material, the thinner first."""
    in_order = sorted(glass, key=lambda one: one.thickness_in.inch)
    for back, belly in combinations_with_replacement(in_order, 2):
        if back.material == belly.material:
            yield back, belly


def _suffices(used: Sequence[Stock], room: Room) -> bool:
    """Whether there are pieces enough of what is used more than once."""
    taken = Counter(one.id for one in used)
    return all(one.pieces >= taken[one.id] * room.pieces(one) for one in used)
