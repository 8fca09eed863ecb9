"""What to ask about before a removal is kept: cuts so large that a slip is likelier, for nothing can be put back."""

from collections.abc import Iterator, Sequence

import numpy as np

from datasets.contents import Contents
from datasets.history import BowAt, LimbAt, bow_at
from datasets.record import Dimension, NamedPlace, Side
from datasets.removals import Polyline, place_in
from datasets.schema import Build, Cut, Form, Method, Removal
from predictor.blanks import least_widths, widths_of
from predictor.bow import Refusal
from reports.expectation import Worth
from reports.printing import Units

MOST_AT_ONCE = 0.10
"""Share of the weight or of a width that comes off at once without a question: common practice, no source."""

MOST_OFF_GLASS = 0.25
"""Share of a face's glass as pressed, off in all, from which is asked: common practice, no source."""


def doubts(contents: Contents, removal: Removal, worth: Worth | Refusal, units: Units) -> tuple[str, ...]:
    """Return why to ask before a removal is kept; nothing where it is an ordinary one.

    Args:
        contents: the book, with the removal or before it.
        removal: a record that can be kept.
        worth: what it is worth by the statics.
        units: what to tell lengths and weights in.
    """
    build = contents.builds[removal.build]
    form = contents.form_of(build)
    found = [] if isinstance(worth, Refusal) else list(_of_weight(worth, units))
    if form is not None:
        found += _of_limbs(contents, form, build, removal, units)
    return tuple(dict.fromkeys(found))  # what both limbs share is found on each of them


def _of_weight(worth: Worth, units: Units) -> Iterator[str]:
    change = worth.after_lbf / worth.before_lbf - 1
    if abs(change) > MOST_AT_ONCE:
        was, now = (units.tenths_of_weight(lbf) for lbf in (worth.before_lbf, worth.after_lbf))
        yield (
            f"wanted at most {MOST_AT_ONCE:.0%} of the weight at once, got {change:+.0%} by the statics, "
            f"{was} to {now} {units.weight} at {units.draw(worth.draw)}; check the amounts"
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
