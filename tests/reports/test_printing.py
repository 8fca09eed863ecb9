"""Words as they are printed."""

import pytest

from reports.printing import named_once


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("lot black cherry, black cherry 2", "lot black cherry 2"),
        ("bend a strip of limb glass, limb glass .050 4", "bend a strip of limb glass .050 4"),
        ("lot hard maple, B7", "lot hard maple, B7"),
        ("lot hard maple, lot not noted", "lot hard maple, lot not noted"),
        ("scale spring-brass", "scale spring-brass"),
    ],
)
def test_a_lot_named_after_its_material_names_it_once(text: str, told: str) -> None:
    """Where a lot's own name starts with its material, the material is not said before it again."""
    assert named_once(text) == told
