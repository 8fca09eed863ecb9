"""The invented shop presses a bow: what it truly is, and what is written down of it."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from datasets.history import BowAt, LamAt, LimbAt
from datasets.notation import inches, read, thousandths
from datasets.record import ZeroPoint
from datasets.schema import Part, StringMaterial, StringSpec
from datasets.zero_points import from_back
from training.workshop.shop_designs import (
    DESIGN_SHARES,
    DESIGNS,
    GLASS,
    GLASS_SHARES,
    GLASSES_IN,
    PLACES,
    WOOD_SHARES,
    WOODS,
    Design,
)
from training.workshop.shop_truth import SCALES, Key, Scatter, ShopTruth, Weighed, positive

Array = NDArray[np.float64]


class Typed(NamedTuple):
    """A record as typed at the bench."""

    kind: str
    data: dict[str, Any]


class Builder(NamedTuple):
    """Someone at the bench: the division of their rule and where they count draws from."""

    name: str
    division: int
    zero: ZeroPoint


BUILDERS = (
    Builder("Ada", 32, ZeroPoint.STANDARD),
    Builder("Bo", 16, ZeroPoint.STANDARD),
    Builder("Cy", 32, ZeroPoint.BACK),
)
BUILDER_SHARES = (0.5, 0.3, 0.2)
DRAWS_IN = (26.0, 27.0, 28.0, 29.0)
"""Draws at which a bow may be read, from its builder's zero point."""
READ_AT = ((0, 1, 2, 3), (1, 2), (2,))
READ_SHARES = (0.45, 0.3, 0.25)
"""Which of the draws a builder reads, and how often."""
SCALE_SHARES = (0.6, 0.25, 0.15)
FIRST_DAY = date(2021, 3, 1)
DAYS_BETWEEN_BUILDS = 9


@dataclass
class Job:
    """One bow on its way through the shop.

    Attributes:
        build: id of the build.
        bow: its true geometry now.
        noted: the record of the build, as typed.
        shape: effect of its own shape at 28 in.
        effects: all other effects on its weight by now, as a logarithm.
        draws_in: draws from the back of the riser: 28 in (standard), then `DRAWS_IN` from the builder's zero
            point.
        physics_lbf: weight at these draws by the statics, for the true geometry and moduli.
        reads: which of `DRAWS_IN` are read.
        kept: whether each weighing and removal is written down, or the finished weighing only.
        events: what was written down after the build itself.
    """

    build: str
    design: Design
    builder: Builder
    target_lbf: float
    bow: BowAt
    moduli: dict[Key, float]
    noted: dict[str, Any]
    day: date
    shape: float
    effects: float
    finish_loss: float
    settling_at_500: float
    spoilt: float
    scale: str
    draws_in: Array
    reads: tuple[int, ...]
    kept: bool
    physics_lbf: Array = field(default_factory=lambda: np.zeros(0))
    seen_lbf: float = 0.0
    carried_out: list[float] = field(default_factory=list)
    weighed: list[Weighed] = field(default_factory=list)
    events: list[Typed] = field(default_factory=list)

    def write(self, kind: str, data: dict[str, Any]) -> str:
        """Write an event down and return its id."""
        event = f"{self.build}/{len(self.events) + 1}"
        self.events.append(
            Typed(kind, {"id": event, "build": self.build, "on": self.day.isoformat(), **data})
        )
        return event


def press(
    rng: np.random.Generator, scatter: Scatter, shop: ShopTruth, lots: dict[str, Key], number: int
) -> Job:
    """Press the next bow and cut it to profile.

    Args:
        rng: source of chance.
        scatter: sizes of the effects.
        shop: the shop's truth, with the moduli of its lots.
        lots: lot at hand of each wood and each glass thickness.
        number: of the build, from 1.
    """
    design = DESIGNS[rng.choice(len(DESIGNS), p=DESIGN_SHARES)]
    builder = BUILDERS[rng.choice(len(BUILDERS), p=BUILDER_SHARES)]
    wood = str(rng.choice(WOODS, p=WOOD_SHARES))
    glass_in = float(rng.choice(GLASSES_IN, p=GLASS_SHARES))
    target = float(np.round(rng.uniform(*design.targets_lbf)))
    planned = bool(rng.random() < scatter.planned_lams)
    used = {"wood": lots[wood], "glass": lots[glass_shelf(glass_in)]}
    pressed_for = target * (1 + scatter.aim_high) / np.exp(_experience(shop, design, wood))
    cores_in = design.cores_for(float(pressed_for), glass_in)
    layers = planned_layers(design, cores_in, glass_in, used)
    bow, noted_layers = pressed_bow(rng, scatter, design, layers, planned=planned)
    build = f"K-{number:03d}"
    day = FIRST_DAY + timedelta(days=DAYS_BETWEEN_BUILDS * number + int(rng.integers(0, 6)))
    own_scatter = {"wood": scatter.wood_bow, "glass": scatter.glass_bow}
    string = {"material": bow.string.material.value, "strands": bow.string.strands}
    zeroed = [from_back(draw, builder.zero, bow.pivot_depth) for draw in DRAWS_IN]
    return Job(
        build=build,
        design=design,
        builder=builder,
        target_lbf=target,
        bow=bow,
        moduli={
            key: shop.lots[key] * float(np.exp(rng.normal(0, own_scatter[what])))
            for what, key in used.items()
        },
        noted={
            "id": build,
            "form": design.name,
            "length_in": f'{design.length_in:g}"',
            "layers": noted_layers,
            "widths": noted_widths(bow, builder),
            "string": string,
            "brace": inches(design.brace_in, 16),
            "built": day.isoformat(),
            "builder": builder.name,
        },
        day=day,
        shape=float(rng.normal(0, scatter.bow)),
        effects=shop.theory,
        finish_loss=-positive(rng, scatter.finish_mean, scatter.finish),
        settling_at_500=positive(rng, shop.settling_at_500, scatter.settling * shop.settling_at_500),
        spoilt=0.0,
        scale=str(rng.choice(list(SCALES), p=SCALE_SHARES)),
        draws_in=np.array([from_back(28.0, ZeroPoint.STANDARD, bow.pivot_depth), *zeroed]),
        reads=READ_AT[rng.choice(len(READ_AT), p=READ_SHARES)],
        kept=bool(rng.random() >= scatter.only_finished),
    )


def pressed_bow(
    rng: np.random.Generator,
    scatter: Scatter,
    design: Design,
    layers: Sequence[dict[str, Any]],
    *,
    planned: bool,
) -> tuple[BowAt, list[dict[str, Any]]]:
    """Return what a planned stack truly becomes, and its layers as noted.

    Args:
        rng: source of chance.
        scatter: sizes of the effects.
        design: that it is pressed as.
        layers: as planned, back to belly, with plain numbers.
        planned: whether the plan is written down, rather than what was measured.
    """
    thicknesses, noted_layers = _ground(rng, scatter, layers, planned=planned)
    upper, lower = _cut_to_profile(rng, scatter, design, _lams(design, layers, thicknesses))
    return _strung(rng, scatter, design, upper, lower), noted_layers


def _experience(shop: ShopTruth, design: Design, wood: str) -> float:
    """Return by how much bows of this form and wood have come out of this shop over the handbook, as a logarithm.

    The shop knows its usual bow, not its lots: glass makes some four fifths of a limb's stiffness.
    """
    usual = 0.8 * shop.materials[GLASS] + 0.2 * shop.materials[wood]
    return shop.theory + shop.forms[design.name] + usual


def glass_shelf(glass_in: float) -> str:
    """Return where the shop keeps glass of a thickness: each thickness comes in deliveries of its own."""
    return f"{GLASS} {thousandths(glass_in)}"


def planned_layers(
    design: Design, cores_in: float, glass_in: float, used: dict[str, Key]
) -> list[dict[str, Any]]:
    """Return the planned stack, back to belly, with plain numbers."""
    wood, wood_lot = used["wood"]
    _, glass_lot = used["glass"]
    core = {"material": wood, "lot": wood_lot}
    glass = {"part": Part.GLASS.value, "material": GLASS, "lot": glass_lot, "butt_in": glass_in}
    cores = [
        {"part": Part.CORE.value, **core, "butt_in": c.share * cores_in, "taper_per_in": c.taper_per_in}
        for c in design.cores
    ]
    if design.power:
        butt, reach = design.power
        cores.insert(1, {"part": Part.POWER.value, **core, "butt_in": butt, "tip_in": 0.004, "to_in": reach})
    return [glass, *cores, dict(glass)]


def _ground(
    rng: np.random.Generator, scatter: Scatter, layers: Sequence[dict[str, Any]], *, planned: bool
) -> tuple[list[float], list[dict[str, Any]]]:
    """Grind the lams; return their true thickness at the butt, and the layers as noted."""
    true, noted = [], []
    for layer in layers:
        glass = layer["part"] == Part.GLASS
        aim = layer["butt_in"]
        thickness = aim + rng.normal(0, scatter.glass_in if glass else scatter.planned_lam_in)
        seen = thickness + rng.normal(0, scatter.glass_in if glass else scatter.lam_in)
        typed = {key: value for key, value in layer.items() if value not in (None, 0.0)}
        if planned and not glass:
            typed["butt_in"] = {"typed": thousandths(aim), "taken": "planned"}
        else:
            typed["butt_in"] = thousandths(seen)
        if "tip_in" in typed:
            typed["tip_in"] = thousandths(typed["tip_in"])
        if "to_in" in typed:
            typed["to_in"] = inches(typed["to_in"], 16)
        # A plan is written in thousandths, and the grinder works to what is written.
        true.append(thickness + (round(aim, 3) - aim if planned and not glass else 0.0))
        noted.append(typed)
    return true, noted


_LAMS_RUN_ON_IN = 1.0
"""Lams are pressed longer than the limb, which is cut from them."""


def _lams(
    design: Design, layers: Sequence[dict[str, Any]], thicknesses: Sequence[float]
) -> tuple[LamAt, ...]:
    """Return one limb's lams as they truly are."""
    riser = read(design.form["riser_length_in"], "length")
    limb = (design.length_in - riser) / 2
    lams = []
    for layer, butt in zip(layers, thicknesses, strict=True):
        start, end = -riser / 2, layer.get("to_in", limb + _LAMS_RUN_ON_IN)
        lost = layer.get("taper_per_in", 0.0) * (end - start)
        if "tip_in" in layer:
            lost = layer["butt_in"] - layer["tip_in"]
        lams.append(
            LamAt(
                Part(layer["part"]),
                layer["material"],
                layer["lot"],
                (start, end),
                (butt, max(butt - lost, 0.0)),
            )
        )
    return tuple(lams)


def _cut_to_profile(
    rng: np.random.Generator, scatter: Scatter, design: Design, lams: tuple[LamAt, ...]
) -> tuple[LimbAt, LimbAt]:
    """Return the upper and the lower limb as they truly are, a little unlike."""
    riser = read(design.form["riser_length_in"], "length")
    length = (design.length_in + rng.normal(0, 0.03) - riser) / 2
    stations = (0.0, length / 2, length)
    widths = np.array(design.widths_in) + rng.normal(0, 0.02, 3)
    trap = rng.normal(0, scatter.trap_in)
    uneven = 1 + rng.normal(0, scatter.waviness, len(lams))
    core_unlike, width_unlike = rng.normal(0, scatter.limbs, 2)
    radius = max(0.04 + rng.normal(0, scatter.radius_in), 0.005)
    readings = [(reading["at_in"], reading["offset_in"]) for reading in design.form["profile"]]

    def limb(sign: int) -> LimbAt:
        own = widths * (1 + sign * width_unlike)
        shares = uneven * (1 + sign * core_unlike)
        return LimbAt(
            length=length,
            lams=tuple(_waved(lam, share) for lam, share in zip(lams, shares, strict=True)),
            width_belly=(stations, tuple(own.tolist())),
            width_back=(stations, tuple((own + trap).tolist())),
            edge_radius=((0.0,), (radius,)),
            profile=tuple((read(at, "station"), read(offset, "offset")) for at, offset in readings),
            kinks=(),
            follow=0.0,
        )

    return limb(1), limb(-1)


def _waved(lam: LamAt, share: float) -> LamAt:
    if lam.part is Part.GLASS:
        return lam
    return replace(lam, thickness=tuple(value * share for value in lam.thickness))


def _strung(
    rng: np.random.Generator, scatter: Scatter, design: Design, upper: LimbAt, lower: LimbAt
) -> BowAt:
    """Return the bow that two limbs make with their riser, glue lines and string."""
    depth = read(design.form["handle_depth_in"], "width")
    polyester = rng.random() < 0.15
    return BowAt(
        form=f"{design.name}/1",
        kind=design.form["kind"],
        riser_half=read(design.form["riser_length_in"], "length") / 2,
        pivot_depth=depth,
        pivot_above=0.0,
        nocking_above=0.0,
        brace=from_back(design.brace_in, ZeroPoint.PIVOT, depth) + rng.normal(0, scatter.brace_in),
        string=StringSpec(
            material=StringMaterial.POLYESTER if polyester else StringMaterial.LOW_STRETCH,
            strands=int(rng.choice([12, 14, 16])),
        ),
        upper=upper,
        lower=lower,
        glue_line=max(0.004 + rng.normal(0, scatter.glue_line_in), 0.0005),
        nock_offset_shift=rng.normal(0, scatter.nock_offset_in),
        string_stiffness_factor=max(1 + rng.normal(0, scatter.string), 0.3),
        inputs=(),
    )


def noted_widths(bow: BowAt, builder: Builder) -> list[dict[str, str]]:
    """Return the widths of a bow as its builder's rule shows them: of both limbs together."""
    widths = np.mean([limb.width_belly[1] for limb in (bow.upper, bow.lower)], axis=0)
    return [
        {"at": at, "belly_in": inches(width, builder.division)}
        for at, width in zip(PLACES, widths, strict=True)
    ]


_FAULTS = (
    ("built wrong: one core lam went in upside down", -0.06),
    ("damaged: the glue line lifted at the upper fade", -0.12),
    ("guessed: widths are from memory, the bow was sold", 0.0),
)


def spoil(rng: np.random.Generator, job: Job) -> None:
    """Give a bow a fault for which its record may not teach."""
    reason, effect = _FAULTS[rng.integers(len(_FAULTS))]
    job.noted |= {"teaches": False, "why_not": reason}
    if effect:
        job.spoilt = float(rng.normal(effect, 0.03))
        job.effects += job.spoilt
    else:
        for width in job.noted["widths"]:
            width["belly_in"] = inches(read(width["belly_in"], "width") + 0.125, 16)
