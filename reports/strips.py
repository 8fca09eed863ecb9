"""What a strip test says: its modulus, beside the handbook's and beside what was believed of the lot."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import exp
from statistics import NormalDist

from rich.console import Console
from rich.markup import escape

from datasets.contents import Contents
from datasets.materials import PSI_PER_GPA, Material, named
from datasets.schema import StripTest
from predictor.belief.lots import StripReading, lot_belief, read_strip, strip_belief, with_strips
from predictor.belief.mixture import NormalMixture
from predictor.belief.model import Model, prior_belief
from reports.expectation import SURE
from reports.numbers import decimals_for, fixed
from reports.printing import table

LEVEL = 0.9
"""Coverage of the intervals that are told."""

PSI_PER_MSI = 1e6

NO_MISFIT = 3.0
"""A deflection off the line of the others by more of its standard deviations is told."""

_ADVICE = {
    "deflections": "hang more weight, or several weights one after the other",
    "span": "measure it by caliper",
    "width": "measure it by caliper",
    "thickness": "measure it by micrometer at several places",
    "loads": "weigh them on a better scale",
    "shear": "use a longer span",
}
"""What to do about each source of a strip's doubt."""


@dataclass(frozen=True)
class Modulus:
    """A Young's modulus with the interval that holds it nine times in ten, in psi."""

    psi: float
    low_psi: float
    high_psi: float


@dataclass(frozen=True)
class Told:
    """A strip test beside what was known.

    Attributes:
        material: of the strip.
        reading: the strip as an observation.
        strip: its modulus, by what was measured.
        before: of its lot, before this strip.
        after: of its lot, with it.
        off: strip less what was expected of it, over the standard deviation of that.
    """

    material: Material
    reading: StripReading
    strip: Modulus
    before: Modulus
    after: Modulus
    off: float

    @property
    def far(self) -> bool:
        """Whether the strip lies outside of what nearly all such strips read."""
        return abs(self.off) > NormalDist().inv_cdf((1 + SURE) / 2)

    @property
    def misfits(self) -> tuple[int, ...]:
        """Places of the deflections that lie off the line of the others."""
        return tuple(place for place, off in enumerate(self.reading.found.misfits) if abs(off) > NO_MISFIT)


def tell(contents: Contents, test: StripTest, model: Model | None) -> Told:
    """Return what a strip test of a known material says, whether or not the book has it yet.

    Raises:
        ValueError: the test cannot be read.
    """
    materials = contents.materials
    material, reading = materials[test.material], read_strip(test, materials)
    others = [one for one in contents.strips.values() if one.id != test.id and one.material == test.material]
    belief = with_strips(prior_belief() if model is None else model.belief(), others, materials)
    before, expected = lot_belief(belief, reading.lot, materials), strip_belief(belief, reading, materials)
    after = lot_belief(with_strips(belief, [test], materials), reading.lot, materials)
    return Told(
        material=material,
        reading=reading,
        strip=_measured(reading),
        before=_modulus(before, material),
        after=_modulus(after, material),
        off=(reading.log_ratio - float(expected.mean[0])) / float(expected.sd[0]),
    )


def _measured(reading: StripReading) -> Modulus:
    """Return a strip's own modulus, by what was measured of it."""
    psi, reach = reading.found.modulus, exp(NormalDist().inv_cdf((1 + LEVEL) / 2) * reading.found.log_sd)
    return Modulus(psi, psi / reach, psi * reach)


def _modulus(ratio: NormalMixture, material: Material) -> Modulus:
    """Return a lot's modulus from the logarithm of its ratio to the handbook's."""
    ends = ((1 - LEVEL) / 2, (1 + LEVEL) / 2)
    middle, low, high = (
        material.modulus_psi * exp(float(ratio.quantile(level)[0])) for level in (0.5, *ends)
    )
    return Modulus(middle, low, high)


def lot_of(what: str, lot: str | None, contents: Contents) -> tuple[str, str | None]:
    """Return the material and lot that are meant by a material's name, or by that of a lot of the book.

    Raises:
        LookupError: there is no such material, and not one material that has a lot of that name.
    """
    try:
        return named(what, contents.materials).name, lot
    except LookupError as unknown:
        layers = (layer for build in contents.builds.values() for layer in build.layers)
        has = {layer.material for layer in layers if layer.lot == what}
        has |= {strip.material for strip in contents.strips.values() if strip.lot == what}
        if lot is not None:
            raise
        if len(has) > 1:
            raise LookupError(
                f"wanted one material, got the lot {what} of {' and '.join(sorted(has))}; name it, with --lot {what}"
            ) from None
        if not has:
            raise LookupError(f"{unknown} (or name a lot that the book has)") from None
        return has.pop(), what


def far_in_words(told: Told) -> str:
    """Return one line that says what was expected of a strip and what it reads."""
    decimals = _decimals([told.before], PSI_PER_MSI)
    _, low, high = _texts(told.before, PSI_PER_MSI, decimals)
    value, _, _ = _texts(told.strip, PSI_PER_MSI, decimals)
    return (
        f"expected a lot of {low} to {high} Msi, the strip reads {value}; "
        "check thickness, span and the zero of the deflections"
    )


def show_strip(told: Told, out: Console) -> None:
    """Print a strip's modulus, and what it does to the belief in its lot."""
    lot = told.reading.lot.level
    handbook = told.material.modulus_psi
    known = [told.strip, told.before, told.after]
    decimals = {unit: _decimals(known, unit) for unit in (PSI_PER_MSI, PSI_PER_GPA)}
    named_moduli = {
        "this strip, by what was measured": told.strip,
        "handbook": Modulus(handbook, handbook, handbook),
        "the lot, as believed before": told.before,
        "the lot, as believed now": told.after,
    }
    rows = [[name, *_cells(modulus, decimals)] for name, modulus in named_moduli.items()]
    out.print(f"[bold]{escape(lot)}[/]: Young's modulus in bending")
    out.print(table(["", "Msi", f"{LEVEL:.0%}", "GPa", f"{LEVEL:.0%}"], rows, right=(1, 3)))
    over = told.strip.psi / handbook - 1
    out.print(f"The strip reads {abs(over):.0%} {'above' if over > 0 else 'below'} the handbook.")
    log_sds = {"deflections": told.reading.found.reading_sd, **told.reading.found.dimension_sds}
    largest = max(log_sds, key=lambda name: log_sds[name])
    out.print(f"Most of its doubt comes from the {largest}: {_ADVICE[largest]}.")
    if told.reading.lot.lot is None:
        out.print(
            f"Its lot is not noted, so it tells of {escape(told.material.name)} as such and of no bow's lot: to have "
            "it counted for a lot, note the delivery with the strip (--lot) and with the bow's layers."
        )
    out.print(
        f"However many strips are read alike, ±{fixed(100 * told.reading.shared_sd, 1)}% stays: they share what the "
        "instruments are off by."
    )
    for place in told.misfits:
        out.print(f"Reading {place + 1} lies off the line of the others: check it.")


def strip_rows(contents: Contents) -> list[list[str]]:
    """Return one row for each strip test of the book: id, day, lot, and its modulus in Msi with the interval."""
    rows = []
    for test in contents.strips.values():
        reading = read_strip(test, contents.materials)
        one = _measured(reading)
        decimals = {PSI_PER_MSI: _decimals([one], PSI_PER_MSI)}
        rows.append([test.id, test.on.isoformat(), reading.lot.level, *_cells(one, decimals)])
    return rows


def _cells(modulus: Modulus, decimals: Mapping[float, int]) -> list[str]:
    """Return a modulus and its interval in each unit, with so many decimals; no interval where it has no width."""
    cells = []
    for unit, digits in decimals.items():
        value, low, high = _texts(modulus, unit, digits)
        cells += [value, f"{low} to {high}" if modulus.high_psi > modulus.low_psi else ""]
    return cells


def _texts(modulus: Modulus, psi_per_unit: float, decimals: int) -> tuple[str, str, str]:
    value, low, high = (
        fixed(psi / psi_per_unit, decimals) for psi in (modulus.psi, modulus.low_psi, modulus.high_psi)
    )
    return value, low, high


def _decimals(moduli: Sequence[Modulus], psi_per_unit: float) -> int:
    """Return the decimals that the narrowest interval deserves."""
    return max(decimals_for((one.high_psi - one.low_psi) / (2 * psi_per_unit)) for one in moduli)


def strip_json(told: Told) -> str:
    """Return the same as JSON, in psi and logarithms."""
    found = told.reading.found
    parts = {
        "material": told.reading.lot.material,
        "lot": told.reading.lot.lot,
        "level": LEVEL,
        "handbook_psi": told.material.modulus_psi,
        **{
            name: {"psi": one.psi, "low_psi": one.low_psi, "high_psi": one.high_psi}
            for name, one in (("strip", told.strip), ("lot_before", told.before), ("lot_now", told.after))
        },
        "log_sds": {"deflections": found.reading_sd, **found.dimension_sds},
        "log_sd_shared_by_strips": told.reading.shared_sd,
        "off_in_sds": told.off,
        "misfit_readings": [place + 1 for place in told.misfits],
    }
    return json.dumps(parts, indent=2)
