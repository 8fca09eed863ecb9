"""How unlike a bow's two limbs may be, by its records and by a tiller that was read.

What moves both limbs together hardly moves the tiller: the moduli of a lot, a reading that was taken of both limbs,
glue lines, string, length, gains of removals. The tiller tells of what is each limb's own: how far two limbs of one bow
come out unlike, and errors of what was read of each limb by itself.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import exp, hypot, sqrt

import numpy as np
from numpy.typing import NDArray

from datasets.history import BowAt, bow_at, shifted_bows
from datasets.materials import Material
from datasets.record import Side
from datasets.schema import Build, Event, Form, Part
from predictor.bows.bow import Moduli, Refusal, handbook_moduli
from predictor.bows.pairs import Pair, tillers

Array = NDArray[np.float64]

CORES_APART = 0.005
"""Half of what the two limbs' cores differ by, as a share of their thickness: the grinder's drift. Common practice, no
source; so are all sizes here, which are standard deviations."""

WIDTHS_APART = 0.005
"""Half of what the two limbs differ by, as a share of their width: how a pencil line is followed."""

GLASS_APART_IN = 0.00025
"""Half of what two strips of glass off one roll differ by, inches."""

TIPS_APART_IN = 1 / 64
"""Half of what two tips off one form differ by when unstrung, inches: wood springs back as it will."""

READING_SD_IN = 1 / 32
"""Of a tiller read with a rule, inches."""

_STEP = 0.02


@dataclass(frozen=True)
class Difference:
    """How much stiffer the upper limb is than the records say, against the lower one: a logarithm.

    Attributes:
        mean: positive if the upper limb is the stiffer.
        sd: standard deviation.
    """

    mean: float
    sd: float

    def given(self, misfit_in: float, per_difference_in: float, reading_sd_in: float) -> "Difference":
        """Return what is believed after a reading: normal belief, reading in proportion, normal error.

        Args:
            misfit_in: tiller read, less the one expected by what was believed before.
            per_difference_in: change of tiller with the difference.
            reading_sd_in: standard deviation of the reading.
        """
        spread = (per_difference_in * self.sd) ** 2 + reading_sd_in**2
        gain = per_difference_in * self.sd**2 / spread
        return Difference(self.mean + gain * misfit_in, self.sd * reading_sd_in / sqrt(spread))


@dataclass(frozen=True)
class LeftOpen:
    """What the records leave open of a bow's tiller.

    Attributes:
        tiller_in: by the recorded dimensions, inches.
        per_difference_in: change of tiller with the difference of the limbs.
        prior: what is believed of that difference before the tiller is read.
    """

    tiller_in: float
    per_difference_in: float
    prior: Difference

    def given(self, read_in: float) -> Difference:
        """Return what is believed of the limbs' difference after a tiller was read with a rule, inches."""
        return self.prior.given(read_in - self.tiller_in, self.per_difference_in, READING_SD_IN)


def left_open(
    form: Form, build: Build, events: Sequence[Event], materials: Mapping[str, Material]
) -> LeftOpen | Refusal:
    """Return what is believed of a bow's limbs before its tiller is read.

    Each doubt moves the tiller by the statics, to first order in it, and the doubts are independent. All that moves
    the tiller is told as the difference in stiffness that would move it as far.

    Args:
        form: the form revision that the build points at.
        build: the build.
        events: its history up to the moment asked for.
        materials: every material that its layers name.

    Returns:
        What is left open, or why the bow cannot be braced.
    """
    found = tillers(doubted(form, build, events, materials))
    return found if isinstance(found, Refusal) else spread(found)


def doubted(
    form: Form, build: Build, events: Sequence[Event], materials: Mapping[str, Material]
) -> list[Pair]:
    """Return a bow as recorded, with its limbs less and more different in stiffness, then with one doubt each.

    What was read of both limbs is changed in both; how unlike limbs come out concerns what was not read of each.
    """
    bow = bow_at(form, build, events)
    moduli = handbook_moduli(bow, materials)
    even = Pair(bow, moduli, moduli)
    shifts = [{given.name: given.sd} for given in bow.inputs]
    return [
        even,
        *(replace(even, difference=sign * _STEP) for sign in (-1, 1)),
        *(replace(even, bow=other) for other in shifted_bows(form, build, events, shifts)),
        *(replace(even, upper=other, lower=other) for other in _other_moduli(moduli, materials)),
        *(replace(even, bow=other) for other in _unlike(form, build, events, bow)),
    ]


def spread(tillers_in: Array) -> LeftOpen:
    """Return what the tillers of the bows that `doubted` gave leave open, shape (n,) in their order."""
    tiller, less, more, *others = tillers_in.tolist()
    per_difference = (more - less) / (2 * _STEP)
    sd = float(np.linalg.norm(np.array(others) - tiller))
    return LeftOpen(tiller, per_difference, Difference(0.0, sd / abs(per_difference)))


def _other_moduli(moduli: Moduli, materials: Mapping[str, Material]) -> Iterator[Moduli]:
    """Yield moduli of which one lot's is larger by its scatter, then those of which one material's is, in all lots."""
    for key, modulus in moduli.items():
        lot = materials[key[0]]
        yield {**moduli, key: modulus * exp(hypot(lot.lot_sd, lot.bow_sd))}
    for name in sorted({material for material, _ in moduli}):
        factor = exp(materials[name].species_sd)
        yield {key: modulus * (factor if key[0] == name else 1.0) for key, modulus in moduli.items()}


def _unlike(form: Form, build: Build, events: Sequence[Event], bow: BowAt) -> Iterator[BowAt]:
    """Yield bows of which the upper limb has more of one kind than was read of both limbs, and the lower less."""
    for own in _of_both(build):
        less = {name: -size for name, size in own.items()}
        more_bow, less_bow = shifted_bows(form, build, events, (own, less))
        yield replace(bow, upper=more_bow.upper, lower=less_bow.lower)
    yield replace(
        bow,
        upper=replace(bow.upper, follow=bow.upper.follow - TIPS_APART_IN),
        lower=replace(bow.lower, follow=bow.lower.follow + TIPS_APART_IN),
    )


def _of_both(build: Build) -> Iterator[dict[str, float]]:
    """Yield what differs together between two limbs, by input: that of which one reading was taken for both."""
    layers = [(f"layers.{i}", layer) for i, layer in enumerate(build.layers) if layer.limb is Side.BOTH]
    yield {f"{name}.evenness": CORES_APART for name, layer in layers if layer.part is not Part.GLASS}
    for name, layer in layers:
        if layer.part is Part.GLASS:
            yield {f"{name}.butt": GLASS_APART_IN}
    widths = [(f"widths.{i}", read) for i, read in enumerate(build.widths) if read.limb is Side.BOTH]
    belly = {f"{name}.belly": WIDTHS_APART * read.belly_in.inch for name, read in widths}
    back = {f"{name}.back": WIDTHS_APART * read.back_in.inch for name, read in widths if read.back_in}
    yield belly | back
