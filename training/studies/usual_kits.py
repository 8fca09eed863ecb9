"""How a shop's usual kits would end if the removal plan were followed, by the plan's own outlook.

For each form the kit is taken whose first draw lay above its last weighing by the middle of what is usual there. It
stands as it was first drawn and is to weigh what it came to, on the scale that it was last weighed on. As the next bow
of its kind it is a bow that the model has not seen, of lots that it has.
"""

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtr, ndtri

from datasets.contents import Contents
from datasets.history import events_until
from datasets.record import DrawLength, ZeroPoint
from datasets.schema import Event, WeighIn
from predictor.belief.columns import FINISHED
from predictor.belief.model import Model
from predictor.belief.settling import FULL_SETTLING_SHOTS
from predictor.bows.bow import Refusal
from predictor.planning.kit_state import Kit, KitState, kit_state
from predictor.planning.knowledge import Knowledge
from predictor.planning.passes import outlook
from predictor.planning.promise import Judged, Promise
from predictor.planning.stakes import Stakes
from training.checking.left_out_builds import LeftOutBuild
from training.studies.first_draws import FirstDraws

NEXT = "ZZZ-000"
"""Id of a kit that stands for the next one of its form."""

TOLERANCES_LBF = (1.0, 2.0, 3.0, 5.0)
"""At which the outlook is taken; it is read off between them."""


@dataclass(frozen=True)
class UsualKit:
    """A kit that stands for a form.

    Attributes:
        form: form and revision.
        like: the build that it is like.
        promise: what it is to weigh; its tolerance is the shop's.
        state: after its first draw.
    """

    form: str
    like: str
    promise: Promise
    state: KitState


def usual_kits(
    contents: Contents, model: Model, builds: Sequence[LeftOutBuild], drawn: FirstDraws
) -> Iterator[UsualKit]:
    """Yield the usual kit of each form; none for a form without a finished bow that was weighed before any cut.

    Args:
        contents: of the book.
        model: what the builds have taught.
        builds: sound ones, with their last weighings.
        drawn: their first draws.
    """
    first = dict(zip(drawn.builds, drawn.read_lbf.tolist(), strict=True))
    by_form: dict[str, list[LeftOutBuild]] = defaultdict(list)
    for build in builds:
        if build.stage in FINISHED and build.build in first:
            by_form[build.form].append(build)
    for form, some in by_form.items():
        in_order = sorted(some, key=lambda build: (first[build.build] / build.read_lbf, build.build))
        middle = in_order[(len(in_order) - 1) // 2]
        promise = _promise(contents, middle)
        state = _state(contents, model, middle, promise)
        if not isinstance(state, Refusal):
            yield UsualKit(form, middle.build, promise, state)


def _promise(contents: Contents, build: LeftOutBuild) -> Promise:
    last = contents.event(build.weigh_in)
    scale = last.scale if isinstance(last, WeighIn) else None
    draw = DrawLength(inch=build.draw_in, zero=ZeroPoint.STANDARD)
    return Promise(build.read_lbf, contents.shop.tolerance_lbf, Judged(draw, FULL_SETTLING_SHOTS, scale))


def _state(contents: Contents, model: Model, like: LeftOutBuild, promise: Promise) -> KitState | Refusal:
    build = contents.builds[like.build]
    form = contents.form_of(build)
    if form is None:
        return Refusal(reason="its form is not in the book", where=build.id)
    layered = {layer.material for layer in build.layers}
    strips = tuple(strip for strip in contents.strips.values() if strip.material in layered)
    events = tuple(_as_next(_until_first_weighing(contents.events[build.id])))
    kit = Kit(form, build.model_copy(update={"id": NEXT}), events)
    return kit_state(kit, promise, Knowledge(contents.materials, model, strips))


def _until_first_weighing(events: Sequence[Event]) -> tuple[Event, ...]:
    return events_until(events, next(event for event in events if isinstance(event, WeighIn)))


def _as_next(events: Sequence[Event]) -> Iterator[Event]:
    for number, event in enumerate(events, 1):
        yield event.model_copy(update={"build": NEXT, "id": f"{NEXT}/{number}"})


def kept_with_plan(kit: UsualKit, stakes: Stakes, enough: float) -> tuple[tuple[float, float], ...]:
    """Return some tolerances with the share of orders that end within each, the narrowest first.

    The plan is made for each tolerance, within which nothing costs, and followed to its end.

    Args:
        kit: as first drawn.
        stakes: of the shop; their tolerance is put aside.
        enough: share from which a wider tolerance is not looked at.
    """
    state = kit.state
    excess = state.settled_lbf - kit.promise.weight_lbf

    def within(tolerance_lbf: float) -> float:
        promised = replace(stakes, tolerance_lbf=tolerance_lbf)
        ahead = outlook(excess, state.can_tell_lbf, promised, state.noise)
        return 1 - ahead.under - ahead.over

    return tuple(kept_at_best(within, enough))


def kept_at_best(within: Callable[[float], float], enough: float) -> Iterator[tuple[float, float]]:
    """Yield tolerances with the share that the best of the plans looked at so far keeps, until enough are kept.

    A plan made for a wider tolerance may stop earlier and keep fewer; the one for a narrower keeps the wider as well.

    Args:
        within: share that ends within a tolerance by the plan made for it.
        enough: share from which a wider tolerance is not looked at.
    """
    share = 0.0
    for tolerance in TOLERANCES_LBF:
        share = max(share, within(tolerance))
        yield tolerance, share
        if share >= enough:
            return


def tolerance_kept(kept: Sequence[tuple[float, float]], share: float) -> float | None:
    """Return the smallest tolerance that a share of orders meets, in pounds either way.

    Nothing where the widest does not reach the share; the narrowest where that does.

    Args:
        kept: tolerances with the share that meets each, the narrowest first.
        share: wanted.
    """
    return _read_off([_normal(one) for _, one in kept], [wide for wide, _ in kept], _normal(share))


def share_kept(kept: Sequence[tuple[float, float]], tolerance_lbf: float) -> float | None:
    """Return the share of orders that meets a tolerance, at least; nothing if it is narrower than those given.

    Args:
        kept: tolerances with the share that meets each, the narrowest first.
        tolerance_lbf: either way.
    """
    if tolerance_lbf < kept[0][0]:
        return None
    found = _read_off([wide for wide, _ in kept], [_normal(share) for _, share in kept], tolerance_lbf)
    return kept[-1][1] if found is None else float(2 * ndtr(found) - 1)


def _normal(share: float) -> float:
    """Return the standard deviations to either side that hold a share of a normal: a straight line in tolerances."""
    return float(ndtri((1 + share) / 2))


def _read_off(x: Sequence[float], y: Sequence[float], at: float) -> float | None:
    """Return the first y at which x reaches a value, on straight lines between points; nothing where it does not."""
    place = next((place for place, one in enumerate(x) if one >= at), None)
    if place is None:
        return None
    if place == 0:
        return y[0]
    return float(np.interp(at, x[place - 1 : place + 1], y[place - 1 : place + 1]))
