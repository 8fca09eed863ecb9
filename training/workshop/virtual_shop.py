"""A workshop whose truth is known: the trial of all that learns from records, and the maker of the demo book.

It is invented. Its truth is richer than what the model assumes: limbs differ a little, edges and traps go
unnoted, lots arrive over time, and the shop narrows the bows that come out heavy, so that a bow's width tells
of its stiffness. The truth never reaches the model; only records do.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import count

import numpy as np

from datasets.history import BowAt
from datasets.record import Record
from datasets.schema import KINDS, Stage
from predictor.bows.bow import Array, Moduli, limb_by_limb
from training.workshop.clerical import with_mistakes
from training.workshop.link_chain import chain_weights
from training.workshop.shop_cuts import take_off, wants_less
from training.workshop.shop_designs import DESIGNS, GLASS, GLASSES_IN, WOODS
from training.workshop.shop_press import Job, Typed, glass_shelf, noted_widths, press, spoil
from training.workshop.shop_scale import rig_anew, weigh
from training.workshop.shop_truth import SCALES, BowTruth, Key, Scatter, ShopTruth, draw_shop, lot_modulus

LEFT_OVER = (0.065, 0.040)
"""Shares of its target by which the shop leaves a bow heavy after the first and after the last removal."""

_Solve = Callable[[Sequence[BowAt], Sequence[Moduli], Array], Array]


@dataclass(frozen=True)
class VirtualShop:
    """A workshop's records and its truth.

    Attributes:
        typed: the records as typed at the bench, each after those that it refers to.
        truth: what is true, and what slips the records have.
    """

    typed: tuple[Typed, ...]
    truth: ShopTruth

    @property
    def records(self) -> tuple[Record, ...]:
        """The records as the book reads them."""
        return tuple(KINDS[kind].model_validate(data) for kind, data in self.typed)


def simulate(
    seed: int,
    builds: int,
    scatter: Scatter | None = None,
    *,
    mistakes: bool = False,
    chain: bool = False,
    fresh_lots: int = 0,
    held_lots: int = 0,
    spoilt: float = 0.0,
) -> VirtualShop:
    """Run a workshop through a number of builds.

    Args:
        seed: of everything that chance decides.
        builds: number of bows.
        scatter: sizes of all effects (default: the usual ones).
        mistakes: whether one build record and one weigh-in in twenty has a slip of the pen; the truth stays
            as it is.
        chain: whether weights come from the link chain rather than from the statics.
        fresh_lots: so many of the last bows are each made of lots that no other bow has.
        held_lots: while so many bows before those are made, no lot comes in.
        spoilt: share of builds with a fault for which they may not teach.

    Raises:
        ArithmeticError: a bow could not be braced or drawn.
    """
    (shop,) = simulate_side_by_side(
        (seed,),
        builds,
        scatter,
        mistakes=mistakes,
        chain=chain,
        fresh_lots=fresh_lots,
        held_lots=held_lots,
        spoilt=spoilt,
    )
    return shop


def simulate_side_by_side(
    seeds: Sequence[int],
    builds: int,
    scatter: Scatter | None = None,
    *,
    mistakes: bool = False,
    chain: bool = False,
    fresh_lots: int = 0,
    held_lots: int = 0,
    spoilt: float = 0.0,
) -> tuple[VirtualShop, ...]:
    """Run several workshops, each as `simulate` runs it alone, and sooner: their bows are solved together.

    Args:
        seeds: of each workshop.
        builds: number of bows of each; this and all others as of `simulate`.
        scatter: sizes of all effects.
        mistakes: whether records have slips of the pen.
        chain: whether weights come from the link chain.
        fresh_lots: last bows of lots of their own.
        held_lots: bows before those, without a delivery.
        spoilt: share of builds with a fault.

    Raises:
        ArithmeticError: a bow of one of them could not be braced or drawn.
    """
    scatter = scatter or Scatter()
    opened = [_opened(seed, scatter, builds, held_lots, fresh_lots, spoilt) for seed in seeds]
    stages = [_through_the_shop(each.bench, scatter, each.truth, each.jobs) for each in opened]
    for together in zip(*stages, strict=True):
        _solved([job for jobs in together for job in jobs], chain_weights if chain else _statics)
    return tuple(_records_and_truth(each, mistakes=mistakes) for each in opened)


@dataclass(frozen=True, eq=False)
class _Opened:
    """A workshop at work.

    Attributes:
        bench: source of what chance decides at the bench.
        pen: source of slips of the pen.
        truth: of the shop, without its bows.
        jobs: its bows, which change as they go through the shop.
    """

    bench: np.random.Generator
    pen: np.random.Generator
    truth: ShopTruth
    jobs: Sequence[Job]


def _opened(seed: int, scatter: Scatter, builds: int, held: int, fresh: int, spoilt: float) -> _Opened:
    """Open a workshop and press its bows."""
    bench, pen = (np.random.default_rng(stream) for stream in np.random.SeedSequence(seed).spawn(2))
    shop, jobs = _pressed(bench, scatter, draw_shop(bench, scatter), builds - fresh - held, held, fresh)
    for job in jobs:
        if bench.random() < spoilt:
            spoil(bench, job)
    return _Opened(bench, pen, shop, jobs)


def _records_and_truth(done: _Opened, *, mistakes: bool) -> VirtualShop:
    right = _records(done.jobs)
    typed, slips = with_mistakes(done.pen, right) if mistakes else (right, [])
    bows = {job.build: _bow_truth(job) for job in done.jobs}
    return VirtualShop(tuple(typed), replace(done.truth, bows=bows, mistakes=tuple(slips)))


def _pressed(
    rng: np.random.Generator, scatter: Scatter, shop: ShopTruth, usual: int, held: int, fresh: int
) -> tuple[ShopTruth, list[Job]]:
    """Press some bows while deliveries come in now and then, some from the lots at hand, some of new lots each.

    Returns:
        The shop with its lots, and the bows.
    """
    shelves = {**{wood: wood for wood in WOODS}, **{glass_shelf(glass): GLASS for glass in GLASSES_IN}}
    numbers = {shelf: count(1) for shelf in shelves}
    at_hand: dict[str, Key] = {}
    lots: dict[Key, float] = {}
    jobs = []
    for number in range(1, usual + held + fresh + 1):
        chance = 1 / scatter.lot_every if number <= usual else float(number > usual + held)
        for shelf, material in shelves.items():
            if shelf not in at_hand or rng.random() < chance:
                at_hand[shelf] = (material, f"{shelf} {next(numbers[shelf])}")
                lots[at_hand[shelf]] = lot_modulus(rng, scatter, shop, material)
        jobs.append(press(rng, scatter, replace(shop, lots=lots), at_hand, number))
    return replace(shop, lots=lots), jobs


def _through_the_shop(
    rng: np.random.Generator, scatter: Scatter, shop: ShopTruth, jobs: Sequence[Job]
) -> Iterator[Sequence[Job]]:
    """Take all bows from their first draw to the last weighing.

    Yields at each stage the bows whose weights must be solved anew before it can go on.
    """
    yield jobs
    for job in jobs:
        weigh(rng, scatter, shop, job, Stage.FIRST_DRAW, 0)
    for over in LEFT_OVER:
        yield from _removed(rng, scatter, shop, jobs, over)
    anew = [job for job in jobs if rng.random() < 0.15]
    for job in anew:
        rig_anew(rng, job)
    yield anew
    for job in jobs:
        job.effects += job.finish_loss
        if not job.kept and "why_not" not in job.noted:
            # An old notebook has the widths of the finished bow only.
            job.noted["widths"] = noted_widths(job.bow, job.builder)
        weigh(rng, scatter, shop, job, Stage.FINISHED, int(rng.integers(0, 13)))
        for shots in _settled_after(rng):
            weigh(rng, scatter, shop, job, Stage.SETTLED, shots)


def _settled_after(rng: np.random.Generator) -> tuple[int, ...]:
    """Return the shots after which a bow comes back to be weighed: not at all, once or twice."""
    times = int(rng.choice(3, p=[0.5, 0.35, 0.15]))
    return tuple(int(10 * round(shots / 10)) for shots in np.cumsum(rng.uniform(120, 400, times)))


def _removed(
    rng: np.random.Generator,
    scatter: Scatter,
    shop: ShopTruth,
    jobs: Sequence[Job],
    over: float,
) -> Iterator[Sequence[Job]]:
    """Take stock off every bow that is heavy for this pass, yield these to be solved, and weigh them again."""
    last = over == LEFT_OVER[-1]
    heavy = [(job, share) for job in jobs if (share := wants_less(job, over))]
    before = [np.log(job.physics_lbf[0]) for job, _ in heavy]
    methods = [take_off(rng, scatter, job, share, last=last) for job, share in heavy]
    yield [job for job, _ in heavy]
    for (job, _), method, log_before in zip(heavy, methods, before, strict=True):
        lost = np.log(job.physics_lbf[0]) - log_before
        job.effects += (shop.method_gain[method] - 1) * float(lost)
        weigh(rng, scatter, shop, job, Stage.TILLERED, 0)


def _solved(jobs: Sequence[Job], solve: _Solve) -> None:
    if not jobs:
        return
    lbf = solve(
        [job.bow for job in jobs], [job.moduli for job in jobs], np.array([job.draws_in for job in jobs])
    )
    for job, row in zip(jobs, lbf, strict=True):
        job.physics_lbf = row


def _statics(bows: Sequence[BowAt], moduli: Sequence[Moduli], draws_in: Array) -> Array:
    # The mean of both limbs' symmetric bows is within 0.02 % of the weight on the riser, for limbs here are little
    # unlike; it takes less than half the time, and the link chain takes it, too.
    solved = limb_by_limb(bows, moduli, draws_in)
    refused = next((refusal for refusal in solved.refused if refusal), None)
    if refused:
        raise ArithmeticError(
            f"wanted a bow that can be drawn, got {refused.reason} ({refused.where}); change the design"
        )
    return solved.mean(solved.drawn.force)


def _records(jobs: Sequence[Job]) -> list[Typed]:
    """Return the shop's records: what all builds share first, then each build with its events."""
    shared = [Typed("shop", {"name": "an invented shop"})]
    shared += [Typed("scale", {"id": name, "division_lbf": step}) for name, step in SCALES.items()]
    shared += [Typed("form", dict(design.form)) for design in DESIGNS]
    return shared + [typed for job in jobs for typed in (Typed("build", job.noted), *job.events)]


def _bow_truth(job: Job) -> BowTruth:
    return BowTruth(
        target_lbf=job.target_lbf,
        moduli=job.moduli,
        shape=job.shape,
        carried_out=tuple(job.carried_out),
        finish_loss=job.finish_loss,
        settling_at_500=job.settling_at_500,
        spoilt=job.spoilt,
        weighed=tuple(job.weighed),
    )
