"""Check weights hung on a scale are part of what a model believes of it, beside the bows that were weighed on it."""

from collections.abc import Mapping

import numpy as np
import pytest

from datasets.contents import Contents
from datasets.schema import Scale
from predictor.belief.foresight import standing
from predictor.belief.scale_bias import by_checks, with_check_weights
from predictor.belief.scatter import SCALES
from predictor.belief.seen import level_name
from predictor.belief.weighings import weighed
from predictor.bows.features import Features, features
from training.learning.train import Trained, train
from training.workshop.virtual_shop import VirtualShop, simulate

HUNG_LBF = 50.0


@pytest.fixture(scope="module")
def shop() -> VirtualShop:
    """Return a small invented shop."""
    return simulate(seed=44, builds=9)


@pytest.fixture(scope="module")
def checked(shop: VirtualShop) -> Mapping[str, Scale]:
    """Return the shop's scales, each of which read a weight of 50 lb twenty times, as high as in truth it reads."""
    rng = np.random.default_rng(44)
    reads = {
        name: HUNG_LBF * np.exp(bias) + rng.normal(0, 0.1, 20) for name, bias in shop.truth.scales.items()
    }
    return {name: scale(name, some.tolist()) for name, some in reads.items()}


def scale(name: str, reads: list[float]) -> Scale:
    """Return a scale that read 50 lb so."""
    checks = [{"known": f"{HUNG_LBF:g}", "read": f"{read:.1f}"} for read in reads]
    return Scale.model_validate({"id": name, "division_lbf": 0.1, "checks": checks})


@pytest.fixture(scope="module")
def trained(shop: VirtualShop, checked: Mapping[str, Scale]) -> Trained:
    """Return what a book with check weights teaches."""
    return train(Contents.of([*shop.records, *checked.values()]), "0" * 64, 1)


def test_a_check_moves_the_scale_by_the_closed_form(shop: VirtualShop) -> None:
    """At each set of scales one check moves its scale's effect by v / (v + s^2) of what it is off, and so its variance.

    v is the variance by the bows, s the check's standard deviation.
    """
    name = next(iter(shop.truth.scales))
    one = scale(name, [51.0])
    trained = train(Contents.of([*shop.records, one]), "0" * 64, 1)
    fitted, model = trained.fit.posterior, trained.model.belief()
    before, after = (belief.effects.index(level_name(SCALES, name)) for belief in (fitted, model))
    read, sd = by_checks(one) or (0.0, 0.0)
    variance = fitted.covariances[:, before, before]
    share = variance / (variance + sd**2)

    expected = fitted.means[:, before] + share * (read - fitted.means[:, before])
    assert model.means[:, after] == pytest.approx(expected, abs=1e-12)
    assert model.covariances[:, after, after] == pytest.approx((1 - share) * variance, rel=1e-9)
    assert read == pytest.approx(np.log(1.02))


def test_checks_find_each_scale(shop: VirtualShop, trained: Trained, checked: Mapping[str, Scale]) -> None:
    """With twenty checks each scale's bias is known to .2 % and its truth lies within three standard deviations."""
    for name in checked:
        found = trained.model.belief().effect(level_name(SCALES, name))

        assert found.sd[0] < 0.002
        assert abs(found.mean[0] - shop.truth.scales[name]) < 3 * found.sd[0]


def test_a_build_is_taken_out_and_the_checks_stay(
    shop: VirtualShop, trained: Trained, checked: Mapping[str, Scale]
) -> None:
    """A model less a build is the fit less that build that has then seen the check weights, in whichever order."""
    contents = Contents.of(shop.records)
    alone = train(contents, "0" * 64, 1).model
    for name, build in list(contents.builds.items())[:3]:
        form = contents.form_of(build)
        assert form is not None
        mine = list(weighed(form, build, contents.events[name]))
        found: list[Features] = [
            one for one in features([w.case for w in mine], contents.materials) if isinstance(one, Features)
        ]
        ours, theirs = (
            standing(mine, found, contents.materials, model).belief for model in (trained.model, alone)
        )
        then = with_check_weights(theirs, checked)
        place = [then.effects.index(effect) for effect in ours.effects]

        assert ours.means == pytest.approx(then.means[:, place], abs=1e-9)
        assert ours.covariances == pytest.approx(then.covariances[:, place][:, :, place], abs=1e-12)
        assert ours.weights == pytest.approx(then.weights, rel=1e-6)
