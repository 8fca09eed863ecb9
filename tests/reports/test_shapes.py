"""Limb shapes: the string is where it was put, limbs keep their length, and they bend toward the string."""

from typing import Any

import numpy as np
import pytest

from datasets.book import read_record
from datasets.contents import Contents
from datasets.record import DrawLength, ZeroPoint
from datasets.schema import Build, Form
from predictor.bows.bow import Refusal
from predictor.bows.pairs import Outline
from reports.shapes import Line, Shapes, riser, shapes, strung
from tests import shop

FULL = DrawLength(inch=28, zero=ZeroPoint.STANDARD, typed=None)


def bow(**changes: Any) -> tuple[Form, Build, Contents]:
    """Return the form and the build of the test bow, and the book of the form."""
    form = read_record("form", shop.form().data, Contents()).record
    assert form is not None
    contents = Contents.of([form])
    build = read_record("build", shop.build(**changes).data, contents).record
    assert isinstance(build, Build)
    made = contents.form_of(build)
    assert made is not None
    return made, build, contents


def states(**changes: Any) -> tuple[Shapes, ...] | Refusal:
    """Return the shapes of the test bow."""
    form, build, contents = bow(**changes)
    return shapes(form, build, (), FULL, contents.materials)


def length(line: Line) -> float:
    """Return the length of a line of many points."""
    return float(np.hypot(np.diff(line.toward_string), np.diff(line.along)).sum())


def test_limbs_keep_their_length() -> None:
    """Bending is without stretch: every state's limbs are as long as fade to nock, 24 in, to the polygon's error."""
    made = states()
    assert not isinstance(made, Refusal)

    lengths = [length(limb) for state in made for limb in state.limbs]
    assert lengths == pytest.approx([24.0] * 6, rel=2e-3)


def test_the_string_goes_where_it_was_put() -> None:
    """At brace the string's middle is at the brace height from the back, at full draw at the draw (AMO FP-3)."""
    made = states()
    assert not isinstance(made, Refusal)
    unstrung, braced, drawn = made

    assert unstrung.string is None
    assert braced.string is not None
    assert drawn.string is not None
    assert braced.string.toward_string[1] == pytest.approx(7.25 + 2.25)
    assert drawn.string.toward_string[1] == pytest.approx(28 - 1.75 + 2.25)


def test_nocks_come_toward_the_string() -> None:
    """From unstrung to brace to full draw the nocks move toward the string and toward each other."""
    made = states()
    assert not isinstance(made, Refusal)

    for side, sign in ((0, 1), (1, -1)):
        toward = [state.limbs[side].toward_string[0] for state in made]
        along = [sign * state.limbs[side].along[0] for state in made]
        assert toward == sorted(toward)
        assert along == sorted(along, reverse=True)


def test_a_bow_that_cannot_be_drawn_has_no_shapes() -> None:
    """The reason is returned instead."""
    assert isinstance(states(length_in="30"), Refusal)


def test_the_riser_holds_the_limbs() -> None:
    """Every state's limbs end at corners of the riser, and the hand's pivot, 2.25 in from the back, is another."""
    form, build, _ = bow()
    made, shown = states(), riser(form, build, ())
    assert not isinstance(made, Refusal)

    corners = np.stack([shown.toward_string, shown.along], axis=1)
    fades = [(limb.toward_string[-1], limb.along[-1]) for state in made for limb in state.limbs]
    for place in [*fades, (2.25, shown.along[-1])]:
        assert np.hypot(*(corners - place).T).min() < 1e-9


def curled() -> Outline:
    """Return a braced outline whose tips curl toward the back, so that a straight string would pass through them."""
    from_tip = np.linspace(0, 18, 60)
    toward = 7.0 + 1.2 * np.sin(from_tip / 2.2) * np.exp(-from_tip / 8) - (from_tip / 9) ** 2
    upper = np.stack([toward, 26.0 - from_tip])
    lower = upper * np.array([[1.0], [-1.0]])
    return Outline(upper=upper, lower=lower, upper_seat=upper, lower_seat=lower, nocking_point=(7.5, 0.0))


def test_a_string_does_not_pass_through_its_limbs() -> None:
    """The string turns about what of the limb it would cross, so that no place of a limb lies beyond it."""
    state = strung("at brace", curled())
    assert state.string is not None
    assert len(state.string.along) > 3

    upper = state.string.along > 0
    order = np.argsort(state.string.along[upper])
    at = np.interp(
        state.limbs[0].along, state.string.along[upper][order], state.string.toward_string[upper][order]
    )
    assert np.all(state.limbs[0].toward_string <= at + 1e-9)
