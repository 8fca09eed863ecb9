"""What the invented shop builds: three press forms of no real maker, and the stacks it presses on them.

Every dimension here is made up for trials. What each known bow weighs was computed by the link chain, with
hard maple and limb glass at handbook stiffness; a test computes it again.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

PLACES = ("fade", "mid", "nock")
"""Where the shop measures widths."""


@dataclass(frozen=True)
class Core:
    """One core lam of a design.

    Attributes:
        share: of the cores' thickness at their butts.
        taper_per_in: inch of thickness lost per inch.
    """

    share: float
    taper_per_in: float


@dataclass(frozen=True)
class Design:
    """A press form and the bow that the shop knows to come off it.

    Attributes:
        form: the record of the form, as typed.
        length_in: nock to nock.
        widths_in: at the fade, the middle and the nock.
        cores: back to belly.
        power: thickness at the butt and reach beyond the fade of a power lam between the cores; None if there
            is none.
        brace_in: from the pivot.
        known_cores_in: cores' thickness at their butts, all together, of the bow that the shop goes by.
        known_glass_in: thickness of its glass on either face.
        known_lbf: its weight at 28 in before anything was taken off.
        targets_lbf: weights that customers order, at 28 in.
    """

    form: Mapping[str, Any]
    length_in: float
    widths_in: tuple[float, float, float]
    cores: tuple[Core, ...]
    power: tuple[float, float] | None
    brace_in: float
    known_cores_in: float
    known_glass_in: float
    known_lbf: float
    targets_lbf: tuple[float, float]

    @property
    def name(self) -> str:
        """Id of the form."""
        return str(self.form["id"])

    def cores_for(self, weight_lbf: float, glass_in: float) -> float:
        """Return the cores' thickness from which the shop expects a weight, by its own rule of thumb.

        Weight goes as the cores' thickness with its glass to the power 2.7, and as the glass to the power
        0.4: crude, as such rules are.
        """
        glass = glass_in / self.known_glass_in
        stack = (weight_lbf / self.known_lbf / glass**0.4) ** (1 / 2.7)
        return float(stack * (self.known_cores_in + 2 * self.known_glass_in) - 2 * glass_in)


LONG = Design(
    form={
        "id": "long-66",
        "kind": "straight",
        "riser_length_in": "16",
        "handle_depth_in": "2 1/4",
        "limb_length_in": "25",
        "profile": [
            {"at_in": at, "offset_in": offset}
            for at, offset in (("8", "0"), ("14", "1/8"), ("20", "7/16"), ("26", "7/8"), ("32 3/4", "1 1/2"))
        ],
    },
    length_in=66.0,
    widths_in=(1.25, 1.0625, 0.53125),
    cores=(Core(0.52, 0.002), Core(0.48, 0.001)),
    power=(0.060, 6.0),
    brace_in=6.75,
    known_cores_in=0.288,
    known_glass_in=0.040,
    known_lbf=52.8,
    targets_lbf=(38.0, 56.0),
)

WAVE = Design(
    form={
        "id": "wave-62",
        "kind": "reflex-deflex",
        "riser_length_in": "17",
        "handle_depth_in": "2 3/8",
        "limb_length_in": "22 1/2",
        "profile": [
            {"at_in": at, "offset_in": offset}
            for at, offset in (
                ("8 1/2", "0"),
                ("12", "-5/16"),
                ("16", "-9/16"),
                ("20", "-7/16"),
                ("24", "1/8"),
                ("28", "1 1/8"),
                ("30 3/4", "2"),
            )
        ],
    },
    length_in=62.0,
    widths_in=(1.375, 1.125, 0.5),
    cores=(Core(0.4, 0.0015), Core(0.3, 0.001), Core(0.3, 0.0)),
    power=(0.080, 5.0),
    brace_in=7.0,
    known_cores_in=0.234,
    known_glass_in=0.040,
    known_lbf=59.5,
    targets_lbf=(36.0, 58.0),
)

HOOK = Design(
    form={
        "id": "hook-66",
        "kind": "recurve",
        "riser_length_in": "16",
        "handle_depth_in": "2 3/4",
        "limb_length_in": "25",
        "profile": [
            {"at_in": at, "offset_in": offset}
            for at, offset in (
                ("8", "0"),
                ("12", "-9/16"),
                ("16", "-1 1/8"),
                ("20", "-1 11/16"),
                ("23", "-1 11/16"),
                ("25 1/2", "-1"),
                ("27 1/2", "5/16"),
                ("28 3/4", "1 3/4"),
                ("29 7/16", "3 1/8"),
                ("29 13/16", "4 7/16"),
            )
        ],
    },
    length_in=66.0,
    widths_in=(1.75, 1.5, 0.75),
    cores=(Core(0.55, 0.0005), Core(0.45, 0.0005)),
    power=None,
    brace_in=8.5,
    known_cores_in=0.200,
    known_glass_in=0.040,
    known_lbf=56.3,
    targets_lbf=(34.0, 52.0),
)
"""Its tips turn so far that the string lies on them at brace."""

DESIGNS = (LONG, WAVE, HOOK)
DESIGN_SHARES = (0.4, 0.35, 0.25)
"""How often each is ordered."""

WOODS = ("hard maple", "red elm", "white ash", "black cherry")
WOOD_SHARES = (0.4, 0.3, 0.2, 0.1)
"""How often each is the wood of the cores."""

GLASS = "limb glass"
GLASSES_IN = (0.040, 0.050)
GLASS_SHARES = (0.65, 0.35)
"""Thicknesses of glass on the shelf, and how often each is taken."""
