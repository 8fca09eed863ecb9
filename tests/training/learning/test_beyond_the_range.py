"""Bows far beyond all that taught, of shops whose weights depart from the statics by a power of the size.

The shops are invented: columns of an invented shop's records, what stands behind them drawn from the priors, and all
weights, those that teach too, multiplied by the size to a power that is each shop's own.
"""

from dataclasses import dataclass, replace

import numpy as np
import pytest
from scipy.stats import binom

from datasets.contents import Contents
from datasets.history import bow_at
from datasets.record import Dimension
from datasets.schema import Build, Form
from predictor.belief.beyond import EXPONENT_SDS, LENGTH, STACK
from predictor.belief.own_history import Slips
from predictor.belief.usual_cut import UsualCut
from predictor.belief.weighings import Weighing
from tests.drawn_shops import draw_truth, drawn
from training.checking.evaluate import Learned, only
from training.checking.questions import Question, at_draw
from training.engine.hierarchy import fit
from training.learning.calibrate import calibrate
from training.learning.cuts import usual_cut, with_cuts
from training.learning.evidence import Evidence, evidence, readings
from training.learning.train import sizes_seen
from training.workshop.virtual_shop import simulate

SEED, BUILDS, SHOPS = 615_000, 9, 150
HELD = "long-66"
"""The form whose bows are asked for: they have the thickest stacks and the longest limbs of the shop."""
LARGER = {STACK: 1.6, LENGTH: 1.5}
"""How much larger than on record the bow that is asked for is."""
LEVEL = 0.9
SURE = 0.01
"""Chance of a false alarm."""


@dataclass(frozen=True)
class Shop:
    """Columns of an invented shop's records.

    Attributes:
        weighings: with what their bows were cut by.
        contents: of the book.
    """

    weighings: tuple[Weighing, ...]
    contents: Contents

    def asked(self, size: str) -> list[Weighing]:
        """Return the first weighing of each bow of the form, had the bow been larger."""
        builds = [name for name, build in self.contents.builds.items() if build.form == HELD]
        book = larger(only(self.contents, builds), size, LARGER[size])
        found = evidence(book).weighings
        return [next(one for one in found if one.build == build) for build in builds]


@pytest.fixture(scope="module")
def shop() -> Shop:
    """Return an invented shop."""
    contents = Contents.of(simulate(SEED, BUILDS).records)
    found = evidence(contents).weighings
    return Shop(with_cuts(found, usual_cut(found)), contents)


def larger(book: Contents, size: str, ratio: float) -> Contents:
    """Return a book whose bows are all of a thicker stack, or on longer limbs with the same thicknesses."""
    if size == STACK:
        builds = {name: _scaled_layers(build, ratio, ratio, 1.0) for name, build in book.builds.items()}
        return replace(book, builds=builds)
    forms = {key: _longer_form(form, ratio) for key, form in book.forms.items()}
    builds = {
        name: _scaled_layers(build, 1.0, 1 / ratio, ratio).model_copy(
            update={"length_in": _longer(build.length_in, book.forms[build.form, build.form_revision], ratio)}
        )
        for name, build in book.builds.items()
    }
    return replace(book, builds=builds, forms=forms)


def _scaled_layers(build: Build, thickness: float, taper: float, along: float) -> Build:
    by = {"butt_in": thickness, "tip_in": thickness, "from_in": along, "to_in": along}
    layers = []
    for layer in build.layers:
        update = {name: _times(getattr(layer, name), ratio) for name, ratio in by.items()}
        if layer.taper_per_in is not None:
            update["taper_per_in"] = layer.taper_per_in * taper
        layers.append(layer.model_copy(update=update))
    return build.model_copy(update={"layers": tuple(layers)})


def _longer_form(form: Form, ratio: float) -> Form:
    start = form.riser_length_in.inch / 2
    profile = tuple(
        point.model_copy(
            update={
                "at_in": point.at_in.model_copy(update={"inch": start + (point.at_in.inch - start) * ratio})
            }
        )
        for point in form.profile
    )
    return form.model_copy(update={"profile": profile, "limb_length_in": _times(form.limb_length_in, ratio)})


def _longer(length: Dimension, form: Form, ratio: float) -> Dimension:
    riser = form.riser_length_in.inch
    return length.model_copy(update={"inch": riser + (length.inch - riser) * ratio})


def _times(given: Dimension | None, ratio: float) -> Dimension | None:
    return None if given is None else given.model_copy(update={"inch": given.inch * ratio})


def _held(shop: Shop, asked: Weighing, size: str, rng: np.random.Generator) -> tuple[bool, bool]:
    """Return whether a drawn shop's larger bow lay in its interval: with the doubt beyond the range, and without."""
    truth = draw_truth(rng)
    power = EXPONENT_SDS[size] * rng.standard_normal()
    others = [one for one in shop.weighings if one.build != asked.build]
    middle = np.exp(np.mean([np.log(one.columns.sizes_in[size]) for one in others]))

    def departs(one: Weighing) -> float:
        return float(power * np.log(one.columns.sizes_in[size] / middle))

    taught = [replace(one, log_weight=one.log_weight + departs(one)) for one in drawn(truth, others)]
    found = Evidence(tuple(taught), ())
    fitted = fit(readings(taught), Slips())
    learned = Learned(
        builds=frozenset(found.builds),
        belief=fitted.posterior,
        calibration=calibrate(fitted, found, frozenset()),
        doubtful=frozenset(),
        usual=UsualCut(),
        seen_in=sizes_seen(taught),
        fit=fitted,
    )
    row = int(np.argmin(np.abs(np.array(asked.moment.draws_in) - 28)))
    told = at_draw(asked.columns, row)
    true = float(truth.reads(asked.build, asked.weigh_in, told)[0]) + departs(asked)
    build = shop.contents.builds[asked.build]
    bow = bow_at(shop.contents.forms[build.form, build.form_revision], build, ())
    question = Question(asked.build, asked.moment, bow, told, true)
    return _inside(learned, question), _inside(replace(learned, seen_in={}), question)


def _inside(learned: Learned, question: Question) -> bool:
    said = learned.answers([question])
    low, high = (float(said.quantile((1 + side * LEVEL) / 2)[0]) for side in (-1, 1))
    return low <= question.log_weight <= high


def held(shop: Shop, size: str) -> tuple[int, int]:
    """Return how many larger bows lay in their intervals: with the doubt beyond the range, and without."""
    asked = shop.asked(size)
    each = [
        _held(shop, asked[number % len(asked)], size, np.random.default_rng(SEED + number))
        for number in range(SHOPS)
    ]
    with_, without = np.sum(each, axis=0).tolist()
    return with_, without


@pytest.mark.slow
@pytest.mark.parametrize("size", [STACK, LENGTH])
def test_intervals_hold_beyond_the_range(shop: Shop, size: str) -> None:
    """Of 150 shops, seeds 615000 to 615149, nine in ten larger bows lie in 90 %, and too few without the doubt.

    The bound is the count below which a coverage of .9 falls once in a hundred times.
    """
    least = int(binom.ppf(SURE, SHOPS, LEVEL))
    with_, without = held(shop, size)

    assert with_ >= least
    assert without < least
