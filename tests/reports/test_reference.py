"""The reference of records is made from the records, and the kept page is the one that is made."""

import json
from pathlib import Path

import pytest

from datasets.schema import KINDS
from reports.reference import page, schema_json

PAGE = Path(__file__).parents[2] / "datasets" / "RECORDS.md"


def test_the_page_is_up_to_date() -> None:
    """The page is what `drawweight schema --page` prints; if it is not, write it anew with that."""
    assert PAGE.read_text(encoding="utf-8") == page()


@pytest.mark.parametrize("kind", KINDS)
def test_every_field_is_on_the_page(kind: str) -> None:
    """No field of a record is left out, and the needed ones are marked."""
    section = page().split(f"## `[[{kind}]]`")[1].split("\n## ")[0]
    for name, field in KINDS[kind].model_fields.items():
        (row,) = [line for line in section.splitlines() if line.startswith(f"| `{name}` |")]
        marked = row.split("|")[3].strip() == "yes"
        given_out = name == "id" and kind not in {"form", "scale", "shop"}
        assert marked == (field.is_required() and not given_out)


def test_schema_is_json_schema() -> None:
    """One kind's schema is the one that its record gives; all kinds come by name."""
    assert json.loads(schema_json("build")) == KINDS["build"].model_json_schema()
    assert set(json.loads(schema_json())) == set(KINDS)
