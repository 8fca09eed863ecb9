"""Train: from the book to a model, and to the fit behind it for those who judge it."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from threadpoolctl import threadpool_limits

from datasets.contents import Contents
from predictor.belief.columns import STIFFNESS
from predictor.belief.habits import Habits
from predictor.belief.model import FORMAT, Model, sealed, this_version
from predictor.belief.own_history import Slips
from predictor.belief.scale_bias import with_check_weights
from predictor.belief.weighings import Weighing
from training.engine.hierarchy import Fit, fit
from training.learning.calibrate import calibrate
from training.learning.carried_out import carrying_out, weighed_removals
from training.learning.cuts import usual_cut, with_cuts
from training.learning.evidence import Evidence, evidence, readings
from training.learning.settling_law import choose_law, under_law
from training.learning.teaching import taught

DOUBTFUL = 0.5
"""Probability of a mistake from which a build is named."""


class NothingToLearnError(ValueError):
    """The book holds no weighing of a build that may teach."""


@dataclass(frozen=True)
class Trained:
    """A model with the fit that it came from.

    Attributes:
        model: what is stored and predicted with; it has also seen the check weights of scales.
        fit: everything else that the fit to the builds alone found.
        evidence: what it was fitted to.
    """

    model: Model
    fit: Fit
    evidence: Evidence


def train(contents: Contents, data_hash: str, records: int) -> Trained:
    """Fit the model to every build of a book that may teach.

    Args:
        contents: of the book.
        data_hash: of the book's records.
        records: how many the book holds.

    Raises:
        NothingToLearnError: no build that may teach has been weighed.
    """
    found = evidence(contents, Habits(carrying_out=carrying_out(contents)))
    if not found.weighings:
        raise NothingToLearnError(
            "wanted a weighed build that may teach, got none; weigh one, or predict untrained"
        )
    with threadpool_limits(
        limits=1, user_api="blas"
    ):  # the blocks are small: threads would only wait for one another
        found = _with_habits(contents, found)
        fitted = fit(readings(found.weighings), Slips())
        model = _model(contents, data_hash, records, found, fitted)
    return Trained(model, fitted, found)


def _with_habits(contents: Contents, found: Evidence) -> Evidence:
    """Return what is learned from under the law of settling that the shop's own bows speak for."""
    law = choose_law(found.weighings)
    removals = weighed_removals(contents, (weighing.weigh_in for weighing in found.weighings))
    lawful = under_law(found.weighings, law)
    usual = usual_cut(lawful)
    habits = found.habits.model_copy(
        update={
            "settling": law,
            "weighed_removals": removals,
            "usual_cut": usual,
            "seen_in": sizes_seen(found.weighings),
        }
    )
    return replace(found, weighings=with_cuts(lawful, usual), habits=habits)


def _model(contents: Contents, data_hash: str, records: int, found: Evidence, fitted: Fit) -> Model:
    doubtful = _doubtful(found, fitted)
    return sealed(
        Model(
            format=FORMAT,
            tool=this_version(),
            trained_at=datetime.now(UTC).isoformat(timespec="seconds"),
            data_hash=data_hash,
            records=records,
            builds=len(found.builds),
            readings=fitted.readings.weighed,
            builds_by_form=_by_form(contents, found.builds),
            builds_by_material=_by_material(found.weighings),
            left_out=tuple((left.record, left.reason) for left in found.left_out),
            doubtful=doubtful,
            calibration=calibrate(fitted, found, frozenset(build for build, _ in doubtful)),
            habits=found.habits,
            taught=taught(contents, found, fitted),
            posterior=with_check_weights(fitted.posterior, contents.scales).to_json(),
        )
    )


def _by_form(contents: Contents, builds: Sequence[str]) -> dict[str, int]:
    return dict(
        Counter(f"{contents.builds[name].form}/{contents.builds[name].form_revision}" for name in builds)
    )


def _by_material(weighings: Sequence[Weighing]) -> dict[str, int]:
    used = {
        (weighing.build, name.removeprefix(STIFFNESS))
        for weighing in weighings
        for name in weighing.columns.common
        if name.startswith(STIFFNESS)
    }
    return dict(Counter(material for _, material in used))


def sizes_seen(weighings: Sequence[Weighing]) -> dict[str, tuple[float, float]]:
    """Return the smallest and the largest of each main dimension that a weighed bow had."""
    sizes = [weighing.columns.sizes_in for weighing in weighings]
    return {name: (min(s[name] for s in sizes), max(s[name] for s in sizes)) for name in sizes[0]}


def _doubtful(found: Evidence, fitted: Fit) -> tuple[tuple[str, float], ...]:
    """Return the builds that look like a mistake, the likeliest first."""
    if fitted.suspicion is None:
        return ()
    named = zip(found.builds, fitted.suspicion.any.tolist(), strict=True)
    return tuple(sorted(((b, p) for b, p in named if p >= DOUBTFUL), key=lambda pair: -pair[1]))
