"""Random limbs with straight stiff ears behind a sharp bend, in inches and pounds."""

from dataclasses import dataclass, fields

import numpy as np

from predictor.mechanics.elastica import LimbGrid


@dataclass(frozen=True, eq=False)
class EaredBows:
    """Limbs, with the brace height and the full draw of each."""

    limbs: LimbGrid
    height: np.ndarray
    full: np.ndarray


def eared_limb(length, ear, bend, degrees, ear_stiffness, butt, tip, offset, root, lean, steps=(12, 8, 40)):
    """One limb: a straight ear from the nock, a bend by some degrees, and a straight limb of falling stiffness.

    The steps are those of ear, bend and limb.
    """
    ends = np.concatenate([
        np.linspace(0, ear, steps[0] + 1),
        np.linspace(ear, ear + bend, steps[1] + 1)[1:],
        np.linspace(ear + bend, length, steps[2] + 1)[1:],
    ])  # fmt: skip
    nodes = np.stack([ends[:-1], (ends[:-1] + ends[1:]) / 2, ends[1:]], axis=-1)
    middle = np.repeat(nodes[:, 1:2], 3, axis=1)
    one = np.ones(1)
    return LimbGrid(
        step=np.diff(ends)[None],
        flexibility=1
        / np.where(middle < ear + bend, ear_stiffness, tip + (butt - tip) * nodes / length)[None],
        unstrung_curvature=np.where((middle > ear) & (middle < ear + bend), -np.radians(degrees) / bend, 0.0)[
            None
        ],
        nock_offset=offset * one,
        root_distance=root * one,
        root_depth=0.3 * one,
        root_angle=lean * one,
    )


def joined(limbs):
    """Several limbs of one number of steps as a batch."""
    columns = (np.concatenate([getattr(one, field.name) for one in limbs]) for field in fields(LimbGrid))
    return LimbGrid(*columns)


def random_eared_bows(count, seed):
    """Bows of plausible and less plausible measures; three in ten have the string on the neutral axis."""
    chance = np.random.default_rng(seed)
    limbs = []
    for _ in range(count):
        length, butt = chance.uniform(14, 26), chance.uniform(3000, 8000)
        tip = butt * chance.uniform(0.15, 0.6)
        limbs.append(
            eared_limb(
                length,
                ear=length * chance.uniform(0.12, 0.45),
                bend=length * chance.uniform(0.005, 0.1),
                degrees=chance.uniform(5, 65),
                ear_stiffness=tip * np.exp(chance.uniform(np.log(4), np.log(50))),
                butt=butt,
                tip=tip,
                offset=chance.choice([0.0, chance.uniform(0.02, 0.2)], p=[0.3, 0.7]),
                root=chance.uniform(4, 10),
                lean=chance.uniform(-0.05, 0.3),
            )
        )
    return EaredBows(joined(limbs), chance.uniform(5.5, 8.5, count), chance.uniform(22, 30, count))
