"""What a shop could do next: what it has, and nothing that it has not."""

from typing import Any

from datasets.contents import Contents
from datasets.schema import KINDS
from predictor.belief.habits import USUAL
from predictor.belief.model import prior_belief
from predictor.prediction.lessons import after_each, doubt, half_widths
from tests import shop
from tests.reports.fitted import sources
from training.studies.candidates import candidates, usual_bows

LAYERS = [
    {"part": "glass", "material": "limb glass", "lot": "g1", "butt_in": ".050"},
    {"part": "core", "material": "hard maple", "lot": "m1", "butt_in": ".240"},
    {"part": "glass", "material": "limb glass", "lot": "g1", "butt_in": ".050"},
]


def book(**changes: Any) -> Contents:
    """Return a book of one bow that was never weighed."""
    typed = [shop.form(), shop.build(id="K-001", layers=LAYERS, **changes)]
    return Contents.of(KINDS[kind].model_validate(data) for kind, data in typed)


def names(contents: Contents) -> list[str]:
    """Return what could be done next, before any build was weighed."""
    return [lesson.name for lesson in candidates(contents, None, usual_bows(contents, None, USUAL), USUAL)]


def test_unweighed_bow_can_be_weighed_and_its_lots_bent() -> None:
    """A bow that was built but not weighed can be, and a strip of each of its lots can be bent."""
    assert names(book()) == [
        "weigh K-001",
        "bend a strip of hard maple, m1",
        "bend a strip of limb glass, g1",
    ]


def test_planned_bow_cannot_be_weighed() -> None:
    """A bow that is only planned tells what the shop makes, but cannot be weighed yet."""
    assert names(book(planned=True)) == ["bend a strip of hard maple, m1", "bend a strip of limb glass, g1"]


def test_bow_that_may_not_teach_is_no_lesson() -> None:
    """A bow that may not teach is neither weighed for learning nor one that the shop usually makes."""
    assert names(book(teaches=False, why_not="twisted in the press")) == []


def test_empty_book() -> None:
    """Without any bow nothing can be done next."""
    assert names(Contents()) == []


def test_every_wood_on_every_form_once() -> None:
    """Of a shop that has built, each of its woods on each of its forms is one build to think of."""
    known = sources(8)
    assert known.left_out_at_once is not None
    assert known.trained is not None
    habits = known.trained.evidence.habits
    bows = usual_bows(known.contents, known.left_out_at_once, habits)
    found = [lesson.name for lesson in candidates(known.contents, known.left_out_at_once, bows, habits)]
    built = [name for name in found if name.startswith("build one of ")]
    woods = {one.main_wood for one in known.left_out_at_once.builds}
    forms = {one.form for one in known.left_out_at_once.builds}

    assert len(set(found)) == len(found)
    assert sorted(built) == sorted(f"build one of {wood} on {form}" for wood in woods for form in forms)


def test_what_is_measured_now_helps_its_own_bow_most() -> None:
    """Before any training a weighing of a like bow, or a strip of its lot, narrows what is said of it."""
    contents = book()
    bows = usual_bows(contents, None, USUAL)
    lessons = candidates(contents, None, bows, USUAL)
    left = doubt(prior_belief(), bows, lessons)

    assert (after_each(left, bows, lessons) < half_widths(left, bows)).all()
