"""Whether intervals have held for builds that the fit had not seen, and what follows for the next one.

A build's score is how far its reading fell from what the other builds said of it, in predictive standard deviations:
where a prediction is no plain normal, the standard normal value at the same probability. The unit is the build: however
often one was weighed, it has one score.

If the next build is like the others, its score is as likely to be of any rank as theirs. So the k-th smallest of n
absolute scores, k = ceil((n + 1) level), reaches far enough with probability k / (n + 1), whatever the distribution
(Vovk, Gammerman and Shafer, Algorithmic Learning in a Random World, 2005; Lei and others, Journal of the American
Statistical Association 113, 2018, 1094-1111, both from memory). Below some n there is no such k. Scores from leaving
out one build each, as here, come close to that promise rather than keeping it exactly (Barber and others, Annals of
Statistics 49, 2021, 486-507, from memory).
"""

from collections.abc import Sequence
from fractions import Fraction
from math import ceil, floor, sqrt
from statistics import NormalDist

from pydantic import Field
from scipy.special import betaincinv

from datasets.record import Record

BELIEVED_AS_BUILDS = 20
"""The model's own width counts as much as so many builds when scores are asked how wide intervals ought to be."""

FARTHEST_SCORE = 4.0
"""A score beyond this counts as this: it tells of a mistake rather than of the width."""

LUCK = 0.9
"""Probability with which luck alone leaves a check's ratio in the range that is told with it."""

HARDLY_ANY = 0.1
"""A ratio below this is told as such: the builds read nearly what was foretold, and ranks then tell of no width."""

LEVEL_STEP = 0.05
"""The highest level that some builds allow is told in such steps."""


def rank(builds: int, level: float) -> int | None:
    """Return which of the absolute scores, in ascending order and counted from 1, reaches far enough.

    Args:
        builds: how many scores there are.
        level: coverage wanted, taken as the decimal fraction that it is written as.

    Returns:
        The rank ceil((builds + 1) level), or None where there are too few builds for the level.
    """
    wanted = ceil((builds + 1) * Fraction(repr(level)))
    return wanted if wanted <= builds else None


def builds_needed(level: float) -> int:
    """Return the smallest number of builds that a level can be checked with."""
    exact = Fraction(repr(level))
    return ceil(exact / (1 - exact))


def highest_level(builds: int) -> float:
    """Return the highest level that so many builds can check, rounded down to a multiple of `LEVEL_STEP`."""
    step = Fraction(repr(LEVEL_STEP))
    return float(floor(Fraction(builds, builds + 1) / step) * step)


def checked_reach(scores: Sequence[float], level: float) -> float | None:
    """Return how many predictive standard deviations to either side held for enough of the scores.

    Returns:
        The absolute score of the rank, or None where there are too few.
    """
    place = rank(len(scores), level)
    return None if place is None else sorted(abs(score) for score in scores)[place - 1]


def luck_of_ratio(builds: int, level: float) -> tuple[float, float] | None:
    """Return between which ratios of a reach checked by rank to the right one luck alone leaves it, at `LUCK`.

    If intervals are right, the shares of probability inside the scores are uniform, and the k-th smallest of n follows
    Beta(k, n + 1 - k) exactly (order statistics of uniforms; Vovk 2012 for the coverage of such an interval, from
    memory). The reach is the standard normal's at that share.

    Args:
        builds: how many scores there are.
        level: coverage wanted.

    Returns:
        The lower and the higher end, or None where there are too few builds for the level.
    """
    place = rank(builds, level)
    if place is None:
        return None
    right = NormalDist().inv_cdf((1 + level) / 2)
    low, high = (
        NormalDist().inv_cdf((1 + float(betaincinv(place, builds + 1 - place, (1 + side * LUCK) / 2))) / 2)
        for side in (-1, 1)
    )
    return low / right, high / right


def stretch(scores: Sequence[float]) -> float:
    """Return the factor on the predictive standard deviation that the scores ask for, drawn towards one, never below.

    The root mean square of the scores, with `BELIEVED_AS_BUILDS` scores of size one added: the estimate of a scale
    with a scaled inverse chi-squared prior about one (Gelman and others, Bayesian Data Analysis, section 2.6, from
    memory). Without scores it is one. Intervals are not pressed below the model's own: most left-out readings are of
    bows on the bench, and say little of finish sanding and shooting in, whose doubt would shrink with the rest.
    """
    squares = sum(min(abs(score), FARTHEST_SCORE) ** 2 for score in scores)
    return max(1.0, sqrt((BELIEVED_AS_BUILDS + squares) / (BELIEVED_AS_BUILDS + len(scores))))


class BuildScore(Record):
    """How one build fared when it was left out."""

    build: str
    form: str = Field(description="form and revision")
    score: float = Field(description="from the other builds")
    as_new_lots: float | None = Field(
        None, description="from the builds of other lots; only for the first build of its lots"
    )


class Calibration(Record):
    """The scores of a model's builds. A build that looks like a mistake has none."""

    builds: tuple[BuildScore, ...] = ()

    def scores(self, *, new_lots: bool = False, form: str | None = None) -> tuple[float, ...]:
        """Return the scores that tell of a planned bow.

        Args:
            new_lots: whether it has a lot that no build had: then scores with the lots left out too.
            form: only builds on this form and revision; None takes all.
        """
        alike = [build for build in self.builds if form in (None, build.form)]
        if new_lots:
            return tuple(build.as_new_lots for build in alike if build.as_new_lots is not None)
        return tuple(build.score for build in alike)

    def wider(self, *, new_lots: bool = False) -> float:
        """Return the factor on the predictive standard deviation of a planned bow.

        A bow of a new lot is given no narrower an interval than any other, and a wider one where the builds foretold
        without their lots ask for it: they are fewer, and so shrunk further towards one.

        Args:
            new_lots: whether it has a lot that no build had.
        """
        asked = stretch(self.scores())
        return max(asked, stretch(self.scores(new_lots=True))) if new_lots else asked


class Check(Record):
    """What left-out builds say of an interval of one level."""

    level: float = Field(gt=0, lt=1)
    form: str | None = Field(description="the builds are those on this form only; nothing: on all")
    as_new_lots: bool = Field(description="whether all builds of a build's lots were left out with it")
    builds: int = Field(ge=0, description="how many were left out, one after another")
    held: int = Field(ge=0, description="of how many the reading lay in the interval as it is given here")
    ratio: float | None = Field(
        description="width that these builds bear out by their ranks, over the width given; "
        "nothing where they are too few"
    )
    luck_low: float | None = Field(
        description=f"luck alone leaves the ratio between this and `luck_high` {LUCK:.0%} of the time, if the width "
        "given is right; nothing where they are too few"
    )
    luck_high: float | None
    builds_needed: int = Field(description="for a check at this level")
    highest_level: float = Field(description="that so many builds can check")


def check(
    calibration: Calibration, level: float, form: str | None = None, *, new_lots: bool = False
) -> Check:
    """Return how the interval of a level, as it is given, compares with what left-out builds bear out.

    Args:
        calibration: of the model.
        level: coverage that the interval promises.
        form: of the planned bow, with its revision: its own builds are asked where they are enough for the level.
        new_lots: whether the planned bow has a lot that no build had.
    """
    own = calibration.scores(new_lots=new_lots, form=form)
    by_form = form is not None and rank(len(own), level) is not None
    scores = own if by_form else calibration.scores(new_lots=new_lots)
    given = calibration.wider(new_lots=new_lots) * NormalDist().inv_cdf((1 + level) / 2)
    reach = checked_reach(scores, level)
    luck_low, luck_high = luck_of_ratio(len(scores), level) or (None, None)
    return Check(
        level=level,
        form=form if by_form else None,
        as_new_lots=new_lots,
        builds=len(scores),
        held=sum(abs(score) <= given for score in scores),
        ratio=None if reach is None else reach / given,
        luck_low=luck_low,
        luck_high=luck_high,
        builds_needed=builds_needed(level),
        highest_level=highest_level(len(scores)),
    )


def widened_in_words(wider: float) -> str:
    """Return how wide intervals are given, against those that follow from the doubts alone, with the reason.

    Args:
        wider: factor by which intervals are stretched, never below one.
    """
    if round(100 * wider) <= 100:
        return "as wide as calculated"
    return f"{wider - 1:.0%} wider than calculated, for past builds strayed further than that"


def in_words(checked: Check, wider: float) -> str:
    """Return in one sentence where the widths of intervals come from.

    Args:
        checked: the check of one level.
        wider: factor by which intervals are stretched.
    """
    if not checked.builds:
        return "as wide as calculated; no past build has put them to the test yet"
    where = "" if checked.form is None else f" on {checked.form}"
    without = "the builds of its lots" if checked.as_new_lots else "its own weighings"
    builds = "1 build" if checked.builds == 1 else f"{checked.builds} builds"
    each = "" if checked.builds == 1 else "each "
    test = f"{widened_in_words(wider)}; the test: {builds}{where}, {each}foretold without {without}"
    if checked.ratio is None or checked.luck_low is None or checked.luck_high is None:
        return (
            f"{test}. That is too few to test {checked.level:.0%}: {checked.builds_needed} are needed, and "
            f"{checked.highest_level:.0%} is the most that can be tested so far"
        )
    luck = f"luck alone brings {checked.luck_low:.2f} to {checked.luck_high:.2f} with so many, {LUCK:.0%} of the time"
    if checked.ratio > checked.luck_high:
        verdict = f"more than luck: {luck}, so trust the range less"
    elif checked.ratio < checked.luck_low:
        verdict = f"less than luck: {luck}; but no range is given narrower than calculated"
    else:
        verdict = f"{luck}, so that is not followed"
    return (
        f"{test}. {checked.held} of them lay inside their {checked.level:.0%} range; by this test alone it would be "
        f"given {ratio_in_words(checked.ratio)} ({verdict})"
    )


def ratio_in_words(ratio: float) -> str:
    """Return a check's ratio in words."""
    return "under a tenth as wide" if ratio < HARDLY_ANY else f"{ratio:.2f} times as wide"
