"""Margins to the strain limits: their arithmetic, what is noted, and which bows are refused."""

from typing import Any

import pytest

from datasets.history import bow_at
from datasets.materials import Kind, handbook
from datasets.record import DrawLength, Side, ZeroPoint
from predictor.bows.bent import BentBow, bent_bow
from predictor.bows.bow import Refusal, handbook_moduli
from predictor.bows.full_draw import drawn
from predictor.bows.margins import (
    Strained,
    broken,
    notes_on_margins,
    over_limit,
    strained_places,
    too_far,
    worst,
)
from predictor.prediction.predict import Prediction, predict
from tests.predictor.example_bows import GLASS, STRAIGHT, build, core

DRAWS = tuple(DrawLength(inch=inch, zero=ZeroPoint.BACK) for inch in (26, 28))


def place(
    strain: float, limit: float | None, material: str = "limb glass", kind: Kind = Kind.GLASS
) -> Strained:
    """Return a strained place."""
    return Strained(
        material=material, kind=kind, limb=Side.BOTH, lam=1, face="back", from_fade_in=4.0,
        draw=DRAWS[1], strain=strain, limit=limit, source="invented",
    )  # fmt: skip


def places(**changes: Any) -> tuple[Strained, ...]:
    """Return the strained places of a build with some fields changed."""
    bow = bow_at(STRAIGHT, build(**changes))
    found = bent_bow(bow, handbook_moduli(bow, handbook()), [draw.inch for draw in DRAWS])
    assert isinstance(found, BentBow), found
    return strained_places(found, DRAWS, handbook())


def test_margin_is_limit_over_strain() -> None:
    """A strain of 1 % against a limit of 2.8 % has a margin of 2.8, squeezed as well; without limit it has none."""
    assert place(0.010, 0.028).margin == pytest.approx(2.8)
    assert place(-0.010, 0.028).margin == pytest.approx(2.8)
    assert place(0.010, None).margin is None


def test_the_worst_of_each_material_comes_first() -> None:
    """One place of each material is kept, by its margin over the one wanted of its kind, unknown limits last."""
    glass, thinner, unknown = place(0.01, 0.028), place(0.02, 0.028), place(0.05, None, "yew", Kind.WOOD)
    wood = place(0.007, 0.0079, "hard maple", Kind.WOOD)

    assert worst([unknown, glass, wood, thinner]) == (thinner, wood, unknown)


def test_places_are_the_extremes_of_each_face() -> None:
    """Back and belly of a symmetric stack are strained most at the longest draw, alike in size, one in each sense."""
    found = places(layers=[GLASS, core(".150"), core(".150"), GLASS], widths=_even_widths())
    back = max(found, key=lambda place: place.strain)
    belly = min(found, key=lambda place: place.strain)

    assert (back.lam, back.face) == (1, "back")
    assert (belly.lam, belly.face) == (4, "belly")
    assert back.strain == pytest.approx(-belly.strain, rel=1e-9)
    assert back.draw == belly.draw == DRAWS[1]
    assert back.source == handbook()["limb glass"].source
    assert back.limit == handbook()["limb glass"].tension_limit_strain
    assert belly.limit == handbook()["limb glass"].compression_limit_strain


def _even_widths() -> list[dict[str, str]]:
    return [
        {"at": at, "belly_in": width, "back_in": width} for at, width in (("fade", "1 1/4"), ("nock", "1/2"))
    ]


def test_thin_margins_are_noted() -> None:
    """Glass below a margin of 1.5 is noted with the margin, and above it is not; wood has its own line."""
    assert "a strain margin of 1.40" in notes_on_margins([place(0.02, 0.028)])[0]
    assert notes_on_margins([place(0.018, 0.028)]) == ()
    assert notes_on_margins([place(0.0079, 0.0079, "hard maple", Kind.WOOD)]) == ()
    assert len(notes_on_margins([place(0.0120, 0.0079, "hard maple", Kind.WOOD)])) == 1


def test_unknown_limits_are_noted() -> None:
    """A material without a strain limit is named, for its margin cannot be told."""
    (note,) = notes_on_margins([place(0.009, None, "yew", Kind.WOOD)])

    assert "yew: no strain limit is known" in note


def test_a_stretched_back_that_breaks_is_refused() -> None:
    """Glass stretched past its limit is refused with strain, limit and place; without a limit it is not."""
    refused = broken([place(0.031, 0.028)])

    assert isinstance(refused, Refusal)
    assert "strain 3.10% in its limb glass, which stands 2.80% at best" in refused.reason
    assert refused.where == "4.0 in from the fade, drawn to 28 in"
    assert broken([place(0.027, 0.028), place(-0.031, 0.028), place(0.2, None)]) is None


def test_glass_squeezed_past_its_limit_is_over_it() -> None:
    """Glass is over its limit in compression as in tension; just below it, or where none is known, it is not."""
    over = place(-0.0192, 0.0151)
    refused = too_far([place(0.015, 0.028), over])

    assert over_limit([place(-0.0150, 0.0151), over, place(-0.2, None)]) == (over,)
    assert isinstance(refused, Refusal)
    assert (
        "over the limit in compression: strain 1.92% in its limb glass, which stands 1.51%" in refused.reason
    )
    assert too_far([place(-0.0150, 0.0151), place(-0.2, None)]) is None
    assert notes_on_margins([over]) == ()


def test_squeezed_wood_is_never_over_and_the_note_says_so() -> None:
    """For compression of wood no limit is published: it is only noted, with that."""
    squeezed = place(-0.030, 0.0079, "hard maple", Kind.WOOD)
    (note,) = notes_on_margins([squeezed])

    assert over_limit([squeezed]) == ()
    assert "no limit of wood in compression is published" in note
    assert "published" not in notes_on_margins([place(0.0120, 0.0079, "hard maple", Kind.WOOD)])[0]


def test_a_bow_drawn_past_what_its_glass_stands_in_compression() -> None:
    """A stiff bow drawn to 30 in is predicted as over its limit and refused to be pressed; at 22 in it is neither.

    The limit is that of the material's row, and strain grows with the draw.
    """
    glass = GLASS | {"butt_in": ".060"}
    bow = build(layers=[glass, core(".250"), core(".250"), glass])
    limit = handbook()["limb glass"].compression_limit_strain
    assert limit is not None
    for inch, over in ((22, False), (30, True)):
        draw = DrawLength(inch=inch, zero=ZeroPoint.BACK)
        told = predict(STRAIGHT, bow, (), (draw,), handbook())

        assert isinstance(told, Prediction)
        assert [one.material for one in told.over_limit] == ["limb glass"] * over
        assert all(one.strain < -limit for one in told.over_limit)
        assert isinstance(drawn(bow_at(STRAIGHT, bow), draw, inch, handbook()), Refusal) is over


def test_wood_is_refused_at_twice_its_nominal_limit() -> None:
    """The nominal limit of wood is passed by sound bows, its double by none."""
    assert broken([place(0.015, 0.0079, "hard maple", Kind.WOOD)]) is None
    assert broken([place(0.016, 0.0079, "hard maple", Kind.WOOD)]) is not None


def test_ordinary_bows_hold_and_absurd_ones_break() -> None:
    """A 68 in glass bow and a 70 in hickory bow hold at 28 in; a 48 in glass bow of that stack does not."""
    hickory = [{"part": "core", "material": "shagbark hickory", "butt_in": ".250"}] * 2

    assert broken(places()) is None
    assert broken(places(length_in="70", layers=hickory)) is None
    assert broken(places(length_in="48")) is not None


def test_predictions_tell_strain_and_refuse_what_breaks() -> None:
    """A prediction holds the worst place of each material; a bow that would break has none."""
    sound, absurd = (
        predict(STRAIGHT, build(length_in=length), (), DRAWS, handbook()) for length in ("68", "48")
    )

    assert isinstance(sound, Prediction)
    assert [place.material for place in sound.strain] == ["limb glass", "hard maple"]
    assert isinstance(absurd, Refusal)
    assert "would break" in absurd.reason
