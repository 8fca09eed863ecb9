"""The handbook's materials: conversions, moisture, sources, and a shop's own materials."""

import tomllib
from importlib.resources import files

import pytest

from datasets.materials import (
    PSI_PER_GPA,
    Kind,
    Material,
    at_moisture,
    handbook,
    named,
    temperature_factor,
    with_own,
)

HOUSE_GLASS = Material(
    name="limb glass",
    kind=Kind.GLASS,
    modulus_psi=6.3e6,
    species_sd=0.02,
    lot_sd=0.02,
    bow_sd=0.01,
    source="strip tests of the shop",
    citable=False,
)


def test_gigapascals_become_psi_by_the_published_factor() -> None:
    """One psi is 6894.757 Pa (NIST SP 811, appendix B, to its seven digits)."""
    psi_in_pascal = 1e9 / PSI_PER_GPA

    assert psi_in_pascal == pytest.approx(6894.757, abs=5e-4)


def test_wood_is_the_printed_stiffness_freed_from_shear() -> None:
    """Sugar maple, 12.6 GPa in Table 5-3a of FPL-GTR-282, is 10 % stiffer in a limb (5-3b, note c)."""
    assert named("sugar maple").modulus_psi == pytest.approx(1.10 * 12.6e9 / 6894.757293, rel=1e-9)


def test_moisture_formula_gives_the_printed_example() -> None:
    """White ash of 103000 kPa at 12 % and 66000 kPa green is 119500 kPa at 8 % (FPL-GTR-282, Eq. 5-3)."""
    assert at_moisture(103000.0, 66000.0, 8.0, 24.0) == pytest.approx(119500.0, abs=50.0)


def test_moisture_formula_joins_its_two_anchors() -> None:
    """At 12 % the property is the dry one, at the drying point and above the green one."""
    assert at_moisture(12.6, 10.7, 12.0) == pytest.approx(12.6)
    assert at_moisture(12.6, 10.7, 25.0) == pytest.approx(10.7)
    assert at_moisture(12.6, 10.7, 40.0) == pytest.approx(10.7)


def test_temperature_changes_stiffness_by_the_printed_line() -> None:
    """Table 5-16 of FPL-GTR-282 takes 0.1108 % a degree, and is near nought at 70 °F."""
    assert temperature_factor(70.0) == pytest.approx(1.0, abs=0.0011)
    assert temperature_factor(90.0) - temperature_factor(40.0) == pytest.approx(-0.0554, abs=1e-12)


def test_lamina_follows_the_rule_of_mixtures() -> None:
    """E-glass and epoxy at 55 % fibre mixes 72.4 and 3.5 GPa, fibre and matrix of a textbook example."""
    mixture = 0.55 * 72.4 + 0.45 * 3.5

    assert named("e-glass epoxy").modulus_psi / PSI_PER_GPA == pytest.approx(mixture, rel=0.02)


def test_commercial_glass_spans_its_range() -> None:
    """Two standard deviations about the default of limb glass span the stated 38 to 46 GPa."""
    glass = named("limb glass")
    middle = glass.modulus_psi / PSI_PER_GPA

    assert middle * (1 - 2 * glass.species_sd) == pytest.approx(38.0, abs=0.5)
    assert middle * (1 + 2 * glass.species_sd) == pytest.approx(46.0, abs=0.5)


@pytest.mark.parametrize("material", handbook().values(), ids=lambda material: material.name)
def test_every_material_names_its_source(material: Material) -> None:
    """Each row has a source, is no stiffer than carbon, and one from memory is not called citable."""
    assert len(material.source) > 20
    assert 0.3e6 < material.modulus_psi < 30e6
    assert not (material.citable and material.source.startswith("from memory"))


def test_names_are_used_once() -> None:
    """No name or other name stands for two materials."""
    names = [name for material in handbook().values() for name in (material.name, *material.aliases)]

    assert len(names) == len(set(names))


def test_wood_limit_is_rupture_strain() -> None:
    """White ash breaks at its printed 103 MPa over its modulus, below the short beam's 0.86 %."""
    ash = named("white ash")

    assert ash.tension_limit_strain is not None
    assert ash.tension_limit_strain == pytest.approx(103.0 / (1.10 * 12000.0))
    assert ash.tension_limit_strain < 0.0086


def test_glass_limit_is_compressive_strength_over_modulus() -> None:
    """E-glass and epoxy fails in compression at 620 MPa over 41 GPa, about 1.5 %."""
    assert named("e-glass epoxy").compression_limit_strain == pytest.approx(0.015, abs=2e-4)


def test_a_shop_may_name_a_material_as_it_likes() -> None:
    """Other names and capitals find the same record."""
    assert named("Slippery Elm") is named("red elm")


def test_an_unknown_material_is_refused_with_a_near_name() -> None:
    """A misspelt name is answered with the nearest known ones."""
    with pytest.raises(LookupError, match=r"got 'hickery'; did you mean hickory"):
        named("hickery")


def test_a_shops_own_material_holds() -> None:
    """A shop's record replaces the handbook's of the same name and leaves the others."""
    materials = with_own([HOUSE_GLASS])

    assert named("limb glass", materials) is HOUSE_GLASS
    assert named("hard maple", materials) is handbook()["hard maple"]
    assert handbook()["limb glass"] is not HOUSE_GLASS


def test_the_data_file_keeps_printed_numbers() -> None:
    """Rows of the handbook hold stiffness and rupture as printed, in the table's own units."""
    rows = tomllib.loads(files("datasets").joinpath("data/materials.toml").read_text(encoding="utf-8"))
    ash = next(row for row in rows["wood"] if row["name"] == "white ash")

    assert (ash["stiffness_gpa"], ash["rupture_mpa"], ash["drying_point_percent"]) == (12.0, 103.0, 24)
