"""What a weight depends on: each derivative against bows that are solved anew."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest

from datasets.history import bow_at
from datasets.materials import handbook
from datasets.schema import Removal
from predictor.bows.bow import Moduli, Refusal, handbook_moduli, limb_of, solve, unstrung
from predictor.bows.features import Case, Features, features
from predictor.mechanics.limb import limb_grid
from tests.predictor.example_bows import GLASS, HOOKED, REFLEXED, STRAIGHT, build, core

DRAWS_IN = (20.0, 28.5)
SHARE = 0.02
"""Step of the central differences, as a part of an input's standard deviation."""

RECURVE = {
    "form": "swan-62", "length_in": "62", "brace": "7 3/4",
    "layers": [GLASS, core(".080"), core(".085", taper_per_in=0.001), GLASS],
    "widths": [{"at": at, "belly_in": width} for at, width in (("fade", "1 3/4"), ("mid", "1 5/8"), ("nock", "3/4"))],
}  # fmt: skip
LONG_RECURVE = {
    "form": "crane-69", "length_in": "69", "brace": "8 5/8",
    "layers": [GLASS, core(".055"), core(".065", taper_per_in=0.001), GLASS],
    "widths": [{"at": at, "belly_in": width} for at, width in (("fade", "1 3/4"), ("mid", "1 3/4"), ("nock", "7/8"))],
}  # fmt: skip
"""The string lies on its tips at brace and at the first draw."""
UNLIKE = {"upper_longer_in": "1/2"}


def removal(number: int, method: str, **amounts: Any) -> Removal:
    """Return stock taken off one limb or both."""
    common = {"id": f"K-001/{number}", "build": "K-001", "on": "2026-03-01", "method": method}
    return Removal.model_validate(common | amounts)


TAKEN_OFF = (
    removal(1, "sides", limb="upper", done=[{"at": "fade", "amount_in": ".03"}, {"at": "nock", "amount_in": ".05"}]),
    removal(2, "trap", limb="both", planned=[{"at": "mid", "amount_in": ".04"}]),
    removal(3, "edges", limb="both", done=[{"at": "mid", "amount_in": ".125"}]),
    removal(4, "belly-glass", limb="lower", done=[{"at": "mid", "amount_in": ".004"}]),
)  # fmt: skip

CASES = {
    "straight": Case(STRAIGHT, build(), (), DRAWS_IN),
    "straight, limbs unlike": Case(STRAIGHT, build(**UNLIKE), (), DRAWS_IN),
    "straight, stock taken off": Case(STRAIGHT, build(), TAKEN_OFF, DRAWS_IN),
    "recurve, string on its tips": Case(HOOKED, build(**LONG_RECURVE), (), (12.0, 28.5)),
    "recurve": Case(REFLEXED, build(**RECURVE), (), DRAWS_IN),
    "recurve, stock taken off": Case(REFLEXED, build(**RECURVE), TAKEN_OFF, DRAWS_IN),
}


def found(case: Case) -> Features:
    """Return a case's features."""
    (result,) = features([case], handbook())
    assert isinstance(result, Features), result
    return result


def log_weights(case: Case, moduli: Sequence[Moduli], shifts: Sequence[dict[str, float]]) -> np.ndarray:
    """Return log weights of a case solved anew, once with each moduli and shifts, its limbs shaped as they were."""
    recorded = bow_at(case.form, case.build, case.events)
    bows = [bow_at(case.form, case.build, case.events, shift) for shift in shifts]
    limbs = [
        limb_of(bow, limb, own, unstrung(bow, limb, shaped_like=before))
        for bow, own in zip(bows, moduli, strict=True)
        for limb, before in ((bow.upper, recorded.upper), (bow.lower, recorded.lower))
    ]
    owner = np.repeat(np.arange(len(bows)), 2)
    solved = solve(bows, owner, limb_grid(limbs), np.tile(case.draws_in, (len(bows), 1)))
    assert not any(solved.refused)
    return np.log(solved.mean(solved.drawn.force))


def moduli_of(case: Case) -> Moduli:
    """Return the moduli of a case's bow by the handbooks."""
    return handbook_moduli(bow_at(case.form, case.build, case.events), handbook())


def test_the_string_lies_on_the_tips() -> None:
    """The long recurve tries the derivatives where the string touches the limb."""
    case = CASES["recurve, string on its tips"]
    bow = bow_at(case.form, case.build)
    grid = limb_grid([limb_of(bow, bow.upper, moduli_of(case))])
    drawn = solve([bow], np.array([0]), grid, np.array([case.draws_in])).drawn

    assert drawn.lift_off[0, 0] > 0.5


@pytest.mark.parametrize("name", CASES)
def test_inputs_agree_with_bows_solved_anew(name: str) -> None:
    """Each input changes the weight as central differences of solved bows say, to 1e-4 of it (or 1e-7 per sd)."""
    case = CASES[name]
    effects = found(case).inputs
    steps = np.array([SHARE * effect.input.sd for effect in effects])
    shifts = [{e.input.name: s * step} for e, step in zip(effects, steps, strict=True) for s in (-1, 1)]
    logs = log_weights(case, [moduli_of(case)] * len(shifts), shifts)

    differences = (logs[1::2] - logs[::2]) / (2 * steps[:, None])
    for effect, difference in zip(effects, differences, strict=True):
        np.testing.assert_allclose(
            effect.log_effect, difference, rtol=1e-4, atol=1e-7 / effect.input.sd, err_msg=effect.input.name
        )


@pytest.mark.parametrize("name", CASES)
def test_moduli_agree_with_bows_solved_anew(name: str) -> None:
    """Each modulus changes the weight as central differences of solved bows say, to 1e-4 of it."""
    case = CASES[name]
    moduli, effects = moduli_of(case), found(case).moduli
    keys = [(effect.material, effect.lot) for effect in effects]
    changed = [{**moduli, key: moduli[key] * np.exp(by)} for key in keys for by in (-1e-3, 1e-3)]
    logs = log_weights(case, changed, [{}] * len(changed))

    for effect, less, more in zip(effects, logs[::2], logs[1::2], strict=True):
        np.testing.assert_allclose(
            effect.log_effect, (more - less) / 2e-3, rtol=1e-4, err_msg=effect.material
        )


def test_records_that_add_up_to_no_bow_spoil_no_other_case() -> None:
    """One whose lam tapers to nothing is refused by name; the others' weights are as alone, to 1e-9."""
    layers = [GLASS, core(".080", taper_per_in=0.02), GLASS]
    tapered = Case(STRAIGHT, build(id="K-009", layers=layers), (), DRAWS_IN)
    sound = [CASES["straight"], CASES["straight, limbs unlike"], CASES["recurve"]]
    first, refused, *others = features([sound[0], tapered, *sound[1:]], handbook())

    assert isinstance(refused, Refusal)
    assert refused.where == "in the records of K-009"
    for case, result in zip(sound, (first, *others), strict=True):
        assert isinstance(result, Features)
        assert result.weight_lbf == pytest.approx(found(case).weight_lbf, rel=1e-9)
