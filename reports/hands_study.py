"""A study of hands and scales: how well weighings of the same bows repeat and reproduce."""

from collections.abc import Sequence

from pydantic import Field

from datasets.record import Record
from reports.blocks import Block, Paragraph, grid
from reports.numbers import fixed
from reports.printing import Units
from training.studies.gauge_study import Variation, by_analysis, by_ranges
from training.studies.weighed_again import Occasion, largest_study

FEWEST_CATEGORIES = 5
"""Classes of bows that a good measuring system tells apart: AIAG, Measurement Systems Analysis (2010), from memory."""


class StudyFigures(Record):
    """Standard deviations of a repeatability and reproducibility study."""

    repeatability_lbf: float = Field(description="one hand on one scale")
    reproducibility_lbf: float = Field(description="from one hand or scale to another")
    gauge_lbf: float = Field(description="both together")
    bows_lbf: float = Field(description="from bow to bow")
    gauge_percent: float = Field(description="of the total variation")
    categories: int | None = Field(
        description="classes of bows told apart; nothing where nothing ever differed"
    )


class HandMean(Record):
    """Mean of all readings of one hand on one scale in a study."""

    appraiser: str
    mean_lbf: float


class StudyReport(Record):
    """A balanced study: the same bows, hands and number of trials throughout."""

    bows: tuple[str, ...]
    trials: int
    means: tuple[HandMean, ...]
    by_ranges: StudyFigures
    by_analysis: StudyFigures
    interaction_p: float | None = Field(description="probability of so large an interaction if there is none")
    pooled: bool = Field(description="whether the interaction was counted as error")


def study_report(weighed_again: Sequence[Occasion]) -> StudyReport | None:
    """Return the largest balanced study among weighings of bows as they stood, or nothing where there is none."""
    study = largest_study(weighed_again)
    if study is None:
        return None
    analysis = by_analysis(study.read_lbf)
    means = study.read_lbf.mean(axis=(0, 2)).tolist()
    return StudyReport(
        bows=study.builds,
        trials=study.read_lbf.shape[2],
        means=tuple(
            HandMean(appraiser=str(appraiser), mean_lbf=mean)
            for appraiser, mean in zip(study.appraisers, means, strict=True)
        ),
        by_ranges=_figures(by_ranges(study.read_lbf)),
        by_analysis=_figures(analysis.variation),
        interaction_p=analysis.interaction_p,
        pooled=analysis.pooled,
    )


def _figures(found: Variation) -> StudyFigures:
    return StudyFigures(
        repeatability_lbf=found.repeatability,
        reproducibility_lbf=found.reproducibility,
        gauge_lbf=found.gauge,
        bows_lbf=found.part,
        gauge_percent=100 * found.gauge / found.total if found.total else 0.0,
        categories=found.categories,
    )


def tell_study(study: StudyReport | None, units: Units) -> list[Block]:
    """Tell a study or, where there is none, how to make one."""
    if study is None:
        return [
            Paragraph(
                "For a study of hands and scales two hands, or one on two scales, each weigh the same two bows or more "
                "twice, with nothing done to the bows between; ten bows and three weighings are usual."
            )
        ]
    ways = (("average and range", study.by_ranges), ("analysis of variance", study.by_analysis))
    rows = [
        [
            way,
            *(
                fixed(units.of_weight(value), 2)
                for value in (one.repeatability_lbf, one.reproducibility_lbf, one.gauge_lbf, one.bows_lbf)
            ),
            f"{one.gauge_percent:.0f}%",
            "-" if one.categories is None else str(one.categories),
        ]
        for way, one in ways
    ]
    heads = ["by", "repeat", "reproduce", "weighing", "bows", "weighing/total", "classes"]
    means = [[one.appraiser, fixed(units.of_weight(one.mean_lbf), 2)] for one in study.means]
    return [
        grid(f"Study: standard deviations, {units.weight}", heads, rows),
        Paragraph(_read_study(study)),
        grid("Who read how high in it", ["hand and scale", f"mean, {units.weight}"], means),
    ]


def _read_study(study: StudyReport) -> str:
    interaction = (
        "The interaction of hands and bows shows no sign of being real and counts as error."
        if study.pooled
        else "Hands differ more on some bows than on others, and that counts as reproducibility."
    )
    differ = (
        " The two ways disagree on the number of classes, as they may: ranges use less of the readings."
        if study.by_ranges.categories != study.by_analysis.categories
        else ""
    )
    return (
        f"{len(study.bows)} bows, {len(study.means)} hands on scales, {study.trials} weighings each. "
        f"{interaction}{differ} "
        f"{FEWEST_CATEGORIES} classes or more are usually wanted; with few bows or alike ones the number says little."
    )
