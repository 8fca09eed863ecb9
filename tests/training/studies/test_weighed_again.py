"""Bows weighed again as they stood: what counts as the same state, and the study that a book holds."""

from typing import Any

import numpy as np
import pytest

from datasets.contents import Contents
from datasets.schema import KINDS
from tests import shop
from training.studies.weighed_again import Appraiser, largest_study, occasions, repeats

REBRACED = shop.Typed("rigging", {"id": "K-001/2", "build": "K-001", "on": "2026-03-05", "brace": "7"})
ANN, BEN = Appraiser("Ann", "hook"), Appraiser("Ben", "hook")


def weighed(number: int, lbf: float, build: str = "K-001", draw: str = "28", **changes: Any) -> shop.Typed:
    """Return a weighing at one draw."""
    readings = [{"draw": draw, "weight": lbf}]
    return shop.weigh_in(
        id=f"{build}/{number}", build=build, readings=readings, **{"scale": "hook"} | changes
    )


def book(*events: shop.Typed, builds: tuple[str, ...] = ("K-001",)) -> Contents:
    """Return the book of some builds and events."""
    typed = [shop.form(), *(shop.build(id=build) for build in builds), *events]
    return Contents.of(KINDS[kind].model_validate(data) for kind, data in typed)


def test_weighings_of_a_bow_as_it_stood_belong_together() -> None:
    """Two hands that weigh one bow as it stands make one occasion, with each one's readings in order."""
    (found,) = occasions(
        book(weighed(1, 50, by="Ann"), weighed(2, 50.5, by="Ben"), weighed(3, 50.25, by="Ann"))
    )

    assert found.build == "K-001"
    assert found.draw_in == pytest.approx(28)
    assert found.read_lbf == {ANN: (50, 50.25), BEN: (50.5,)}
    assert repeats([found]) == [(50, 50.25)]


@pytest.mark.parametrize(
    "between",
    [
        [shop.removal(id="K-001/2", on="2026-03-05"), weighed(3, 49)],
        [REBRACED, weighed(3, 49)],
        [weighed(3, 49, stage="finished")],
        [weighed(3, 49, shots=200)],
        [weighed(3, 49, draw="26")],
    ],
    ids=["removal", "string", "stage", "shots", "draw"],
)
def test_a_changed_bow_is_another(between: list[shop.Typed]) -> None:
    """A removal, another brace height, another stage, more shots or another draw end an occasion."""
    assert occasions(book(weighed(1, 50), *between)) == ()


def test_draws_are_compared_as_the_standard_counts() -> None:
    """Draws from two zero points that mean the same reach of the string are the same draw."""
    (found,) = occasions(book(weighed(1, 50), weighed(2, 51, draw="26 1/4 pivot", by="Ben")))

    assert found.draw_in == pytest.approx(28)


def study_book(trials: int, ben_trials: int) -> Contents:
    """Return two bows, each weighed so often by Ann and by Ben, and a third by Ann alone."""
    events = []
    for place, build in enumerate(("K-001", "K-002", "K-003")):
        hands = ["Ann"] * trials + ["Ben"] * (ben_trials if build != "K-003" else 0)
        events += [weighed(n, 50 + place + 0.1 * n, build, by=hand) for n, hand in enumerate(hands, 1)]
    return book(*events, builds=("K-001", "K-002", "K-003"))


def test_largest_study_is_balanced() -> None:
    """Bows that every hand weighed twice at least count, with as many trials as all have, in the order taken."""
    found = largest_study(occasions(study_book(3, 2)))

    assert found is not None
    assert (found.builds, found.appraisers) == (("K-001", "K-002"), (ANN, BEN))
    expected = [[[50.1, 50.2], [50.4, 50.5]], [[51.1, 51.2], [51.4, 51.5]]]
    assert np.array(expected) == pytest.approx(found.read_lbf)


@pytest.mark.parametrize(("trials", "ben_trials"), [(3, 1), (1, 1), (3, 0), (0, 0)])
def test_no_study_without_two_hands_that_repeat(trials: int, ben_trials: int) -> None:
    """Where fewer than two hands weighed two bows twice, there is no study."""
    assert largest_study(occasions(study_book(trials, ben_trials))) is None
