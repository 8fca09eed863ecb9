"""Records take what the bench writes, refuse what cannot be, and read back the same."""

from datetime import date
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from datasets import notation
from datasets.materials import Kind, Material, handbook
from datasets.record import Defaults, Draw, Record, Side, Taken, ZeroPoint
from datasets.schema import (
    KINDS,
    Build,
    Form,
    FormKind,
    Layer,
    Method,
    Part,
    Removal,
    Rigging,
    Scale,
    Shop,
    Stage,
    StringMaterial,
    Support,
    WeighIn,
)
from tests import shop

ids = st.from_regex(r"[A-Z]{1,3}-[0-9]{3,6}", fullmatch=True)
names = st.from_regex(r"[a-z0-9][a-z0-9-]{0,39}", fullmatch=True)
notes = st.none() | st.text(st.characters(codec="utf-8", categories=("L", "N", "P", "Zs")), max_size=40)
days = st.dates(date(1980, 1, 1), date(2100, 1, 1))


def inches(low: float, high: float) -> st.SearchStrategy[Any]:
    """Return lengths as they come: a number, text with a fraction, millimetres, or a stored value."""
    numbers = st.floats(low, high)
    stored = st.builds(
        lambda inch, taken, typed: {"inch": inch, "taken": taken, "typed": typed},
        numbers,
        st.sampled_from(Taken),
        st.none() | st.text(max_size=10).map(str.strip),
    )
    return numbers | numbers.map(lambda inch: f"{inch:.6f}") | stored


def draws() -> st.SearchStrategy[Any]:
    """Return draw lengths, with and without their zero point."""
    written = st.builds(
        lambda n, zero: f"{n} {zero}".strip(), st.integers(10, 34), st.sampled_from(["", *ZeroPoint])
    )
    return written | st.builds(
        lambda n, z: {"inch": n, "zero": z}, st.floats(8, 36), st.sampled_from(ZeroPoint)
    )


cuts = st.lists(
    st.fixed_dictionaries(
        {"at": st.sampled_from(["fade", "mid", "nock"]) | inches(0, 40), "amount_in": inches(0.001, 0.5)}
    ),
    min_size=1,
    max_size=3,
)
strings = st.fixed_dictionaries({"material": st.sampled_from(StringMaterial), "strands": st.integers(4, 40)})
event = {"id": ids.map(lambda build: f"{build}/7"), "build": ids, "on": days, "note": notes}
layers = st.fixed_dictionaries(
    {"part": st.sampled_from(Part), "material": names, "butt_in": inches(0, 1)},
    optional={
        "lot": st.text("abc-12", min_size=1, max_size=8),
        "tip_in": inches(0, 1),
        "from_in": inches(-12, 12),
        "to_in": inches(0, 30),
        "limb": st.sampled_from(Side),
    },
)
widths = st.fixed_dictionaries(
    {"at": st.sampled_from(["fade", "mid", "nock"]) | inches(0, 40), "belly_in": inches(0.25, 4)},
    optional={"back_in": inches(0.25, 4), "limb": st.sampled_from(Side)},
)
profile = st.fixed_dictionaries({"at_in": inches(0, 50), "offset_in": inches(-12, 12)})
pounds = st.floats(1, 150)

RECORDS: dict[str, st.SearchStrategy[dict[str, Any]]] = {
    "form": st.fixed_dictionaries(
        {
            "id": names,
            "revision": st.integers(1, 99),
            "kind": st.sampled_from(FormKind),
            "riser_length_in": inches(4, 30),
            "handle_depth_in": inches(0.5, 4),
            "limb_length_in": inches(10, 40),
            "profile": st.lists(profile, min_size=2, max_size=8),
            "kinks_in": st.lists(inches(0, 30), max_size=2),
            "pivot_above_centre_in": st.none() | inches(-3, 3),
            "note": notes,
        }
    ),
    "build": st.fixed_dictionaries(
        {
            "id": ids,
            "form": names,
            "form_revision": st.integers(1, 99),
            "planned": st.booleans(),
            "length_in": inches(30, 90),
            "layers": st.lists(layers, min_size=1, max_size=5),
            "widths": st.lists(widths, min_size=2, max_size=5),
            "edge_radius_in": st.none() | inches(0, 0.3),
            "profile": st.lists(profile, max_size=4),
            "string": strings,
            "brace": inches(3, 12).filter(lambda b: not isinstance(b, dict)),
            "built": st.none() | days,
            "note": notes,
        }
    ),
    "weigh_in": st.fixed_dictionaries(
        {
            **event,
            "stage": st.sampled_from(Stage),
            "readings": st.lists(
                st.fixed_dictionaries({"draw": draws(), "weight": pounds}), min_size=1, max_size=1
            ),
            "pulls": st.none() | st.integers(0, 500),
            "temperature_f": st.none() | st.floats(0, 120),
            "gap_upper_in": st.none() | inches(2, 12),
        }
    ),
    "removal": st.fixed_dictionaries(
        {
            **event,
            "method": st.sampled_from(Method),
            "limb": st.sampled_from(Side),
            "planned": cuts,
            "done": cuts,
        }
    ),
    "rigging": st.fixed_dictionaries({**event, "string": strings}),
    "strip": st.fixed_dictionaries(
        {
            "id": st.from_regex(r"STRIP-[0-9]{3,6}", fullmatch=True),
            "material": names,
            "lot": st.none() | st.text("abc-12", min_size=1, max_size=8),
            "on": days,
            "support": st.sampled_from(Support),
            "span_in": inches(4, 40),
            "width_in": inches(0.25, 4),
            "thickness_in": inches(0.01, 0.5),
            "thickness_sd_in": st.none() | st.floats(1e-4, 0.05),
            "loads": st.lists(
                st.fixed_dictionaries({"load": st.floats(0.05, 50), "deflection_in": inches(0.01, 20)}),
                min_size=1,
                max_size=4,
            ),
            "note": notes,
        }
    ),
    "order": st.fixed_dictionaries(
        {
            "id": st.from_regex(r"ORDER-[0-9]{3,6}", fullmatch=True),
            "weight": pounds,
            "draw": draws(),
            "tolerance_lbf": st.none() | st.floats(0.1, 20),
            "shots": st.integers(0, 5000),
            "scale": st.none() | names,
            "build": st.just("K-014"),
            "due": st.none() | days,
            "delivered": st.none() | st.just("K-014/3"),
            "note": notes,
        }
    ),
    "stock": st.fixed_dictionaries(
        {
            "id": st.from_regex(r"STOCK-[0-9]{3,6}", fullmatch=True),
            "part": st.sampled_from(Part),
            "material": names,
            "thickness_in": inches(0.1, 1),
            "ground_to_in": st.none() | inches(0.02, 0.1),
            "taper_per_in": st.none() | st.floats(0, 0.02),
            "length_in": st.none() | inches(20, 90),
            "pieces": st.integers(0, 500),
            "note": notes,
        }
    ),
    "material": st.sampled_from([material.model_dump() for material in handbook().values()]),
    "scale": st.fixed_dictionaries(
        {
            "id": names,
            "division_lbf": st.floats(0.01, 5),
            "checks": st.lists(st.fixed_dictionaries({"known": pounds, "read": pounds}), max_size=3),
        }
    ),
    "shop": st.fixed_dictionaries(
        {
            "name": st.just("Ash Lane"),
            "draw_zero": st.sampled_from(ZeroPoint),
            "tolerance_lbf": st.floats(0.1, 20),
            "least_width_nock_in": st.none() | inches(0.25, 2),
        }
    ),
}


def test_every_kind_has_a_strategy() -> None:
    """The round trip below leaves no kind of record out."""
    assert set(RECORDS) == set(KINDS)


@pytest.mark.parametrize("kind", RECORDS)
@settings(max_examples=30, deadline=None)
@given(data=st.data())
def test_what_is_stored_reads_back_equal(kind: str, data: st.DataObject) -> None:
    """Every record survives the way through JSON, and its JSON is the same the second time."""
    record = KINDS[kind].model_validate(data.draw(RECORDS[kind]), context=Defaults(draw_zero=ZeroPoint.BACK))
    stored = record.model_dump_json()
    again = KINDS[kind].model_validate_json(stored)

    assert again == record
    assert again.model_dump_json() == stored


@pytest.mark.parametrize("kind", KINDS)
def test_unknown_fields_are_refused(kind: str) -> None:
    """A field that a record does not have is an error, not silence."""
    with pytest.raises(ValidationError) as refusal:
        KINDS[kind].model_validate({"colour": "red"})

    assert [e["loc"] for e in refusal.value.errors() if e["type"] == "extra_forbidden"] == [("colour",)]


@pytest.mark.parametrize("kind", KINDS)
def test_records_are_frozen(kind: str) -> None:
    """Nothing changes a record once it is read."""
    assert KINDS[kind].model_config["frozen"] is True


def read(typed: shop.Typed, **context: Any) -> Record:
    """Read a typed record with ids given."""
    missing = {
        "id": {"build": "K-001", "order": "ORDER-001", "stock": "STOCK-001"}.get(typed.kind, "K-001/1")
    }
    data = typed.data if typed.kind == "form" else {**missing, **typed.data}
    return KINDS[typed.kind].model_validate(data, context=Defaults(**context))


def refusals(typed: shop.Typed) -> list[tuple[str, str]]:
    """Return the field and the message of each refusal."""
    with pytest.raises(ValidationError) as refusal:
        read(typed)
    return [(".".join(map(str, e["loc"])), e["msg"]) for e in refusal.value.errors()]


def test_bench_notation_is_read_and_kept() -> None:
    """Fractions, thou, bare decimals and inch marks give inches; what was typed stays beside the number."""
    build = read(shop.build())
    assert isinstance(build, Build)

    assert (build.length_in.inch, build.length_in.typed) == (64, '64"')
    assert (build.widths[1].belly_in.inch, build.widths[1].belly_in.typed) == (1.0625, "1 1/16")
    assert (build.layers[2].butt_in.inch, build.layers[2].butt_in.typed) == (0.13, "130 thou")
    assert (build.layers[0].butt_in.taken, build.widths[0].belly_in.taken) == (Taken.CALIPER, Taken.RULE)


def test_how_a_dimension_was_taken_can_be_said() -> None:
    """A table with what was typed and how it was taken is read like the bare text."""
    build = read(shop.build(edge_radius_in={"typed": "1/8", "taken": "planned"}))
    assert isinstance(build, Build)

    assert build.edge_radius_in is not None
    assert (build.edge_radius_in.inch, build.edge_radius_in.taken) == (0.125, Taken.PLANNED)


def test_zero_points_come_from_the_text_or_the_shop() -> None:
    """A draw or brace that names no zero point has the shop's; one that names it has its own."""
    weigh_in = read(
        shop.weigh_in(
            readings=[{"draw": "28", "weight": "45"}, {"draw": "26 1/4 pivot", "weight": "45"}],
            brace="6 back",
        ),
        draw_zero=ZeroPoint.BACK,
        brace_zero=ZeroPoint.STANDARD,
    )
    assert isinstance(weigh_in, WeighIn)

    assert [reading.draw.zero for reading in weigh_in.readings] == [ZeroPoint.BACK, ZeroPoint.PIVOT]
    assert weigh_in.brace is not None
    assert weigh_in.brace.zero is ZeroPoint.BACK
    assert TypeAdapter(Draw).validate_python("28").zero is ZeroPoint.STANDARD


@pytest.mark.parametrize(
    ("typed", "field", "message"),
    [
        (
            shop.build(layers=[{"part": "core", "material": "yew", "butt_in": "70"}]),
            "layers.0.butt_in",
            "Value error, wanted a thickness of 0 to 1 in, got '70': 70 in? write 70 thou or .070",
        ),
        (
            shop.build(
                layers=[
                    {
                        "part": "core",
                        "material": "yew",
                        "butt_in": ".3",
                        "tip_in": ".2",
                        "taper_per_in": 0.002,
                    }
                ]
            ),
            "layers.0",
            "Value error, wanted tip_in or taper_per_in, got both; leave one out",
        ),
        (
            shop.build(teaches=False),
            "",
            "Value error, wanted why_not exactly when teaches is false, "
            "got teaches = false and why_not = None; set both",
        ),
        (
            shop.build(why_not="built wrong"),
            "",
            "Value error, wanted why_not exactly when teaches is false, "
            "got teaches = true and why_not = 'built wrong'; set both",
        ),
        (
            shop.build(length_in="2 in"),
            "length_in",
            "Value error, wanted a length of 4 to 100 in, got 2 in; check its unit",
        ),
        (
            shop.weigh_in(readings=[{"draw": "28", "weight": "45"}, {"draw": "28.0", "weight": "46"}]),
            "",
            "Value error, wanted each draw once, got 28 in twice; weigh again or average the two",
        ),
        (
            shop.weigh_in(readings=[{"draw": "28", "weight": "48ish"}]),
            "readings.0.weight",
            "Value error, wanted a draw weight of 1 to 150 lb, got '48ish'; "
            "write the number that was read, and put the doubt into the note",
        ),
        (
            shop.removal(done=[]),
            "",
            "Value error, wanted an amount, got neither planned nor done; "
            "give at least one place with its amount",
        ),
        (
            shop.Typed("rigging", {"build": "K-001", "on": "2026-03-06"}),
            "",
            "Value error, wanted a string or a brace height, got neither; give the one that changed",
        ),
        (
            shop.order(delivered="K-002/3"),
            "",
            "Value error, wanted delivered to be a weighing of the order's build, "
            "got K-002/3 and build K-001; set both",
        ),
        (
            shop.stock(ground_to_in=".150"),
            "",
            "Value error, wanted ground_to_in at or below thickness_in, got 0.15 in over 0.13 in; check which is which",
        ),
    ],
)
def test_refusals_say_what_to_do(typed: shop.Typed, field: str, message: str) -> None:
    """What cannot be is refused at its field, in one line: what was wanted, what came, what to do."""
    (where, said), *_ = refusals(typed)

    assert where.startswith(field)
    assert said.startswith(message)
    assert "\n" not in said


def test_same_draw_from_two_zero_points_is_two_readings() -> None:
    """28 in from the pivot and 28 in from the back are different draws."""
    weigh_in = read(
        shop.weigh_in(readings=[{"draw": "28 pivot", "weight": "47"}, {"draw": "28 back", "weight": "44"}])
    )

    assert isinstance(weigh_in, WeighIn)
    assert len(weigh_in.readings) == 2


def test_a_shops_material_needs_its_source() -> None:
    """A material without a source is refused: nobody could tell later what its stiffness rests on."""
    with pytest.raises(ValidationError, match="source"):
        Material.model_validate(
            {
                "name": "x",
                "kind": Kind.WOOD,
                "modulus_psi": 1e6,
                "species_sd": 0.1,
                "lot_sd": 0.1,
                "bow_sd": 0.1,
                "citable": False,
            }
        )


@pytest.mark.parametrize("record", [Form, Build, Layer, WeighIn, Removal, Rigging, Scale, Shop])
def test_lengths_have_their_unit_in_the_name(record: type[Record]) -> None:
    """A field that holds a length in inches says so; a place may be a word instead."""
    for name, field in record.model_fields.items():
        if "Dimension" in str(field.annotation) and "tuple" not in str(field.annotation):
            assert name.endswith("_in"), name


def test_notation_errors_are_value_errors() -> None:
    """Text that cannot be read is a refusal of its field, so one bad cell does not hide the others."""
    assert issubclass(notation.NotationError, ValueError)
    assert len(refusals(shop.build(brace="low", length_in="long"))) == 2
