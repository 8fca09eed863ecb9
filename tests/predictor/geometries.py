"""Geometries of limbs and bows for hypothesis to choose from, in inches and pounds: plausible ones and others."""

from dataclasses import dataclass, fields, replace

import numpy as np
from hypothesis import strategies as st

from predictor.mechanics.elastica import LimbGrid
from predictor.mechanics.unlike import TwoLimbs

STEPS = (52, 28, 128)
"""Steps of the tip or ear, of the bend behind it, and of the limb inboard of that."""

PROFILES = ("straight", "reflex-deflex", "working recurve", "stiff ear", "hollow tip")


@dataclass(frozen=True)
class Geometry:
    """A limb by the measures of its stack, tapers and profile, and how it is strung and drawn.

    Attributes:
        length: From the fade to the nock.
        butt: Thickness of the stack at the fade.
        thinner: Part of that thickness that the tip still has.
        glass: Part of the thickness that is glass, half on each face.
        width: Width at the fade.
        narrower: Part of that width that the tip still has.
        profile: One of `PROFILES`.
        tip: Part of the length that is tip or ear.
        bend: Part of the length on which a recurve or an ear is bent.
        degrees: By how much the recurve or the ear is bent, or the tip of a hollow one bent the other way.
        stiffer: How much stiffer an ear is.
        reflex: Unstrung curvature by which the limb as a whole is bent, positive toward the string.
        offset: Distance of the string from the neutral axis.
        root_distance: Of the fade from the bow's centre.
        root_depth: Of the fade from the back of the riser.
        root_angle: By which the limb leaves the riser.
        string: Stiffness of the string, EA.
        brace: Brace height.
        travel: From brace to full draw.
    """

    length: float
    butt: float
    thinner: float
    glass: float
    width: float
    narrower: float
    profile: str
    tip: float
    bend: float
    degrees: float
    stiffer: float
    reflex: float
    offset: float
    root_distance: float
    root_depth: float
    root_angle: float
    string: float
    brace: float
    travel: float


GEOMETRIES = st.builds(
    Geometry,
    length=st.floats(14, 28),
    butt=st.floats(0.3, 0.6),
    thinner=st.floats(0.45, 1.0),
    glass=st.floats(0.0, 0.3),
    width=st.floats(1.0, 2.0),
    narrower=st.floats(0.3, 1.0),
    profile=st.sampled_from(PROFILES),
    tip=st.floats(0.12, 0.4),
    bend=st.floats(0.01, 0.15),
    degrees=st.floats(5, 60),
    stiffer=st.floats(3, 40),
    reflex=st.floats(-0.01, 0.012),
    offset=st.one_of(st.just(0.0), st.floats(0.02, 0.25)),
    root_distance=st.floats(4, 11),
    root_depth=st.floats(-0.5, 1.5),
    root_angle=st.floats(-0.1, 0.3),
    string=st.floats(2000, 12000),
    brace=st.floats(5.5, 9),
    travel=st.floats(14, 23),
)

MISMATCHES = st.fixed_dictionaries({
    "length": st.floats(0.95, 1.05),
    "butt": st.floats(0.95, 1.05),
    "thinner": st.floats(0.93, 1.0),
    "degrees": st.floats(0.8, 1.2),
})  # fmt: skip
"""What a lower limb has of the upper one's measures, as factors."""

GRIPS = st.tuples(st.floats(0.5, 2.5), st.floats(-1.5, 1.5), st.floats(-0.5, 1.0))
"""The hand's pivot by its depth and distance, and the nocking height."""


def grid(geometry):
    """The limb cut in steps with boundaries where tip and bend end, as a batch of one."""
    tip, bend = geometry.tip * geometry.length, geometry.bend * geometry.length
    edges = (0.0, tip, tip + bend, geometry.length)
    spans = zip(edges[:-1], edges[1:], STEPS, strict=True)
    ends = np.concatenate([[0.0], *(np.linspace(*span[:2], span[2] + 1)[1:] for span in spans)])
    nodes = np.stack([ends[:-1], (ends[:-1] + ends[1:]) / 2, ends[1:]], axis=-1)
    part = np.repeat([0, 1, 2], STEPS)[:, None] * np.ones(3, dtype=int)
    return LimbGrid(
        np.diff(ends)[None],
        1 / _stiffness(geometry, nodes, part)[None],
        _curvature(geometry, nodes, part)[None],
        *(
            np.array([value])
            for value in (geometry.offset, geometry.root_distance, geometry.root_depth, geometry.root_angle)
        ),
    )


def _stiffness(geometry, nodes, part):
    """EI of glass faces (6 million psi) on a core (1.8 million psi), whose thickness and width taper to the nock."""
    inward = nodes / geometry.length
    thickness = geometry.butt * (geometry.thinner + (1 - geometry.thinner) * inward)
    width = geometry.width * (geometry.narrower + (1 - geometry.narrower) * inward)
    core = (1 - geometry.glass) ** 3
    bent = width * thickness**3 / 12 * (1.8e6 * core + 6e6 * (1 - core))
    return bent * np.where((geometry.profile == "stiff ear") & (part < 2), geometry.stiffer, 1.0)


def _curvature(geometry, nodes, part):
    """Unstrung curvature of the profile; the limb inboard of the bend has the whole limb's reflex in all of them."""
    tip, bend = geometry.tip * geometry.length, geometry.bend * geometry.length
    turn = np.radians(geometry.degrees)
    inboard = np.where(part == 2, geometry.reflex, 0.0)
    match geometry.profile:
        case "straight":
            return np.full_like(nodes, geometry.reflex)
        case "reflex-deflex":
            return geometry.reflex - 0.012 * np.cos(np.pi * nodes / geometry.length)
        case "working recurve":
            return inboard - np.where(part < 2, turn / (tip + bend), 0.0)
        case "stiff ear":
            return inboard - np.where(part == 1, turn / bend, 0.0)
        case "hollow tip":
            return inboard + np.select([part == 0, part == 1], [turn / 6 / tip, -turn / bend])


def joined(limbs):
    """Several limbs as a batch."""
    columns = (np.concatenate([getattr(one, field.name) for one in limbs]) for field in fields(LimbGrid))
    return LimbGrid(*columns)


def pairs(chosen):
    """Bows of two unlike limbs from triples of an upper limb, a mismatch and a grip."""
    uppers, mismatches, grips = zip(*chosen, strict=True)
    lowers = [
        replace(upper, **{name: getattr(upper, name) * factor for name, factor in mismatch.items()})
        for upper, mismatch in zip(uppers, mismatches, strict=True)
    ]
    depth, distance, height = np.array(grips).T
    string = np.array([upper.string for upper in uppers])
    return TwoLimbs(
        joined([grid(one) for one in uppers]),
        joined([grid(one) for one in lowers]),
        string,
        distance,
        depth,
        height,
    )
