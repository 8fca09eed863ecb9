"""How stiff a limb's materials are by the handbooks, how much they scatter, and how moisture changes wood.

The values are in `data/materials.toml`, each with its source. A shop adds its own materials as records.
"""

import math
import tomllib
from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from enum import StrEnum
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any

from pydantic import Field

from datasets.notation import MM_PER_INCH, NEWTON_PER_LBF
from datasets.record import Record

PSI_PER_GPA = 1e9 * (MM_PER_INCH / 1000) ** 2 / NEWTON_PER_LBF
"""Exact, by the factors of `datasets.notation`."""

SLENDER_BEAM = 1.10
"""Bending stiffness of a slender beam over the handbook's, whose short test beams also shear (Wood Handbook
FPL-GTR-282, Table 5-3b, footnote c)."""

USUAL_DRYING_POINT_PERCENT = 25.0
"""Moisture below which drying stiffens wood, where the handbook lists none (FPL-GTR-282, Table 5-13)."""


class Kind(StrEnum):
    """What a material is, as far as its scatter and its limits go."""

    WOOD = "wood"
    GLASS = "glass"
    CARBON = "carbon"
    ADHESIVE = "adhesive"
    OTHER = "other"


class Material(Record):
    """A material's stiffness along the limb, and what is known of its scatter and limits.

    The scatters are standard deviations of the logarithm: of the material's mean about `modulus_psi`, of a
    lot's mean about the material's, and of one bow's lams about their lot. The strain limits are for a margin
    only: they come from small clear samples without knots, fatigue or age; a limb must stay well below them.
    """

    name: str = Field(min_length=1, max_length=40, description="what the shop calls it")
    kind: Kind
    modulus_psi: float = Field(gt=0, le=1e8, description="Young's modulus in bending of a slender limb, psi")
    species_sd: float = Field(gt=0, le=1, description="log sd of the material's mean about modulus_psi")
    lot_sd: float = Field(gt=0, le=1, description="log sd of a lot about the material's mean")
    bow_sd: float = Field(gt=0, le=1, description="log sd of one bow's lams about their lot")
    tension_limit_strain: float | None = Field(
        default=None, gt=0, le=0.1, description="strain at rupture in tension"
    )
    compression_limit_strain: float | None = Field(
        default=None, gt=0, le=0.1, description="strain at failure in compression"
    )
    green_modulus_psi: float | None = Field(
        default=None, gt=0, le=1e8, description="the same, of unseasoned wood"
    )
    drying_point_percent: float = Field(
        default=USUAL_DRYING_POINT_PERCENT,
        ge=15,
        le=40,
        description="moisture below which drying stiffens the wood",
    )
    aliases: tuple[str, ...] = Field(default=(), description="other names of it")
    source: str = Field(min_length=3, description="where the stiffness comes from")
    citable: bool = Field(description="whether the source is one that can be cited")


@cache
def handbook() -> Mapping[str, Material]:
    """Return the shipped materials by name."""
    text = files("datasets").joinpath("data/materials.toml").read_text(encoding="utf-8")
    rows = tomllib.loads(text)
    woods = [_wood(row, rows["defaults"]["wood"]) for row in rows["wood"]]
    others = [_other(row) for row in rows["other"]]
    return MappingProxyType({material.name: material for material in [*woods, *others]})


def with_own(own: Iterable[Material], known: Mapping[str, Material] | None = None) -> Mapping[str, Material]:
    """Return the `known` materials (the handbook's) with a shop's own, which hold where both have a name."""
    base = handbook() if known is None else known
    return MappingProxyType({**base, **{material.name: material for material in own}})


def named(name: str, known: Mapping[str, Material] | None = None) -> Material:
    """Return the material of a name or another name of it, without regard to capitals.

    Raises:
        LookupError: no material of that name is known.
    """
    materials = handbook() if known is None else known
    wanted = name.strip().casefold()
    for material in materials.values():
        if material.name.casefold() == wanted:
            return material
    for material in materials.values():
        if wanted in (alias.casefold() for alias in material.aliases):
            return material
    names = [n for material in materials.values() for n in (material.name, *material.aliases)]
    close = get_close_matches(wanted, names, n=3)
    advice = f"did you mean {' or '.join(close)}?" if close else "add it to the shop's materials"
    raise LookupError(f"wanted a known material, got {name!r}; {advice}")


def at_moisture(
    dry: float,
    green: float,
    moisture_percent: float,
    drying_point_percent: float = USUAL_DRYING_POINT_PERCENT,
) -> float:
    """Return a property of clear wood at a moisture content.

    P = P₁₂ (P₁₂ / P_g) ^ ((12 − M) / (M_p − 12)), Wood Handbook FPL-GTR-282 (2021), Eq. 5-3; at about 21 °C.
    At and above the drying point the property is the green one.

    Args:
        dry: The property at 12 % moisture, any unit.
        green: The property of unseasoned wood, in the same unit.
        moisture_percent: Moisture content, percent of oven-dry mass.
        drying_point_percent: Moisture content below which drying changes the property.
    """
    moisture = min(moisture_percent, drying_point_percent)
    exponent = (12.0 - moisture) / (drying_point_percent - 12.0)
    return dry * math.pow(dry / green, exponent)


def temperature_factor(temperature_f: float) -> float:
    """Return the stiffness of wood at 12 % moisture over that at 70 °F, temperature in °F.

    Change in percent = 7.8553 − 0.1108 T: Wood Handbook FPL-GTR-282 (2021), Table 5-16, a fit to lumber from
    −15 to 150 °F. It does not pass through nought at 70 °F exactly (0.1 %). Not for glass.
    """
    return 1.0 + (7.8553 - 0.1108 * temperature_f) / 100.0


def _wood(row: Mapping[str, Any], defaults: Mapping[str, Any]) -> Material:
    """Turn a printed row of the Wood Handbook into a material of slender limbs."""
    stiffness_gpa = row["stiffness_gpa"] * SLENDER_BEAM
    green_gpa = row.get("green_stiffness_gpa")
    rupture_strain = row["rupture_mpa"] / (1e3 * stiffness_gpa)
    return Material(
        name=row["name"],
        kind=Kind.WOOD,
        modulus_psi=stiffness_gpa * PSI_PER_GPA,
        green_modulus_psi=None if green_gpa is None else green_gpa * SLENDER_BEAM * PSI_PER_GPA,
        drying_point_percent=row.get("drying_point_percent", USUAL_DRYING_POINT_PERCENT),
        tension_limit_strain=rupture_strain,
        compression_limit_strain=rupture_strain,
        aliases=tuple(row.get("aliases", ())),
        citable=True,
        **defaults,
    )


def _other(row: Mapping[str, Any]) -> Material:
    """Turn a row of any other material, taken as it stands, into a record."""
    fields = dict(row)
    gpa = fields.pop("stiffness_gpa")
    for side in ("tension", "compression"):
        strength_mpa = fields.pop(f"{side}_mpa", None)
        if strength_mpa is not None:
            fields[f"{side}_limit_strain"] = strength_mpa / (1e3 * gpa)
    return Material(modulus_psi=gpa * PSI_PER_GPA, **fields)
