"""Why a build may have fallen far from what the others said of it: what its records have that theirs have not."""

from collections.abc import Iterator, Sequence
from statistics import NormalDist, fmean

from training.checking.left_out_builds import DIMENSIONS, LeftOutBuild

MAY_BE_A_MISTAKE = 0.1
"""Probability of a mistake from which it is told as a reason."""

OFF_TOGETHER = 0.8
"""Mean score of a lot's other builds, in the same direction, from which the lot is told as a reason."""

ORDINARY = 2.0
"""Scores below this need no reason: one in twenty lies beyond."""


def most_surprising(builds: Sequence[LeftOutBuild], most: int) -> list[LeftOutBuild]:
    """Return the builds farthest from what the others said of them, the farthest first."""
    return sorted(builds, key=lambda build: -abs(build.score))[:most]


def reasons(build: LeftOutBuild, builds: Sequence[LeftOutBuild]) -> list[str]:
    """Return why a build may be off, the likeliest first; luck where nothing speaks for anything else.

    Args:
        build: one of the builds.
        builds: all of them.
    """
    others = [other for other in builds if other.build != build.build]
    found = [*_mistake(build)]
    if abs(build.score) >= ORDINARY:
        found += [*_lots(build, others), *_only_one(build, others), *_far_out(build, others)]
    return found or [_luck(build, len(builds))]


def _mistake(build: LeftOutBuild) -> Iterator[str]:
    if build.looks_wrong:
        yield f"looks like a mistake of the pencil in {build.mistake_in} ({build.mistake:.0%})"
    elif build.mistake >= MAY_BE_A_MISTAKE:
        yield f"may be a mistake of the pencil in {build.mistake_in} ({build.mistake:.0%})"


def _lots(build: LeftOutBuild, others: Sequence[LeftOutBuild]) -> Iterator[str]:
    for lot in build.lots:
        sharing = [other.score for other in others if lot in other.lots]
        if not sharing:
            yield f"the only bow of {lot}"
        elif len(sharing) > 1 and fmean(sharing) * build.score > OFF_TOGETHER * abs(build.score):
            yield f"{len(sharing)} others of {lot} are off the same way, by {fmean(sharing):+.1f} sd on average"


def _only_one(build: LeftOutBuild, others: Sequence[LeftOutBuild]) -> Iterator[str]:
    for what, mine, theirs in (
        ("on", build.form, {other.form for other in others}),
        ("of mostly", build.main_wood, {other.main_wood for other in others}),
        ("weighed on", build.scale, {other.scale for other in others}),
    ):
        if mine not in theirs:
            yield f"the only bow {what} {mine or 'no wood'}"


def _far_out(build: LeftOutBuild, others: Sequence[LeftOutBuild]) -> Iterator[str]:
    for name in DIMENSIONS:
        mine, theirs = getattr(build, name), [getattr(other, name) for other in others]
        if theirs and not min(theirs) <= mine <= max(theirs):
            named = name.removesuffix("_in")
            yield f"its {named} of {mine:.3g} in is beyond all others' ({min(theirs):.3g} to {max(theirs):.3g})"


def _luck(build: LeftOutBuild, builds: int) -> str:
    chance = 2 * NormalDist().cdf(-abs(build.score))
    expected = builds * chance
    if expected >= 1:
        return f"as usual: of {builds} builds {expected:.0f} lie as far out by luck"
    if abs(build.score) < ORDINARY:
        return f"as usual: {chance:.0%} of builds lie as far out by luck"
    return f"nothing in its records; by luck one build in {1 / chance:.0f} lies as far out"
