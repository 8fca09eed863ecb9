"""Pictures of a bow, as PNG or SVG."""

from collections.abc import Sequence
from pathlib import Path

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from reports.shapes import Line, Shapes

SUFFIXES = (".png", ".svg")


def save_shapes(path: Path, title: str, shapes: Sequence[Shapes], riser: Line) -> None:
    """Draw a bow's shapes, each state in its own grey and dash, and save the picture.

    Args:
        path: PNG or SVG by its ending.
        title: what stands above.
        shapes: the states, lightest first.
        riser: its corners.

    Raises:
        OSError: the file cannot be written.
    """
    figure = Figure(figsize=(7.5, 8), layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.subplots()
    axes.fill(riser.toward_string, riser.along, color="0.88", label="riser")
    for state, shade, dash in zip(shapes, ("0.65", "0.35", "0.0"), ("--", "-.", "-"), strict=True):
        for number, limb in enumerate(state.limbs):
            axes.plot(
                limb.toward_string,
                limb.along,
                color=shade,
                linestyle=dash,
                linewidth=2,
                label=state.state if number == 0 else None,
            )
        if state.string is not None:
            axes.plot(state.string.toward_string, state.string.along, color=shade, linewidth=0.8)
    axes.set_aspect("equal")
    axes.set_title(title)
    axes.set_xlabel("from the back of the riser, in")
    axes.set_ylabel("from the bow's centre, in")
    figure.legend(loc="outside right upper", frameon=False)
    figure.savefig(path, dpi=150)
