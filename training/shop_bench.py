"""Work at the bench of the invented shop: press a bow, take stock off it, weigh it, write it down."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from datasets.history import BowAt, LamAt, LimbAt, Polyline
from datasets.notation import inches, read, thousandths
from datasets.record import Side, ZeroPoint
from datasets.schema import Method, Part, Stage, StringMaterial, StringSpec
from datasets.zero_points import from_back, from_zero
from training.shop_designs import (
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
from training.shop_truth import SCALES, Key, Scatter, ShopTruth, Weighed, positive, shape_effect

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

    @property
    def depth_in(self) -> float:
        """From the back of the riser to the pivot."""
        return self.bow.pivot_depth

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
    thicknesses, noted_layers = _ground(rng, scatter, layers, planned=planned)
    bow, noted_widths = _cut_to_profile(rng, scatter, design, builder, _lams(design, layers, thicknesses))
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
            "widths": noted_widths,
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
    rng: np.random.Generator, scatter: Scatter, design: Design, builder: Builder, lams: tuple[LamAt, ...]
) -> tuple[BowAt, list[dict[str, Any]]]:
    """Return the true bow and its widths as noted."""
    form = design.form
    riser = read(form["riser_length_in"], "length")
    depth = read(form["handle_depth_in"], "width")
    length = (design.length_in + rng.normal(0, 0.03) - riser) / 2
    stations = (0.0, length / 2, length)
    widths = np.array(design.widths_in) + rng.normal(0, 0.02, 3)
    trap = rng.normal(0, scatter.trap_in)
    uneven = 1 + rng.normal(0, scatter.waviness, len(lams))
    core_unlike, width_unlike = rng.normal(0, scatter.limbs, 2)
    radius = max(0.04 + rng.normal(0, scatter.radius_in), 0.005)
    profile = tuple((read(r["at_in"], "station"), read(r["offset_in"], "offset")) for r in form["profile"])

    def limb(sign: int) -> LimbAt:
        own = widths * (1 + sign * width_unlike)
        return LimbAt(
            length=length,
            lams=tuple(
                _waved(lam, share * (1 + sign * core_unlike)) for lam, share in zip(lams, uneven, strict=True)
            ),
            width_belly=(stations, tuple(own.tolist())),
            width_back=(stations, tuple((own + trap).tolist())),
            edge_radius=((0.0,), (radius,)),
            profile=profile,
            kinks=(),
            follow=0.0,
        )

    polyester = rng.random() < 0.15
    bow = BowAt(
        form=f"{design.name}/1",
        kind=form["kind"],
        riser_half=riser / 2,
        pivot_depth=depth,
        pivot_above=0.0,
        nocking_above=0.0,
        brace=from_back(design.brace_in, ZeroPoint.PIVOT, depth) + rng.normal(0, scatter.brace_in),
        string=StringSpec(
            material=StringMaterial.POLYESTER if polyester else StringMaterial.LOW_STRETCH,
            strands=int(rng.choice([12, 14, 16])),
        ),
        upper=limb(1),
        lower=limb(-1),
        glue_line=max(0.004 + rng.normal(0, scatter.glue_line_in), 0.0005),
        nock_offset_shift=rng.normal(0, scatter.nock_offset_in),
        string_stiffness_factor=max(1 + rng.normal(0, scatter.string), 0.3),
        own_profile=False,
        inputs=(),
    )
    noted = [
        {"at": at, "belly_in": inches(width, builder.division)}
        for at, width in zip(PLACES, widths, strict=True)
    ]
    return bow, noted


def _waved(lam: LamAt, share: float) -> LamAt:
    if lam.part is Part.GLASS:
        return lam
    return replace(lam, thickness=tuple(value * share for value in lam.thickness))


def wants_less(job: Job, over: float) -> float:
    """Return the share of weight to take off to leave a bow over its target by a share; 0 if none."""
    excess = float(np.log(job.seen_lbf / (job.target_lbf * (1 + over))))
    return min(excess, 0.15) if excess > 0.02 else 0.0


def take_off(rng: np.random.Generator, scatter: Scatter, job: Job, share: float, *, last: bool) -> Method:
    """Take off what should cost a share of the weight, and write it down; return the method."""
    methods = list(_METHODS)
    chances = [0.3, 0.2, 0.3, 0.2] if last else [0.7, 0.3, 0.0, 0.0]
    method = methods[rng.choice(4, p=chances)] if job.kept else Method.SIDES
    # Where only the finished weighing is kept, one-sided or hidden work could never be told from the record.
    sides = [Side.BOTH, Side.UPPER, Side.LOWER]
    limb = sides[rng.choice(3, p=[0.8, 0.1, 0.1])] if last and job.kept else Side.BOTH
    plan = _planned(job, method, share)
    carried = max(1 + rng.normal(0, scatter.carried_out), 0.3)
    done = [amount * carried for amount in plan]
    for side in (Side.UPPER, Side.LOWER):
        if limb in (side, Side.BOTH):
            job.bow = _with_less(job.bow, side, method, done)
    job.carried_out.append(carried)
    job.day += timedelta(days=1)
    if job.kept:
        measured = bool(rng.random() < 0.5)
        data = {"method": method.value, "limb": limb.value, "planned": _typed_cuts(method, plan)}
        job.write("removal", {**data, "done": _typed_cuts(method, done)} if measured else data)
    return method


_METHODS = (Method.SIDES, Method.TRAP, Method.EDGES, Method.BELLY_GLASS)
_EDGE_LOSS_PER_SQUARE_INCH = 5.8
_LOSS_PER_INCH_OF_GLASS = 12.0
"""The shop reckons that a corner costs the square of its radius, a thousandth of a face 1.2 per cent."""


def _planned(job: Job, method: Method, share: float) -> list[float]:
    """Return amounts at fade, middle and nock, or one for the whole limb, in steps that can be marked."""
    if method is Method.EDGES:
        start = job.bow.upper.edge_radius[1][0]
        return [max(np.ceil(64 * np.hypot(start, np.sqrt(share / _EDGE_LOSS_PER_SQUARE_INCH))) / 64, 4 / 64)]
    if method is Method.BELLY_GLASS:
        return [float(np.clip(round(share / _LOSS_PER_INCH_OF_GLASS, 3), 0.001, 0.005))]
    part = 2 * share if method is Method.TRAP else share
    least = np.array([0.6, 0.5, 0.3])
    width = np.array(job.bow.upper.width_back[1])
    return [
        float(max(round(64 * amount) / 64, 1 / 64))
        for amount in np.minimum(width * part, np.maximum(width - least, 0))
    ]


def _with_less(bow: BowAt, side: Side, method: Method, done: Sequence[float]) -> BowAt:
    """Return a bow after a removal from one limb."""
    if side is Side.UPPER:
        return replace(bow, upper=_less(bow.upper, method, done))
    return replace(bow, lower=_less(bow.lower, method, done))


def _less(limb: LimbAt, method: Method, done: Sequence[float]) -> LimbAt:
    """Return a limb after a removal."""
    if method is Method.EDGES:
        return replace(limb, edge_radius=((0.0,), (max(done[0], limb.edge_radius[1][0]),)))
    if method is Method.BELLY_GLASS:
        face = limb.lams[-1]
        sanded = replace(face, thickness=tuple(value - done[0] for value in face.thickness))
        return replace(limb, lams=(*limb.lams[:-1], sanded))
    belly = limb.width_belly if method is Method.TRAP else _narrowed(limb.width_belly, done)
    return replace(limb, width_belly=belly, width_back=_narrowed(limb.width_back, done))


def _narrowed(width: Polyline, done: Sequence[float]) -> Polyline:
    return width[0], tuple(value - amount for value, amount in zip(width[1], done, strict=True))


def _typed_cuts(method: Method, amounts: Sequence[float]) -> list[dict[str, str]]:
    written = [thousandths(a) if method is Method.BELLY_GLASS else inches(a, 64) for a in amounts]
    return [{"at": at, "amount_in": amount} for at, amount in zip(PLACES, written, strict=False)]


def rig_anew(rng: np.random.Generator, job: Job) -> None:
    """Give a bow another brace height, and write it down."""
    rise = float(rng.choice([-0.5, -0.25, 0.25, 0.5]))
    job.day += timedelta(days=1)
    job.bow = replace(job.bow, brace=job.bow.brace + rise)
    brace = inches(job.design.brace_in + rise, 16)
    if job.kept:
        job.write("rigging", {"brace": brace})
    else:
        job.noted["brace"] = brace


def weigh(
    rng: np.random.Generator, scatter: Scatter, shop: ShopTruth, job: Job, stage: Stage, shots: int
) -> None:
    """Weigh a bow at its draws and, if its weighings are kept, write it down."""
    job.day += timedelta(days=int(rng.integers(30, 90) if stage is Stage.SETTLED else rng.integers(1, 3)))
    warm, damp, unseen = rng.standard_normal(3)
    climate = scatter.climate * (-0.5 * warm - 0.5 * damp + np.sqrt(0.5) * unseen)
    settled = -job.settling_at_500 * shop.settled(shots)
    effects = job.effects + settled
    shape = shop.forms[job.design.name] + job.shape
    errors = rng.normal(0, scatter.draw_in, len(DRAWS_IN))
    at_draws = job.physics_lbf[1:] + errors * np.gradient(job.physics_lbf[1:], job.draws_in[1:])
    standard = np.array([from_zero(draw, ZeroPoint.STANDARD, job.depth_in) for draw in job.draws_in[1:]])
    pulled = at_draws * np.exp(effects + climate + shop.scales[job.scale] + shape_effect(shape, standard))
    step = SCALES[job.scale]
    read_lbf = np.round((pulled + rng.normal(0, scatter.scale_lbf, len(DRAWS_IN))) / step) * step
    job.seen_lbf = float(read_lbf[DRAWS_IN.index(28.0)])
    air = {"temperature_f": round(68 + 8 * warm), "humidity_pct": int(np.clip(45 + 10 * damp, 10, 90))}
    pulls = int(rng.integers(3, 9)) if stage is Stage.FIRST_DRAW else int(rng.integers(20, 41))
    keeps_air = bool(rng.random() < 0.7)
    keeps_scale = bool(rng.random() < 0.9)
    weigh_in = None
    if job.kept or stage is Stage.FINISHED:
        zero = "" if job.builder.zero is ZeroPoint.STANDARD else f" {job.builder.zero}"
        data: dict[str, Any] = {
            "stage": stage.value,
            "readings": [{"draw": f"{DRAWS_IN[i]:g}{zero}", "weight": f"{read_lbf[i]:g}"} for i in job.reads],
            "pulls": pulls,
        }
        data |= {"shots": shots} if shots else {}
        data |= {"scale": job.scale} if keeps_scale else {}
        weigh_in = job.write("weigh_in", data | (air if keeps_air else {}))
    job.weighed.append(
        Weighed(
            weigh_in=weigh_in,
            stage=stage,
            shots=shots,
            bow=job.bow,
            lbf_at_28=float(job.physics_lbf[0] * np.exp(effects + shape)),
            climate=float(climate),
            draw_errors_in=tuple(errors[list(job.reads)].tolist()),
        )
    )


def note_final_widths(job: Job) -> None:
    """Write down the widths of the finished bow in place of those before, as an old notebook has them."""
    widths = np.mean([limb.width_belly[1] for limb in (job.bow.upper, job.bow.lower)], axis=0)
    job.noted["widths"] = [
        {"at": at, "belly_in": inches(width, job.builder.division)}
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
