"""Which scale reads high, and how well weighings repeat from hand to hand and from scale to scale."""

from collections.abc import Sequence
from itertools import combinations
from math import exp

from pydantic import Field
from scipy.special import ndtr

from datasets.contents import Contents
from datasets.record import Record
from datasets.schema import WeighIn
from predictor.belief.model import prior_belief
from predictor.belief.scale_bias import Biases, by_checks, by_weighings
from reports.blocks import Block, Paragraph, grid, span
from reports.hands_study import StudyReport, study_report, tell_study
from reports.numbers import fixed
from reports.printing import Units
from reports.sources import Basis, Sources, basis_of, tell_basis
from training.studies.gauge_study import pooled
from training.studies.weighed_again import occasions, repeats

USUAL_LBF = 50.0
"""A bias is told for a bow of this weight."""

LEVEL, REACH = 0.9, 1.6449
"""Of the intervals about a bias, and half their width in standard deviations."""


class ScaleBias(Record):
    """How high one scale reads, in per cent of the weight, with one standard deviation."""

    scale: str
    bows: int = Field(description="weighed on it")
    check_weights: int
    by_checks_percent: float | None = Field(description="what its check weights alone say")
    by_checks_sd_percent: float | None
    by_weighings_percent: float = Field(description="what the bows weighed on it say, by the model")
    by_weighings_sd_percent: float
    percent: float = Field(description="both together")
    sd_percent: float


class ScalePair(Record):
    """How much higher one scale reads than another."""

    first: str
    second: str
    percent: float
    sd_percent: float
    probability: float = Field(ge=0, le=1, description="that the first reads higher")


class Repeats(Record):
    """Scatter of readings of one bow as it stood, by one hand on one scale."""

    sd_lbf: float
    low_lbf: float = Field(description="lower end of the 90 % interval")
    high_lbf: float
    freedom: int = Field(description="readings less the sets that they come in")


class ScalesReport(Record):
    """Biases of scales, and the scatter of weighing."""

    basis: Basis
    scales: tuple[ScaleBias, ...]
    pairs: tuple[ScalePair, ...] = Field(description="surest difference first")
    repeats: Repeats | None = Field(description="nothing where nobody weighed a bow twice as it stood")
    occasions: int = Field(description="on which a bow was weighed at least twice as it stood")
    study: StudyReport | None
    verdict: str


def make(sources: Sources, _words: Sequence[str]) -> ScalesReport:
    """Make the report."""
    contents = sources.contents
    bows = _bows_by_scale(contents)
    names = sorted({*contents.scales, *bows})
    before = by_weighings(sources.trained.fit.posterior if sources.trained else prior_belief(), names)
    after = by_weighings(sources.belief, names)
    weighed_again = occasions(contents)
    scatter = pooled(repeats(weighed_again))
    used = [name for name in names if name in bows or contents.scales[name].checks]
    pairs = _pairs(names, used, after)
    return ScalesReport(
        basis=basis_of(sources),
        scales=tuple(
            _bias(contents, name, len(bows.get(name, ())), place, before, after)
            for place, name in enumerate(names)
        ),
        pairs=pairs,
        repeats=None
        if scatter is None
        else Repeats(sd_lbf=scatter.sd, low_lbf=scatter.low, high_lbf=scatter.high, freedom=scatter.freedom),
        occasions=len(weighed_again),
        study=study_report(weighed_again),
        verdict=_verdict(names, after, pairs),
    )


def _bows_by_scale(contents: Contents) -> dict[str, set[str]]:
    """Return the builds that were weighed on each noted scale."""
    found: dict[str, set[str]] = {}
    for build, events in contents.events.items():
        for event in events:
            if isinstance(event, WeighIn) and event.scale is not None:
                found.setdefault(event.scale, set()).add(build)
    return found


def _bias(contents: Contents, name: str, bows: int, place: int, before: Biases, after: Biases) -> ScaleBias:
    record = contents.scales.get(name)
    checked = by_checks(record) if record else None
    return ScaleBias(
        scale=name,
        bows=bows,
        check_weights=len(record.checks) if record else 0,
        by_checks_percent=100 * checked[0] if checked else None,
        by_checks_sd_percent=100 * checked[1] if checked else None,
        by_weighings_percent=100 * float(before.mean[place]),
        by_weighings_sd_percent=100 * float(before.sd[place]),
        percent=100 * float(after.mean[place]),
        sd_percent=100 * float(after.sd[place]),
    )


def _pairs(names: Sequence[str], known: Sequence[str], biases: Biases) -> tuple[ScalePair, ...]:
    """Return every pair of scales that something is known of, the one that reads higher first."""
    found = []
    for places in combinations([names.index(name) for name in known], 2):
        first, second = sorted(places, key=lambda place: -biases.mean[place])
        mean, sd = biases.difference(first, second)
        found.append(
            ScalePair(
                first=names[first],
                second=names[second],
                percent=100 * mean,
                sd_percent=100 * sd,
                probability=float(ndtr(mean / sd)),
            )
        )
    return tuple(sorted(found, key=lambda pair: -pair.probability))


def _verdict(names: Sequence[str], biases: Biases, pairs: Sequence[ScalePair]) -> str:
    """Return which scale reads high, as far as that can be said."""
    if not names:
        return "No scale is in the book: note with each weighing which one it was (drawweight weigh --scale)."
    if len(names) == 1:
        sure = abs(float(biases.mean[0])) > REACH * float(biases.sd[0])
        said = (
            f"reads {'high' if biases.mean[0] > 0 else 'low'}" if sure else "shows no bias that can be told"
        )
        return f"The only scale is {names[0]}; it {said}. A check weight tells in a minute."
    if not pairs or pairs[0].probability < (1 + LEVEL) / 2:
        return "No two scales can be told apart yet; hang the same check weight on each, or one bow."
    surest = pairs[0]
    return (
        f"{surest.first} reads higher than {surest.second} by {surest.percent:.1f}% "
        f"(probability {_percent(surest.probability)})."
    )


def _percent(probability: float) -> str:
    """Return a probability in per cent, never as certain."""
    return f"{min(99.9, 100 * probability):.1f}%" if probability > 0.99 else f"{probability:.0%}"


def tell(report: ScalesReport, units: Units) -> tuple[Block, ...]:
    """Tell the report."""
    told: list[Block] = [*tell_basis(report.basis), Paragraph(report.verdict)]
    if report.scales:
        told += [
            Paragraph(
                "A scale's bias is a factor on what hangs on it. Bows tell it only against one another's scales: what "
                "all scales share is counted with the theory. Check weights tell it by itself, and predictions count "
                "both."
            ),
            _biases(report, units),
        ]
    if report.pairs:
        told.append(_pairs_grid(report, units))
    told += _repeated(report, units)
    told += tell_study(report.study, units)
    return tuple(told)


def _biases(report: ScalesReport, units: Units) -> Block:
    weight = f"{fixed(units.of_weight(USUAL_LBF), 0)} {units.weight}"
    heads = ["scale", "bows", "check weights", "by checks, %", "by bows, %", "both, %", f"reads {weight} as"]
    rows = [
        [
            one.scale,
            str(one.bows),
            str(one.check_weights),
            "-"
            if one.by_checks_percent is None or one.by_checks_sd_percent is None
            else _off(one.by_checks_percent, one.by_checks_sd_percent),
            _off(one.by_weighings_percent, one.by_weighings_sd_percent),
            _off(one.percent, one.sd_percent),
            span(*(_reads(one, side, units) for side in (-1, 1))),
        ]
        for one in report.scales
    ]
    return grid(f"How high each scale reads (± one sd; reads as: {LEVEL:.0%})", heads, rows)


def _off(percent: float, sd_percent: float) -> str:
    return f"{round(percent, 1) + 0.0:+.1f} ± {sd_percent:.1f}"


def _reads(one: ScaleBias, side: int, units: Units) -> str:
    return units.tenths_of_weight(USUAL_LBF * exp((one.percent + side * REACH * one.sd_percent) / 100))


def _pairs_grid(report: ScalesReport, units: Units) -> Block:
    rows = []
    for pair in report.pairs:
        pounds, sd = (USUAL_LBF * value / 100 for value in (pair.percent, pair.sd_percent))
        apart = f"{units.tenths_of_weight(pounds)} ± {units.tenths_of_weight(sd)}"
        rows.append([pair.first, pair.second, apart, _percent(pair.probability)])
    weight = fixed(units.of_weight(USUAL_LBF), 0)
    heads = ["higher", "than", f"by, {units.weight} of {weight}", "probability"]
    return grid("Two scales against each other", heads, rows, texts=2)


def _repeated(report: ScalesReport, units: Units) -> list[Block]:
    if report.repeats is None:
        return [
            Paragraph(
                "Nobody weighed a bow twice by one hand on one scale as it stood, so how well weighing repeats is not "
                "known. Weigh a bow twice and note the hand (drawweight weigh --by) and the scale."
            )
        ]
    one = report.repeats
    low, high, sd = (units.of_weight(value) for value in (one.low_lbf, one.high_lbf, one.sd_lbf))
    return [
        Paragraph(
            f"The same hand on the same scale repeats a reading to {fixed(sd, 2)} {units.weight} (one standard "
            f"deviation; {LEVEL:.0%} interval {span(fixed(low, 2), fixed(high, 2))}; {one.freedom} "
            f"{'repeat' if one.freedom == 1 else 'repeats'} on {report.occasions} occasions)."
        )
    ]
