"""Slips of the pen, of the kinds that bowyers' notes show, put into records that were right."""

from collections.abc import Callable, Sequence
from copy import deepcopy
from typing import Any

import numpy as np

from datasets.notation import inches, read, thousandths
from datasets.schema import Part, Stage
from training.workshop.shop_press import Typed
from training.workshop.shop_truth import Mistake

ONE_IN = 20
"""A build or a weigh-in has a slip once in so many."""

KG_PER_POUND = 0.45359237
"""Exact: NIST Special Publication 811 (2008), appendix B.8."""

_Slip = Callable[[np.random.Generator, dict[str, Any]], tuple[object, object] | None]
"""Puts a slip into a typed record, returns what was right and what is written; None if it can't have it."""


def with_mistakes(rng: np.random.Generator, records: Sequence[Typed]) -> tuple[list[Typed], list[Mistake]]:
    """Return records of which some builds and weigh-ins have a slip each, and the list of slips."""
    written, mistakes = [], []
    for record in records:
        slips = SLIPS.get(record.kind, {})
        if not slips or rng.random() >= 1 / ONE_IN:
            written.append(record)
            continue
        data = deepcopy(record.data)
        for kind in rng.permutation(list(slips)):
            made = slips[kind](rng, data)
            if made:
                mistakes.append(Mistake(data["id"], str(kind), *made))
                break
        written.append(Typed(record.kind, data))
    return written, mistakes


def _stack_without_glass(_: np.random.Generator, build: dict[str, Any]) -> tuple[object, object] | None:
    """Take the wood's thickness for the whole stack's, and subtract the glass once more."""
    glass = sum(_inch(layer) for layer in build["layers"] if layer["part"] == Part.GLASS)
    cores = [layer for layer in build["layers"] if layer["part"] == Part.CORE]
    kept = 1 - glass / sum(_inch(layer) for layer in cores)
    if kept < _LEAST_KEPT:
        return None
    rewritten = [_rewrite(layer, _inch(layer) * kept) for layer in cores]
    return [right for right, _ in rewritten], [written for _, written in rewritten]


_LEAST_KEPT = 0.4
"""Share of the cores below which even a hasty writer would see that the glass was subtracted twice."""


def _nominal_glass(_: np.random.Generator, build: dict[str, Any]) -> tuple[object, object]:
    """Write the glass that the plan asks for, where the other thickness was taken from the shelf."""
    glasses = [layer for layer in build["layers"] if layer["part"] == Part.GLASS]
    nominal = 0.050 if _inch(glasses[0]) < 0.045 else 0.040
    rewritten = [_rewrite(layer, nominal) for layer in glasses]
    return rewritten[0]


def _digits_swapped(_: np.random.Generator, build: dict[str, Any]) -> tuple[object, object] | None:
    """Swap the last two digits of a core's thickness."""
    for layer in build["layers"]:
        text = thousandths(_inch(layer))
        if layer["part"] == Part.CORE and abs(int(text[-1]) - int(text[-2])) > 1:
            return _rewrite(layer, read(text[:-2] + text[-1] + text[-2], "thickness"))
    return None


def _taper_per_foot(_: np.random.Generator, build: dict[str, Any]) -> tuple[object, object] | None:
    """Write a taper as if it were meant per foot."""
    tapered = [layer for layer in build["layers"] if layer.get("taper_per_in")]
    if not tapered:
        return None
    right = tapered[0]["taper_per_in"]
    tapered[0]["taper_per_in"] = round(right / 12, 5)
    return right, tapered[0]["taper_per_in"]


def _width_misread(_: np.random.Generator, build: dict[str, Any]) -> tuple[object, object]:
    """Read a width a quarter of an inch off."""
    fade = build["widths"][0]
    right = fade["belly_in"]
    fade["belly_in"] = inches(read(right, "width") + 0.25)
    return right, fade["belly_in"]


def _ten_pounds(rng: np.random.Generator, weigh_in: dict[str, Any]) -> tuple[object, object]:
    """Misread the scale by ten pounds."""
    off = float(rng.choice([-10, 10]))
    return _reweigh(weigh_in, lambda lbf: lbf + off)


def _kilograms(_: np.random.Generator, weigh_in: dict[str, Any]) -> tuple[object, object]:
    """Write kilograms without the unit."""
    return _reweigh(weigh_in, lambda lbf: round(lbf * KG_PER_POUND, 1))


def _wrong_zero(_: np.random.Generator, weigh_in: dict[str, Any]) -> tuple[object, object]:
    """Write down as the pivot's what was counted from the bow's usual zero point."""
    right = [reading["draw"] for reading in weigh_in["readings"]]
    for reading in weigh_in["readings"]:
        reading["draw"] = f"{reading['draw'].split()[0]} pivot"
    return right, [reading["draw"] for reading in weigh_in["readings"]]


def _wrong_stage(_: np.random.Generator, weigh_in: dict[str, Any]) -> tuple[object, object]:
    """Call a rough bow finished, or a finished one rough."""
    right = weigh_in["stage"]
    rough = right in {Stage.FIRST_DRAW.value, Stage.TILLERED.value}
    weigh_in["stage"] = (Stage.FINISHED if rough else Stage.TILLERED).value
    return right, weigh_in["stage"]


SLIPS: dict[str, dict[str, _Slip]] = {
    "build": {
        "stack without glass": _stack_without_glass,
        "nominal glass": _nominal_glass,
        "digits swapped": _digits_swapped,
        "taper per foot": _taper_per_foot,
        "width misread": _width_misread,
    },
    "weigh_in": {
        "ten pounds off": _ten_pounds,
        "kilograms": _kilograms,
        "wrong zero point": _wrong_zero,
        "wrong stage": _wrong_stage,
    },
}
"""Every kind of slip, by the kind of record that has it."""


def _inch(layer: dict[str, Any]) -> float:
    butt = layer["butt_in"]
    return read(butt["typed"] if isinstance(butt, dict) else butt, "thickness")


def _rewrite(layer: dict[str, Any], thickness_in: float) -> tuple[object, object]:
    right, written = layer["butt_in"], thousandths(thickness_in)
    layer["butt_in"] = {**right, "typed": written} if isinstance(right, dict) else written
    return right, layer["butt_in"]


def _reweigh(weigh_in: dict[str, Any], change: Callable[[float], float]) -> tuple[object, object]:
    right = [reading["weight"] for reading in weigh_in["readings"]]
    for reading in weigh_in["readings"]:
        reading["weight"] = f"{change(float(reading['weight'])):g}"
    return right, [reading["weight"] for reading in weigh_in["readings"]]
