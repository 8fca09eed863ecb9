"""Which stack to press for a promised weight, and what cores keep the weight when something else changes."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from pydantic import Field

from datasets.contents import Contents
from datasets.record import DrawLength, Record
from datasets.schema import Build, Form, Layer, Order, Part, Shop, Stock, WeighIn
from predictor.belief.columns import FINISHED
from predictor.belief.model import Model, basis_in_words
from predictor.bows.bow import Refusal
from predictor.planning.kit_state import Kit
from predictor.planning.knowledge import Knowledge
from predictor.planning.promise import Judged, Promise
from predictor.pressing.blanks import Blank, Copied, least_widths, usual_blank, widths_of
from predictor.pressing.extremes import Extremes, extremes
from predictor.pressing.layup import Layup, Limits, choose
from predictor.pressing.like_bow import LikeBow, with_bow
from predictor.pressing.stacks import MOST_CORES, Room, Stack, shortages, stacks, with_free_cores
from predictor.pressing.swaps import Change, Swapped, swap
from reports.numbers import counted

USUAL_GLASS, USUAL_GLASS_IN, USUAL_WOOD = "limb glass", 0.050, "hard maple"
"""For a form that nothing was pressed on yet: common practice, no source."""

GROUND_TO_IN, GROUND_FROM_IN = 0.060, 0.200
"""Cores are taken as ground within this where the book has no stock: common practice, no source."""

NOMINAL_GLASS_IN = (0.030, 0.040, 0.043, 0.050)
"""Thicknesses in which limb glass is sold: common practice, no source."""

SAME_IN = 0.0005
"""Thicknesses of glass that differ by less are the same."""

HOPELESS = 0.05
"""Chance of meeting a promise below which a stack is no answer to it."""


@dataclass(frozen=True)
class Asked:
    """What stacks are wanted for.

    Attributes:
        contents: the book.
        model: what its builds have taught; nothing before training.
        judged: when and how the weight counts.
        change: glass, wood and length wanted; nothing where they are left open.
    """

    contents: Contents
    model: Model | None
    judged: Judged
    change: Change

    @property
    def knowledge(self) -> Knowledge:
        """What the shop knows."""
        return Knowledge(self.contents.materials, self.model, tuple(self.contents.strips.values()))


class Told(Record):
    """Stacks for a promise, and what they were chosen under."""

    form: str
    target_lbf: float
    draw: DrawLength
    tolerance_lbf: float
    shots: int
    scale: str | None = Field(description="on which the promise is judged; nothing for the true force")
    length_in: float
    widths_in: tuple[float, float, float] = Field(description="of the blank at fade, mid-limb and nock")
    least_widths_in: tuple[float, float] = Field(
        description="at fade and nock, down to which it may be narrowed"
    )
    reach_wanted: float
    like: Build | None = Field(None, description="the bow that they are like, if they are")
    last_read: str | None = Field(None, description="what that bow weighed last")
    its_weighings_count: bool = Field(
        False,
        description="whether they do here; not those that look like a slip or were changed since training",
    )
    basis: str
    from_stock: bool = Field(description="whether the lams are the book's stock, rather than any that may be")
    layup: Layup
    within_reach: Extremes | None = Field(
        None, description="the lightest and the heaviest bow that can be made, where no stack has a chance"
    )


def promise_of(order: Order, shop: Shop) -> Promise:
    """Return what an order promises.

    Raises:
        ValueError: its tolerance is no less than its weight.
    """
    tolerance = order.tolerance_lbf or shop.tolerance_lbf
    if tolerance >= order.weight.lbf:
        raise ValueError(f"wanted a tolerance below the target, got {tolerance:g} lb; write it in pounds")
    return Promise(order.weight.lbf, tolerance, Judged(order.draw, order.shots, order.scale))


def for_form(asked: Asked, form: Form, promise: Promise, count: int) -> Told:
    """Return the stacks to press on a form for a promise, from stock.

    Raises:
        ValueError: stock does not make a bow.
    """
    contents = asked.contents
    blank = usual_blank(form, _first_cut(contents), asked.change.length_in)
    stock = [one for one in contents.stock.values() if _is_wanted(one, asked.change)]
    if not contents.stock:
        stock = list(_imagined(asked, form))
    room = Room(blank.length_in, form.riser_length_in.inch, max(blank.widths_in))
    possible = list(stacks(stock, room))
    if not possible:
        raise ValueError(
            f"wanted glass for both faces and a core in stock, got {'; '.join(shortages(stock, room))}; "
            "see: drawweight stock"
        )
    limits = _limits(asked, blank.widths_in)
    layup = choose(possible, blank, promise, asked.knowledge, limits, count)
    sizes = (
        f"the usual ones of {counted(blank.alike, 'build')} on this form"
        if blank.alike
        else "usual ones of such forms"
    )
    build = blank.build(possible[0].layers(0.0))
    told = _told(asked, promise, form, build, layup, f"sizes of the blank: {sizes}")
    return _with_reach(told, possible, blank, promise, asked.knowledge, limits)


def _with_reach(
    told: Told, stacks: Sequence[Stack], blank: Blank, promise: Promise, knowledge: Knowledge, limits: Limits
) -> Told:
    """Return what is told with the weights that can be reached, where no stack has a chance of the one promised."""
    if any(choice.chance > HOPELESS for choice in told.layup.choices):
        return told
    reach = extremes(stacks, blank, promise.judged, knowledge, limits)
    return told.model_copy(update={"within_reach": reach})


def _first_cut(contents: Contents) -> list[tuple[Form, Build]]:
    """Return builds with their forms whose widths are surely those of the first cut, if there are any of a form.

    Of a bow whose first noted weighing is that of the finished bow, the widths may be the finished ones too.
    """
    builds = [(form, build) for build in contents.builds.values() if (form := contents.form_of(build))]
    sure = [(form, build) for form, build in builds if _was_weighed_rough(contents, build)]
    known = {form.id for form, _ in sure}
    return [*sure, *((form, build) for form, build in builds if form.id not in known)]


def _was_weighed_rough(contents: Contents, build: Build) -> bool:
    weighed = [event for event in contents.events.get(build.id, ()) if isinstance(event, WeighIn)]
    return not weighed or weighed[0].stage not in FINISHED


def like_build(asked: Asked, form: Form, build: Build, promise: Promise) -> Told:
    """Return how thick the cores of another bow like one of the book must be for a promise, its weighings counted.

    Raises:
        ValueError: the bow has no cores.
    """
    blank = Copied(form, build, asked.change.length_in)
    stack = with_free_cores(asked.change.layers(build.layers))
    limits = _limits(asked, widths_of(form, build))
    bow = Kit(form, build, tuple(asked.contents.events.get(build.id, ())))
    knowledge = with_bow(bow, asked.knowledge)
    layup = choose([stack], blank, promise, knowledge, limits, 1)
    sizes = f"sizes of the blank: {build.id} as first cut"
    told = _told(asked, promise, form, blank.build(build.layers), layup, sizes)
    counts = isinstance(knowledge, LikeBow)
    told = _with_reach(told, [stack], blank, promise, knowledge, limits)
    own = {
        "like": build,
        "from_stock": False,
        "last_read": _last_read(asked.contents, build),
        "its_weighings_count": counts,
    }
    return told.model_copy(update=own)


def _last_read(contents: Contents, build: Build) -> str | None:
    """Return a build's last weighing in words, at its longest draw, if it was weighed."""
    weighed = [event for event in contents.events.get(build.id, ()) if isinstance(event, WeighIn)]
    if not weighed:
        return None
    reading = max(weighed[-1].readings, key=lambda one: one.draw.inch)
    return f"{reading.weight.lbf:g} lb at {reading.draw.inch:g} in ({weighed[-1].stage})"


def equal_weight(asked: Asked, form: Form, build: Build) -> Swapped | Refusal:
    """Return the cores that keep a build's weight when something else is changed.

    Raises:
        ValueError: the bow has no cores.
    """
    limit = asked.contents.shop.strain_limit
    return swap(form, build, asked.change, asked.judged, asked.knowledge, limit)


def _limits(asked: Asked, widths_in: tuple[float, ...]) -> Limits:
    shop = asked.contents.shop
    return Limits(shop.reach_chance, *least_widths(shop, widths_in), shop.strain_limit)


def _told(asked: Asked, promise: Promise, form: Form, build: Build, layup: Layup, sizes: str) -> Told:
    widths = widths_of(form, build)
    return Told(
        form=f"{form.id}/{form.revision}",
        target_lbf=promise.weight_lbf,
        draw=promise.judged.draw,
        tolerance_lbf=promise.tolerance_lbf,
        shots=promise.judged.shots,
        scale=promise.judged.scale,
        length_in=build.length_in.inch,
        widths_in=widths,
        least_widths_in=least_widths(asked.contents.shop, widths),
        reach_wanted=asked.contents.shop.reach_chance,
        basis=f"{basis_in_words(asked.model)}; {sizes}",
        from_stock=bool(asked.contents.stock),
        layup=layup,
    )


def _is_wanted(one: Stock, change: Change) -> bool:
    """Whether stock is of the glass or the wood that was asked for, where one was."""
    if one.part is Part.GLASS and change.glass_in is not None:
        return abs(one.thickness_in.inch - change.glass_in) < SAME_IN
    if one.part is Part.CORE and change.wood is not None:
        return one.material == change.wood
    return True


def _imagined(asked: Asked, form: Form) -> Iterator[Stock]:
    """Yield what is taken as at hand where the book has no stock; its lots are new ones."""
    cores = [("core", wood, GROUND_FROM_IN, GROUND_TO_IN) for wood in _woods(asked, form)]
    glass = [("glass", material, inch, None) for material, inch in _glass(asked, form)]
    for number, (part, material, inch, ground_to) in enumerate([*glass, *cores]):
        yield Stock.model_validate(
            {
                "id": f"STOCK-{number:03d}",
                "part": part,
                "material": material,
                "thickness_in": {"inch": inch, "taken": "planned"},
                "ground_to_in": ground_to,
                "pieces": 2 * MOST_CORES,
            }
        )


def _woods(asked: Asked, form: Form) -> list[str]:
    """Return the wood asked for, or those of the form's cores so far."""
    used = dict.fromkeys(layer.material for layer in _pressed(asked, form) if layer.part is Part.CORE)
    return [asked.change.wood] if asked.change.wood else list(used) or [USUAL_WOOD]


def _glass(asked: Asked, form: Form) -> list[tuple[str, float]]:
    """Return material and thickness of the glass of the form's bows so far, or in the thickness asked for."""
    used = Counter(
        (layer.material, _nominal(layer.butt_in.inch))
        for layer in _pressed(asked, form)
        if layer.part is Part.GLASS
    ) or Counter([(USUAL_GLASS, USUAL_GLASS_IN)])
    if asked.change.glass_in is None:
        return sorted(used)
    ((most_used, _), _), *_ = used.most_common()
    return [(most_used, asked.change.glass_in)]


def _nominal(inch: float) -> float:
    return min(NOMINAL_GLASS_IN, key=lambda sold: abs(sold - inch))


def _pressed(asked: Asked, form: Form) -> list[Layer]:
    """Return the layers of all bows pressed on a form."""
    builds = asked.contents.builds.values()
    return [
        layer for build in builds if build.form == form.id and not build.planned for layer in build.layers
    ]
