"""What to ask about before a removal is kept: cuts so large that a slip is likelier, for nothing can be put back."""

from collections.abc import Iterator, Sequence

import numpy as np

from datasets.contents import Contents
from datasets.history import BowAt, LimbAt, bow_at
from datasets.record import Dimension, NamedPlace, Side
from datasets.removals import Polyline, place_in
from datasets.schema import Build, Cut, Form, Method, Removal
from predictor.belief.weighings import draws_from_back
from predictor.bows.bow import Refusal
from predictor.bows.full_draw import drawn
from predictor.prediction.supposed import Supposed
from predictor.prediction.what_if import WhatIf
from predictor.pressing.blanks import least_widths, widths_of
from reports.printing import Units

MOST_AT_ONCE = 0.10
"""Share of the weight or of a width that comes off at once without a question: common practice, no source."""

MOST_OFF_GLASS = 0.25
"""Share of a face's glass as pressed, off in all, from which is asked: common practice, no source."""


def doubts(contents: Contents, removal: Removal, worth: WhatIf | Refusal, units: Units) -> tuple[str, ...]:
    """Return why to ask before a removal is kept; nothing where it is an ordinary one.

    Args:
        contents: the book, with the removal or before it.
        removal: a record that can be kept.
        worth: what it is worth.
        units: what to tell lengths and weights in.
    """
    build = contents.builds[removal.build]
    form = contents.form_of(build)
    found = [] if isinstance(worth, Refusal) else list(_of_weight(worth, units))
    if form is not None:
        found += _of_limbs(contents, form, build, removal, units)
    return tuple(dict.fromkeys(found))  # what both limbs share is found on each of them


MOST_TRUSTED = 0.25
"""Change of weight, as a share of it, up to which a range to first order in the doubts is told without a remark: our
own judgement, no source."""


def doubts_if(
    contents: Contents, form: Form, now: Supposed, then: Supposed, worth: WhatIf, units: Units
) -> tuple[str, ...]:
    """Return what to be told of a change that is only thought of: what it breaks of the shop's limits, how far it goes.

    Args:
        contents: the book.
        form: that the bow is pressed on.
        now: the bow as it is.
        then: the bow as it is thought of.
        worth: what the change does.
        units: what to tell lengths and weights in.
    """
    found = list(_of_weight(worth, units))
    change = abs(worth.after.lbf / worth.before.lbf - 1)
    if change > MOST_TRUSTED:
        found.append(
            f"The range is not to be trusted: it is calculated for small changes, and this one is {change:.0%} "
            "of the weight"
        )
    so_far = contents.plus(now.build)
    for removal in then.events[len(now.events) :]:
        if isinstance(removal, Removal):
            found += _of_limbs(so_far, form, now.build, removal, units)
            found += _over_glass_limit(so_far, form, removal, units)
            so_far = so_far.plus(removal)
    if then.build != now.build:
        bow = bow_at(form, then.build, then.events)
        least = least_widths(contents.shop, widths_of(form, now.build))
        for limb in (bow.upper, bow.lower):
            found += _too_narrow(limb, least, units)
    found += _over_own_strain(contents, form, then)
    return tuple(dict.fromkeys(found))


def _over_glass_limit(contents: Contents, form: Form, removal: Removal, units: Units) -> Iterator[str]:
    """Yield that more comes off a face's glass, in all, than the shop allows."""
    limit, lam = (
        contents.shop.glass_off_limit_in,
        {Method.BACK_GLASS: 0, Method.BELLY_GLASS: -1}.get(removal.method),
    )
    if limit is None or lam is None:
        return
    build = contents.builds[removal.build]
    after = bow_at(form, build, contents.plus(removal).events[build.id])
    pressed = bow_at(form, build)
    for was, now in ((pressed.upper, after.upper), (pressed.lower, after.lower)):
        face = now.lams[lam]
        off = max(
            float(np.interp(at, was.lams[lam].stations, was.lams[lam].thickness)) - left
            for at, left in zip(face.stations, face.thickness, strict=True)
        )
        if off > limit.inch + 1e-9:
            yield (
                f"wanted at most the shop's {units.thickness(limit.inch)} off one face in all, "
                f"got {units.thickness(off)}; check the amount"
            )


def _over_own_strain(contents: Contents, form: Form, then: Supposed) -> Iterator[str]:
    """Yield that a bow drawn so far strains a face past the limit that the shop has set."""
    limit = contents.shop.strain_limit
    if limit is not None:
        (draw_in,) = draws_from_back(form, [then.draw])
        bow = bow_at(form, then.build, then.events)
        places = drawn(bow, then.draw, draw_in, contents.materials, limit)
        if isinstance(places, Refusal):
            yield f"{places.reason}: {places.where}"


def _of_weight(worth: WhatIf, units: Units) -> Iterator[str]:
    change = worth.after.lbf / worth.before.lbf - 1
    if abs(change) > MOST_AT_ONCE:
        was, now = (units.tenths_of_weight(one.lbf) for one in (worth.before, worth.after))
        yield (
            f"wanted at most {MOST_AT_ONCE:.0%} of the weight at once, got {change:+.0%}, "
            f"{was} to {now} {units.weight} at {units.draw(worth.draw_after)}; check the amounts"
        )


def _of_limbs(contents: Contents, form: Form, build: Build, removal: Removal, units: Units) -> Iterator[str]:
    """Yield what is doubtful about the limbs after a removal, beside what they were before it."""
    history = contents.plus(removal).events[build.id]
    place = history.index(removal)
    pressed, before, after = (bow_at(form, build, history[:end]) for end in (0, place, place + 1))
    least = least_widths(contents.shop, widths_of(form, build))
    for side in (Side.UPPER, Side.LOWER):
        if removal.limb not in (side, Side.BOTH):
            continue
        was, now = _limb(before, side), _limb(after, side)
        match removal.method:
            case Method.SIDES:
                yield from _narrowed(removal, was, was.width_belly, now.width_belly, units)
                yield from _too_narrow(now, least, units)
            case Method.TRAP:
                yield from _narrowed(removal, was, was.width_back, now.width_back, units)
            case Method.BACK_GLASS:
                yield from _thinned(removal, _limb(pressed, side), now, 0, units)
            case Method.BELLY_GLASS:
                yield from _thinned(removal, _limb(pressed, side), now, -1, units)


def _limb(bow: BowAt, side: Side) -> LimbAt:
    return bow.upper if side is Side.UPPER else bow.lower


def _narrowed(
    removal: Removal, limb: LimbAt, before: Polyline, after: Polyline, units: Units
) -> Iterator[str]:
    for cut in _cuts(removal):
        at = place_in(cut.at, limb.length)
        was, now = float(np.interp(at, *before)), float(np.interp(at, *after))
        if was - now > MOST_AT_ONCE * was:
            yield (
                f"wanted at most {MOST_AT_ONCE:.0%} of the width at once, got {units.length(was - now)} "
                f"of {units.length(was)} at {_place(cut, units)}; check the amount"
            )


def _too_narrow(limb: LimbAt, least: Sequence[float], units: Units) -> Iterator[str]:
    for name, at, wanted in zip(("fade", "nock"), (0.0, limb.length), least, strict=True):
        now = float(np.interp(at, *limb.width_belly))
        if now < wanted - 1e-9:
            yield (
                f"wanted the least width at the {name}, {units.length(wanted)}, kept, got {units.length(now)} left; "
                f"check the amount, or the shop's: drawweight shop least_width_{name}_in=..."
            )


def _thinned(removal: Removal, pressed: LimbAt, now: LimbAt, lam: int, units: Units) -> Iterator[str]:
    for cut in _cuts(removal):
        at = place_in(cut.at, now.length)
        was, left = (
            float(np.interp(at, limb.lams[lam].stations, limb.lams[lam].thickness)) for limb in (pressed, now)
        )
        if was - left > MOST_OFF_GLASS * was:
            yield (
                f"wanted at most a quarter of the glass off in all, got {units.thickness(was - left)} "
                f"of {units.thickness(was)} at {_place(cut, units)}; check the amount"
            )


def _cuts(removal: Removal) -> Sequence[Cut]:
    return removal.done or removal.planned


def _place(cut: Cut, units: Units) -> str:
    place: Dimension | NamedPlace = cut.at
    return f"{units.length(place.inch)} from the fade" if isinstance(place, Dimension) else f"the {place}"
