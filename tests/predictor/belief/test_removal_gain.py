"""A way of taking stock off has one effect: the share of the statics' loss that the shop gets by it, less one."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from datasets import tolerances
from datasets.materials import handbook
from datasets.removals import AmountKind
from datasets.schema import Event, Removal, Stage
from predictor.belief.carrying_out import Carried, CarryingOut
from predictor.belief.columns import Columns, Moment, Prior, columns
from predictor.belief.habits import Habits
from predictor.belief.scatter import PRIOR_SCATTER
from predictor.bows.features import Case, Features, features
from tests.predictor.example_bows import STRAIGHT, build

MOMENT = Moment("plain-68/1", (28.0,), Stage.TILLERED)
CUTS = {"sides": ".060", "trap": ".100", "edges": "3/32", "belly-glass": ".003", "back-glass": ".003"}
"""Amounts that cost some per cent each."""


def removal(number: int, method: str, amount: str, *, planned: bool = False, **more: Any) -> Removal:
    """Return stock taken off evenly along the limbs."""
    cuts = [{"at": "nock" if method == "shorten" else "fade", "amount_in": amount}]
    return Removal.model_validate(
        {
            "id": f"K-001/{number}",
            "build": "K-001",
            "on": "2026-03-05",
            "method": method,
            "planned" if planned else "done": cuts,
            **more,
        }
    )


def told(*events: Event) -> Columns:
    """Return the columns of the plain bow after some removals."""
    return all_told([events])[0]


def all_told(histories: Sequence[tuple[Event, ...]]) -> list[Columns]:
    """Return the columns of the plain bow after each of some histories."""
    cases = [Case(STRAIGHT, build(edge_radius_in=".04"), events, (30.25 - 1.75,)) for events in histories]
    found = features(cases, handbook())
    assert all(isinstance(one, Features) for one in found)
    return [columns(one, MOMENT, handbook(), PRIOR_SCATTER) for one in found if isinstance(one, Features)]


@pytest.mark.parametrize("planned", [False, True])
def test_the_column_is_the_loss_by_the_statics(planned: bool) -> None:
    """Each method's column is the logarithm of what its removal takes, to a tenth as it is first order."""
    histories = [(removal(1, method, amount, planned=planned),) for method, amount in CUTS.items()]
    before, *after = all_told([(), *histories])
    for method, one in zip(CUTS, after, strict=True):
        loss = float(one.offset[0] - before.offset[0])
        column = float(one.common[f"gain of {method.replace('-', ' ')}"][0])

        assert loss < -0.01
        assert column == pytest.approx(loss, rel=0.1)


def test_one_gain_a_method_with_a_prior_and_no_tolerance() -> None:
    """Two removals by the sides share one gain, about the statics with an sd of a tenth; it is no tolerance."""
    once, twice = all_told(
        [
            (removal(1, "sides", ".030"),),
            (removal(1, "sides", ".030"), removal(2, "sides", ".030", planned=True)),
        ]
    )

    assert twice.priors["gain of sides"] == Prior(0.0, tolerances.GAIN_SD)
    assert twice.common["gain of sides"] == pytest.approx(2 * once.common["gain of sides"], rel=0.05)
    assert not [one for one in twice.tolerances if one.source.startswith("gain")]


def test_a_second_rounding_gains_on_what_it_adds() -> None:
    """Rounding again to a radius that is there already adds nothing to the gain's column."""
    once, again = all_told(
        [
            (removal(1, "edges", "3/32"),),
            (removal(1, "edges", "3/32"), removal(2, "edges", "1/16")),
        ]
    )

    assert again.common["gain of edges"] == pytest.approx(once.common["gain of edges"], rel=1e-6)


def test_shortening_has_no_gain() -> None:
    """A shortened bow gets heavier: nothing of a loss is got."""
    assert not [name for name in told(removal(1, "shorten", "1/2")).common if name.startswith("gain")]


def test_a_plan_counts_with_the_mean_share_of_its_builder() -> None:
    """A removal known by its plan alone brings the column of how its builder carries plans out; a measured one none."""
    planned, measured = all_told(
        [(removal(1, "sides", ".060", planned=True),), (removal(1, "sides", ".060"),)]
    )
    name = "plans of width carried out by anybody"

    assert planned.common[name] == pytest.approx(planned.common["gain of sides"], rel=0.02)
    assert planned.priors[name].mean == 0
    assert name not in measured.common
    (doubt,) = [one for one in planned.tolerances if one.source == "removal carried out, width"]
    assert np.abs(doubt.column) == pytest.approx(tolerances.CARRIED_OUT * np.abs(planned.common[name]))


def test_a_builder_who_is_known_counts_by_their_own_ways() -> None:
    """What was learned of a builder sets the mean share of their plans and its scatter; of a stranger, anybody's."""
    ada = Carried(mean=0.1, mean_sd=0.02, sd=0.06, removals=12)
    habits = Habits(carrying_out=CarryingOut(builders={"Ada": ada}))
    case = Case(STRAIGHT, build(), (removal(1, "sides", ".060", planned=True),), (28.5,))
    (found,) = features([case], handbook())
    assert isinstance(found, Features)
    hers, his = (
        columns(found, replace(MOMENT, builder=name), handbook(), PRIOR_SCATTER, habits)
        for name in ("Ada", "Bo")
    )
    (mine,), (theirs,) = (
        [one.column for one in told.tolerances if one.source == "removal carried out, width"]
        for told in (hers, his)
    )

    assert hers.priors["plans of width carried out by Ada"] == Prior(0.1, 0.02)
    assert "plans of width carried out by anybody" in his.common
    assert mine == pytest.approx(theirs * 0.06 / tolerances.CARRIED_OUT)


def test_glass_is_sanded_as_glass_was() -> None:
    """What was learned of glass taken off sets mean share and scatter of a plan for glass; widths say nothing of it."""
    glass = Carried(mean=-0.2, mean_sd=0.03, sd=0.2, removals=12)
    taught = CarryingOut(anybody=Carried(mean=0.1, removals=40), others={AmountKind.GLASS: glass})
    case = Case(STRAIGHT, build(), (removal(1, "belly-glass", ".010", planned=True),), (28.5,))
    (found,) = features([case], handbook())
    assert isinstance(found, Features)
    before, after = (
        columns(found, MOMENT, handbook(), PRIOR_SCATTER, Habits(carrying_out=habit))
        for habit in (CarryingOut(), taught)
    )
    name = "plans of glass carried out by anybody"
    (plain,), (learned,) = (
        [one.column for one in told.tolerances if one.source == "removal carried out, glass"]
        for told in (before, after)
    )

    assert (before.priors[name].mean, after.priors[name]) == (0, Prior(-0.2, 0.03))
    assert learned == pytest.approx(plain * 0.2 / tolerances.CARRIED_OUT)
