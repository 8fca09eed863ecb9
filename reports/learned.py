"""What training has learned: for people, and as JSON."""

import json
from math import exp, log, sqrt

import numpy as np
from rich.console import Console
from rich.markup import escape

from datasets.book import ShopBook
from datasets.removals import GAIN_OF, AmountKind
from predictor.belief.calibration import (
    LUCK,
    Calibration,
    check,
    highest_level,
    ratio_in_words,
    widened_in_words,
)
from predictor.belief.carrying_out import Carried
from predictor.belief.columns import STIFFNESS
from predictor.belief.mixture import NormalMixture
from predictor.belief.model import Model
from predictor.belief.model_file import model_path, save_model
from predictor.belief.posterior import Posterior
from predictor.belief.scatter import SCATTER_LOG_SDS, SCATTER_SDS, SHOOTING_IN
from predictor.belief.settling import FULL_SETTLING_SHOTS
from predictor.belief.shares import BUILD_SOURCES, GROUP_SOURCES
from predictor.prediction.predict import LEVELS
from reports.numbers import counted, fixed
from reports.printing import table

LEFT_OUT_SHOWN = 8

UNMOVED, STILL_OPEN = 0.1, 0.8
"""A scatter is not learned yet while its size is within this share of the prior one, and its spread at least
this share of the spread before."""


def learn(book: ShopBook) -> Model:
    """Train on a book and keep the model beside it.

    Raises:
        training.learning.train.NothingToLearnError: no build that may teach has been weighed.
        predictor.belief.model.ModelError: the model cannot be written.
    """
    # The fit is slow to load, so only training loads it.
    from training.learning.train import train

    model = train(book.contents(), book.data_hash(), book.length()).model
    save_model(model_path(book.path), model)
    return model


def learned_json(model: Model) -> str:
    """Return a model without its covariances as JSON."""
    return json.dumps(model.model_dump(mode="json", exclude={"posterior"}), indent=2)


def show_learned(model: Model, seconds: float, out: Console) -> None:
    """Print what a model was made from, what it learned, how it fares on builds left out, and what looks wrong."""
    belief = model.belief()
    out.print(_source(model, seconds))
    stiffness = _stiffness(model, belief)
    out.print(table(["stiffness of", "builds", "against the handbook"], stiffness, right=(1, 2)))
    out.print(
        "The glass, the form and what statics leave out act much alike; the handbook's word parts them."
    )
    if gains := _gains(model, belief):
        out.print(
            table(["stock off by", "weighed before and after", "of the statics' loss"], gains, right=(1, 2))
        )
    out.print(_carried_out(model))
    out.print(escape(_settling(model, belief)))
    out.print(
        table(["scatter of (root mean square)", "learned", "believed before"], _scatter(belief), right=(1, 2))
    )
    heads = ["interval", "builds left out", "in it", "by rank", f"by luck, {LUCK:.0%}"]
    out.print(table(heads, _checks(model), right=(1, 2, 3, 4)))
    _show_trust(model, out)


def show_in_brief(model: Model, seconds: float, out: Console) -> None:
    """Print what a model was made from, how wide its intervals are made, and what looks wrong."""
    out.print(_source(model, seconds))
    _show_trust(model, out)


def _source(model: Model, seconds: float) -> str:
    return (
        f"Learned from {counted(model.readings, 'reading')} of {counted(model.builds, 'build')} "
        f"in {seconds:.1f} s."
    )


def _show_trust(model: Model, out: Console) -> None:
    """Print how builds left out fared, which builds look like a mistake, and what was not learned from."""
    calibration = model.calibration
    out.print(f"Ranges are given {widened_in_words(calibration.wider())}. {_put_to_the_test(calibration)}")
    for build, probability in model.doubtful:
        out.print(
            escape(f"{build} looks like a mistake of the pencil ({probability:.0%}): drawweight show {build}")
        )
    for record, reason in model.left_out[:LEFT_OUT_SHOWN]:
        out.print(escape(f"{record} left out: {reason}"))
    if len(model.left_out) > LEFT_OUT_SHOWN:
        rest = len(model.left_out) - LEFT_OUT_SHOWN
        out.print(f"and {rest} more left out (--json has them all)")


def _put_to_the_test(calibration: Calibration) -> str:
    left_out = len(calibration.builds)
    if not left_out:
        return "No build has put them to the test yet."
    most = f"can test ranges of up to {highest_level(left_out):.0%}"
    if left_out == 1:
        return f"1 build, foretold from what was believed before any, {most}."
    return f"{counted(left_out, 'build')}, each foretold from the others, {most}."


def _stiffness(model: Model, belief: Posterior) -> list[list[str]]:
    """Return rows: each material, its builds, and its learned modulus over the handbook's, with one sd."""
    means = belief.weights @ belief.means
    inner = np.einsum("k,kii->i", belief.weights, belief.covariances)
    sds = np.sqrt(inner + belief.weights @ (belief.means - means) ** 2)
    rows = []
    for name, mean, sd in zip(belief.effects, means.tolist(), sds.tolist(), strict=True):
        if name.startswith(STIFFNESS):
            material = name.removeprefix(STIFFNESS)
            learned = f"{'+' if mean >= 0 else ''}{_percent(exp(mean) - 1)} ± {_percent(exp(mean) * sd)}"
            rows.append([material, str(model.builds_by_material.get(material, 0)), learned])
    return rows


def _gains(model: Model, belief: Posterior) -> list[list[str]]:
    """Return rows: each way of taking stock off, its removals, and the share of the statics' loss that is got."""
    rows = []
    for name in (effect for effect in belief.effects if effect.startswith(GAIN_OF)):
        low, middle, high = (_percent(1 + share) for share in _ends(belief.effect(name)))
        count = str(model.habits.weighed_removals.get(name, 0))
        rows.append([name.removeprefix(GAIN_OF), count, f"{middle} ({low} to {high})"])
    return rows


def _ends(effect: NormalMixture) -> tuple[float, float, float]:
    """Return the 5 %, 50 % and 95 % points of an effect."""
    low, middle, high = (float(effect.quantile(p)[0]) for p in (0.05, 0.5, 0.95))
    return low, middle, high


def _carried_out(model: Model) -> str:
    habit = model.habits.carrying_out
    told = [_of_amount(amount, done) for amount, done in habit.others.items()]
    return " ".join((_of_amount(AmountKind.WIDTH, habit.anybody), *told))


_OF_PLANNED = {
    AmountKind.WIDTH: ("planned width", "comes off", "come off"),
    AmountKind.CORNERS: ("a planned radius of the corners", "is reached", "be reached"),
    AmountKind.GLASS: ("glass planned to come off a face", "comes off", "come off"),
    AmountKind.LENGTH: ("what is planned to be sawn off each end", "comes off", "come off"),
}
"""What a share of a plan is a share of, and what happens to it: as a finding, and as a default."""


def _of_amount(amount: AmountKind, done: Carried) -> str:
    share, spread = _percent(1 + done.mean), f"give or take {_percent(done.sd)}"
    planned, found, taken = _OF_PLANNED[amount]
    if not done.removals:
        default = "the default, until some is measured afterwards"
        return f"Of {planned} {share} is taken to {taken}, {spread}: {default}."
    times = "once" if done.removals == 1 else f"{done.removals} times"
    return f"Of {planned} {share} {found}, {spread} (measured afterwards {times})."


def _settling(model: Model, belief: Posterior) -> str:
    less, middle, more = (_percent(1 - exp(effect)) for effect in _ends(belief.effect(SHOOTING_IN))[::-1])
    found = "is" if model.habits.settling.histories else "is taken by default as"
    return (
        f"The mean loss in the first {FULL_SETTLING_SHOTS} shots {found} {middle} ({less} to {more}); "
        f"{model.habits.settling.in_words()}."
    )


def _scatter(belief: Posterior) -> list[list[str]]:
    """Return rows: each scatter, its size as believed now and before any build, both as root mean squares."""
    rows = []
    for name, source in (GROUP_SOURCES | BUILD_SOURCES).items():
        believed = SCATTER_SDS[name]
        size, factor_sd = _typical(belief, name)
        unmoved = abs(log(size / believed)) < UNMOVED and factor_sd > STILL_OPEN * SCATTER_LOG_SDS[name]
        rows.append([source, "not learned yet" if unmoved else _percent(size), _percent(believed)])
    return [*rows, ["reading error, as a factor", fixed(_typical(belief, "noise")[0], 2), "1.00"]]


def _typical(belief: Posterior, name: str) -> tuple[float, float]:
    """Return the root mean square of a scatter, and the standard deviation of its logarithm."""
    sizes = belief.scale(name)
    logs = np.log(sizes)
    spread = sqrt(float(belief.weights @ (logs - belief.weights @ logs) ** 2))
    return sqrt(float(belief.weights @ sizes**2)), spread


def _percent(share: float) -> str:
    return f"{fixed(100 * share, 1)}%"


def _checks(model: Model) -> list[list[str]]:
    """Return rows: each level by all builds, by builds as if of new lots, and by forms that have enough builds."""
    told = [check(model.calibration, level) for level in LEVELS]
    told += [check(model.calibration, level, new_lots=True) for level in LEVELS]
    by_form = [check(model.calibration, level, form) for form in model.builds_by_form for level in LEVELS]
    told += [one for one in by_form if one.form is not None]
    rows = []
    for one in told:
        which = f" on {one.form}" if one.form else ", as if of new lots" if one.as_new_lots else ""
        if one.ratio is None:
            ratio, luck = f"needs {one.builds_needed} builds", ""
        else:
            ratio, luck = ratio_in_words(one.ratio), f"{one.luck_low:.2f} to {one.luck_high:.2f}"
        rows.append([f"{one.level:.0%}{which}", str(one.builds), str(one.held), ratio, luck])
    return rows
