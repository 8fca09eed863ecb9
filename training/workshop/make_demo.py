"""Write the demo book: an invented shop's records as typed at the bench, a planned kit, and their data card.

`python -m training.workshop.make_demo` writes the same files again, byte for byte.
"""

import json
from collections import Counter
from collections.abc import Mapping, Sequence
from importlib.resources import files
from pathlib import Path
from typing import Any

from datasets.notation import inches, thousandths
from training.workshop.demo_bench import (
    HEAVY_KIT,
    LIGHT_KIT,
    MISWRITTEN,
    PLANNED_KIT,
    STUDY_SCALES,
    TWINS,
    bench,
    latest_lots,
)
from training.workshop.shop_designs import DESIGNS, LONG, PLACES
from training.workshop.shop_press import BUILDERS, SCALE_SHARES, Typed, glass_shelf, planned_layers
from training.workshop.shop_truth import SCALES, Scatter
from training.workshop.virtual_shop import VirtualShop, simulate

SEED = 1904
"""Any seed would do in which each kind of record, and each reason not to teach, occurs."""

BUILDS = 48
SPOILT = 0.08
"""Share of builds that may not teach."""

KIT_TARGET_LBF = 50.0
KIT_GLASS_IN = 0.040
KIT_WOOD = "hard maple"

BOOK_HEAD = """\
# The book of an invented shop: these bows were computed, not measured (see DEMO.md).
#
# Records as they are typed at the bench. Where no unit stands, lengths are inches: 1 1/16 or 1.0625. Lams and
# glass are in thousandths: .070 or 70 thou. Draw lengths count from the pivot plus 1 3/4 in, unless `back` or
# `pivot` follows. An event's id is its build's with a running number; left out, it is given on adding.
"""

KIT_HEAD = """\
# A kit that the invented shop plans: nothing is cut yet, so every dimension is a plan.
"""

CARD = """\
# Data card of the demo book

**An invented shop.** No bow in `demo.toml` was ever built or measured. The forms, names, stacks and weights are
made up, so that the tool can be tried before a shop's own records are in it.

## What is in it

- {builds} builds, {weigh_ins} weigh-ins, {removals} removals and {riggings} changes of brace height.
- Forms: {forms}.
- Cores of hard maple, red elm, white ash or black cherry between faces of limb glass, .040 or .050.
- Scales: {scales}.
- On the bench: `{heavy}`, a kit that came out heavy for its order and is to be brought down, and `{light}`, a kit that
  came out too light. {twins} are two bows of one plan.
  All of {hands} weighed these on {study_scales}; in truth no hand differs from another.
- One slip: in the record of `{miswritten}` two digits of a core's thickness are swapped.
- {orders} orders and {stock} kinds of lams in stock.
- `demo-planned.toml`: a kit that this shop plans on `{kit_form}`, ordered at {kit_target} at 28 in. Nothing of it
  is cut.

Not to be learned from, as their records say:

{spoilt}

## How it was made

`python -m training.workshop.make_demo` writes these files again, byte for byte, by `simulate({seed}, {run},
chain=True, spoilt={share_spoilt})` of `training/workshop/virtual_shop.py`, with the seed {seed}. What is on the bench
was made of the same truth by `training/workshop/demo_bench.py`, with seeds picked so that its kits come out as said.
Weights come from a chain of rigid links and springs (`training/workshop/link_chain.py`), not from the statics that
the tool predicts with, and carry effects that those statics do not know.

The shop presses bows {aim_high} heavy on purpose, narrows those that come out heavy and keeps the light ones, so the
width of a bow tells of its stiffness. Of about {only_finished} of the bows it kept the finished weighing alone. A new
lot of each material comes in about every {lot_every} builds.

## Sizes of the effects

Standard deviations, but for the means. They are choices of this project, of the size that bench notes and
handbooks suggest; none was measured.

| effect | size |
|---|---|
{sizes}

## What it must not be used for

- To learn the stiffness of a real wood or glass, the weight of a real stack, or what a bow loses in use.
- To judge how well the tool predicts: the effects have the sizes that it expects before it has learned.
- To set the weight, the strain or the safe draw of any bow.
"""


def main() -> None:
    """Write the demo's files into the data folder of `datasets`."""
    folder = Path(str(files("datasets"))) / "data"
    for name, text in demo_files().items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")


def demo_files() -> dict[str, str]:
    """Return the text of each file of the demo by name."""
    shop = demo_shop()
    typed = (*shop.typed, *bench(shop.truth, KIT_TARGET_LBF).typed)
    return {
        "demo.toml": BOOK_HEAD + "".join(f"\n{toml(record)}" for record in typed),
        "demo-planned.toml": f"{KIT_HEAD}\n{toml(planned_kit(shop))}",
        "DEMO.md": card(typed),
    }


def demo_shop() -> VirtualShop:
    """Run the demo's workshop through its builds, without what is on its bench now."""
    return simulate(SEED, BUILDS, chain=True, spoilt=SPOILT)


def planned_kit(shop: VirtualShop) -> Typed:
    """Return a kit planned on the straight form, of the lots that came in last."""
    lots = latest_lots(shop.truth)
    used = {"wood": lots[KIT_WOOD], "glass": lots[glass_shelf(KIT_GLASS_IN)]}
    cores_in = LONG.cores_for(KIT_TARGET_LBF * (1 + Scatter().aim_high), KIT_GLASS_IN)
    layers = planned_layers(LONG, cores_in, KIT_GLASS_IN, used)
    for layer in layers:
        layer |= {end: thousandths(layer[end]) for end in ("butt_in", "tip_in") if end in layer}
        layer |= {end: inches(layer[end], 16) for end in ("to_in",) if end in layer}
    widths = [
        {"at": at, "belly_in": inches(width, 32)} for at, width in zip(PLACES, LONG.widths_in, strict=True)
    ]
    return Typed(
        "build",
        {
            "id": PLANNED_KIT,
            "form": LONG.name,
            "planned": True,
            "length_in": f'{LONG.length_in:g}"',
            "layers": layers,
            "widths": widths,
            "brace": inches(LONG.brace_in, 16),
            "note": f"ordered: {KIT_TARGET_LBF:g} lb at 28 in",
        },
    )


def toml(record: Typed) -> str:
    """Return one record as a TOML table; a long list of tables has a line for each."""
    lines = [f"[[{record.kind}]]", *(f"{key} = {_value(value)}" for key, value in record.data.items())]
    return "\n".join(lines) + "\n"


def _value(value: object) -> str:
    if isinstance(value, list):
        rows = [_inline(row) for row in value]
        together = f"[{', '.join(rows)}]"
        return together if len(together) <= 100 else "[\n" + "".join(f"  {row},\n" for row in rows) + "]"
    return _inline(value) if isinstance(value, dict) else _plain(value)


def _inline(table: Mapping[str, Any]) -> str:
    return "{ " + ", ".join(f"{key} = {_value(value)}" for key, value in table.items()) + " }"


def _plain(value: object) -> str:
    if isinstance(value, str) and '"' in value and "'" not in value:
        return f"'{value}'"
    return json.dumps(value, ensure_ascii=False)  # spelled alike in JSON and TOML


def card(typed: Sequence[Typed]) -> str:
    """Return the data card in Markdown."""
    kinds = Counter(record.kind for record in typed)
    builds = [record.data for record in typed if record.kind == "build"]
    on_form = Counter(build["form"] for build in builds)
    scatter = Scatter()
    return CARD.format(
        builds=kinds["build"],
        run=BUILDS,
        weigh_ins=kinds["weigh_in"],
        removals=kinds["removal"],
        riggings=kinds["rigging"],
        forms=", ".join(f"`{d.name}` ({d.form['kind']}, {on_form[d.name]} bows)" for d in DESIGNS),
        scales=", ".join(
            f"`{name}` (steps of {step:g} lb, {_share(share)} of bows)"
            for (name, step), share in zip(SCALES.items(), SCALE_SHARES, strict=True)
        ),
        orders=kinds["order"],
        stock=kinds["stock"],
        heavy=HEAVY_KIT,
        light=LIGHT_KIT,
        miswritten=MISWRITTEN,
        twins=" and ".join(f"`{twin}`" for twin in TWINS),
        hands=", ".join(hand.name for hand in BUILDERS),
        study_scales=" and ".join(f"`{scale}`" for scale in STUDY_SCALES),
        kit_form=LONG.name,
        kit_target=f"{KIT_TARGET_LBF:g} lb",
        spoilt="\n".join(f"- `{build['id']}`: {build['why_not']}" for build in builds if "why_not" in build),
        seed=SEED,
        share_spoilt=SPOILT,
        aim_high=_share(scatter.aim_high),
        only_finished=_share(scatter.only_finished),
        lot_every=f"{scatter.lot_every:.0f}",
        sizes="\n".join(f"| {what} | {size} |" for what, size in _sizes(scatter)),
    )


def _sizes(scatter: Scatter) -> list[tuple[str, str]]:
    return [
        ("wood: species, lot, one bow", _share(scatter.wood, scatter.wood_lot, scatter.wood_bow)),
        ("glass: mean, lot, one bow", _share(scatter.glass, scatter.glass_lot, scatter.glass_bow)),
        (
            "noted thickness: glass, lam, planned lam",
            _inch(scatter.glass_in, scatter.lam_in, scatter.planned_lam_in),
        ),
        ("unevenness of a lam", _share(scatter.waviness)),
        ("one glue line", _inch(scatter.glue_line_in)),
        ("half the difference between the limbs, in cores and in widths", _share(scatter.limbs)),
        ("never noted: corner radius, width of the back", _inch(scatter.radius_in, scatter.trap_in)),
        ("widths", "noted to 1/32 or 1/16 in"),
        ("brace height, place of the string in the nock", _inch(scatter.brace_in, scatter.nock_offset_in)),
        ("stiffness of the string", _share(scatter.string)),
        ("weight: what beam statics leave out, alike for all bows", _share(scatter.theory)),
        ("weight: shape of a form, of one bow", _share(scatter.form, scatter.bow)),
        ("weight: moisture and temperature of one day", _share(scatter.climate)),
        ("reading of the draw, of the scale", f"{_inch(scatter.draw_in)}, {scatter.scale_lbf} lb"),
        ("bias of a scale", _share(scatter.scale)),
        ("removal carried out, gain of a method", _share(scatter.carried_out, scatter.method_gain)),
        ("finish sanding takes: mean, from bow to bow", _share(scatter.finish_mean, scatter.finish)),
        ("500 shots take: mean over shops", _share(scatter.settling_mean)),
        (
            "its scatter from shop to shop, from bow to bow",
            f"{_share(scatter.settling_shop, scatter.settling)} of it",
        ),
    ]


def _share(*values: float) -> str:
    return ", ".join(f"{100 * value:.2g} %" for value in values)


def _inch(*values: float) -> str:
    return ", ".join(f"{value:g}" for value in values) + " in"


if __name__ == "__main__":
    main()
