"""The law of settling: nothing before the first shot, one at 500, its default in step with what the trade expects."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from datasets.schema import Stage
from predictor.belief.columns import COMMON_PRIORS, EDGES_NOT_NOTED
from predictor.belief.scatter import FINISH_SANDING, SHOOTING_IN
from predictor.belief.settling import FOLLOWED_SHOTS, LawBasis, LawKind, SettlingLaw, settling

LAWS = st.one_of(
    st.builds(SettlingLaw, kind=st.just(LawKind.LOG), parameter=st.floats(1, 200)),
    st.builds(SettlingLaw, kind=st.just(LawKind.POWER), parameter=st.floats(0.05, 1)),
)


@given(LAWS)
def test_from_nothing_to_one(law: SettlingLaw) -> None:
    """Nothing is lost before the first shot, and all that is counted after 500."""
    assert law.share(0) == 0
    assert law.share(500) == pytest.approx(1)


@given(LAWS, st.integers(0, 3000), st.integers(1, 3000))
def test_every_shot_costs_and_none_more_than_the_one_before(law: SettlingLaw, shots: int, more: int) -> None:
    """Loss grows with every shot, and less and less: twice as many further shots bring at most twice as much."""
    first = law.share(shots + more) - law.share(shots)

    assert first > 0
    assert law.share(shots + 2 * more) - law.share(shots) <= 2 * first * (1 + 1e-9)


@pytest.mark.parametrize(
    ("law", "shots", "share"),
    [
        (SettlingLaw(kind=LawKind.POWER, parameter=0.5), 125, 0.5),
        (SettlingLaw(kind=LawKind.LOG, parameter=100), 100, np.log(2) / np.log(6)),
        (SettlingLaw(kind=LawKind.LOG, parameter=1), 499, np.log(500) / np.log(501)),
    ],
)
def test_values(law: SettlingLaw, shots: int, share: float) -> None:
    """The two laws as they are written: shots to a power, and log(1 + shots / parameter), over their value at 500."""
    assert law.share(shots) == pytest.approx(share, rel=1e-12)


def test_what_is_extrapolated_goes_by_the_longest_follow_up() -> None:
    """Where bows of the shop were weighed again, the longest of them is where knowledge ends, above or below 1000."""
    for longest in (300, 2500):
        law = SettlingLaw(histories=3, longest_shots=longest)
        said = law.beyond(longest + 1)

        assert law.beyond(longest) is None
        assert said is not None
        assert f"after more than {longest} shots: what {longest + 1} take is extrapolated" in said
    assert SettlingLaw().beyond(FOLLOWED_SHOTS) is None
    assert "few bows are weighed again beyond 1000 shots" in (SettlingLaw().beyond(FOLLOWED_SHOTS + 1) or "")


def test_shots_that_nobody_counted() -> None:
    """A settled bow is taken as shot in, any other as not shot."""
    assert settling(None, Stage.SETTLED) == 1
    assert settling(None, Stage.FINISHED) == 0
    assert settling(250, Stage.FINISHED) == SettlingLaw().share(250)


def test_a_law_says_where_it_comes_from() -> None:
    """A default is called one, with how many bows came back; a law that was chosen too."""
    chosen = SettlingLaw(kind=LawKind.POWER, parameter=0.5, basis=LawBasis.HELD_OUT, histories=12)

    assert SettlingLaw().in_words() == (
        "settling goes as log(1 + shots / 10) by default, for no bow was weighed again after shooting yet"
    )
    one, some = (SettlingLaw(histories=histories).in_words() for histories in (1, 3))
    assert one.endswith("by default; 1 bow weighed again after shooting does not tell laws apart")
    assert some.endswith("by default; 3 bows weighed again after shooting do not tell laws apart")
    assert chosen.in_words() == (
        "settling goes as shots to the power of 0.5, which fits 12 bows weighed again after shooting best"
    )


def test_default_after_the_edges_is_what_the_trade_expects() -> None:
    """In the median about 1 lb of 50 goes through final sanding and 500 shots once the edges are done and noted.

    Common practice, no source; "about" is taken as a quarter of a pound. The median is held, not some wide interval,
    because the statics count edges that are noted: any further part of them in this default would be counted twice.
    """
    mean = COMMON_PRIORS[FINISH_SANDING].mean + COMMON_PRIORS[SHOOTING_IN].mean

    assert 50 * (1 - np.exp(mean)) == pytest.approx(1, abs=0.25)


def test_default_without_a_note_of_the_edges() -> None:
    """Edges that nobody noted and sanding take 2.5 % together, give or take 1.5 (common practice, no source)."""
    parts = [COMMON_PRIORS[FINISH_SANDING], COMMON_PRIORS[EDGES_NOT_NOTED]]

    assert sum(part.mean for part in parts) == pytest.approx(-0.025)
    assert np.linalg.norm([part.sd for part in parts]) == pytest.approx(0.015)
