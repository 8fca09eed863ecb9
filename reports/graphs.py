"""Graphs of reports as pictures inside a page: readable on a phone, in grey print and by the colour-blind."""

from base64 import b64encode
from collections.abc import Sequence
from io import BytesIO
from typing import Any, Literal

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

from reports.blocks import Graph

BLUE, VERMILION = "#0072B2", "#D55E00"
"""Two that the colour-blind tell apart: Okabe and Ito, Color Universal Design (2008), from memory. Their greys are
alike, so marks, dashes and words have to tell them apart in grey print."""

INK = {BLUE: "#005A8C", VERMILION: "#A34700"}
"""The same for words, darker, so that small letters keep their contrast to white and to a band, in grey print too."""

GREY, BAND = "0.45", "0.88"

WIDTH_IN = 4.6
"""A phone shows a picture of this width nearly at its own size, so its letters stay readable."""

STYLE: dict[Any, Any] = {
    "svg.fonttype": "none",
    "svg.hashsalt": "drawweight",
    "font.family": "sans-serif",
    "font.size": 11.0,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.titlesize": 11.0,
    "lines.linewidth": 1.6,
    "lines.markersize": 4.0,
}


def data_uri(graph: Graph) -> str:
    """Return a graph as the address of an SVG picture that holds itself; the same graph gives the same picture."""
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(WIDTH_IN, graph.height_in), layout="constrained")
        FigureCanvasSVG(figure)
        graph.draw(figure.subplots())
        drawn = BytesIO()
        figure.savefig(drawn, format="svg", metadata={"Date": None})
    return f"data:image/svg+xml;base64,{b64encode(drawn.getvalue()).decode('ascii')}"


def label(
    axes: Axes,
    text: str,
    at: tuple[float, float],
    colour: str = "black",
    side: Literal["left", "center", "right"] = "left",
) -> None:
    """Write beside a line or a band what it is.

    Args:
        axes: of the graph.
        text: what it is.
        at: in the axes' own numbers.
        colour: of what is labelled.
        side: of the text that stands there.
    """
    axes.annotate(
        text,
        at,
        color=INK.get(colour, colour),
        fontsize=10,
        xytext=(0, 4),
        textcoords="offset points",
        ha=side,
        bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 0.5},
    )


def points(axes: Axes, x: Sequence[float], y: Sequence[float], colour: str = BLUE) -> None:
    """Draw builds as points, half clear so that those upon each other show."""
    axes.plot(x, y, "o", color=colour, alpha=0.7, markeredgewidth=0)
