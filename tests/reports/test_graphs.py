"""Graphs of a page: each holds itself, is the same each time, says its words as text and keeps colours apart."""

from base64 import b64decode
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure

from reports.blocks import Graph
from reports.graphs import BAND, BLUE, INK, VERMILION, WIDTH_IN, data_uri, label, points

SVG = "{http://www.w3.org/2000/svg}"
POINTS_AN_INCH = 72


def _graph() -> Graph:
    def draw(axes: Axes) -> None:
        points(axes, [1, 2, 3], [4, 5, 6])
        axes.set_xlabel("builds")
        label(axes, "what it is", (1, 4), BLUE)

    return Graph("Title", "What is seen.", draw, height_in=2.0)


def _drawn(graph: Graph) -> ET.Element:
    head, _, held = data_uri(graph).partition(",")
    assert head == "data:image/svg+xml;base64"
    return ET.fromstring(b64decode(held))  # noqa: S314 - our own picture


def test_picture_is_of_the_size_told() -> None:
    """The picture is as wide as a phone shows and as high as its graph says, in points of 1/72 in."""
    drawn = _drawn(_graph())
    size = [float(drawn.attrib[side].removesuffix("pt")) for side in ("width", "height")]

    assert size == pytest.approx([POINTS_AN_INCH * WIDTH_IN, POINTS_AN_INCH * 2.0])


def test_words_are_text() -> None:
    """Labels can be searched and read aloud: they are text, not outlines."""
    words = ["".join(text.itertext()) for text in _drawn(_graph()).iter(f"{SVG}text")]

    assert "what it is" in words
    assert "builds" in words


def test_nothing_is_asked_of_the_network() -> None:
    """Every reference inside the picture is to the picture itself."""
    links = [
        value for part in _drawn(_graph()).iter() for name, value in part.attrib.items() if "href" in name
    ]

    assert links
    assert all(link.startswith("#") for link in links)


def test_same_graph_same_picture() -> None:
    """Drawn twice, a graph gives the same bytes."""
    assert data_uri(_graph()) == data_uri(_graph())


def test_every_build_is_a_point() -> None:
    """As many marks are drawn as there are builds, where they belong."""
    axes = Figure().subplots()
    points(axes, [1.0, 2.0, 3.0], [4.0, 5.0, 6.0])
    (line,) = axes.lines

    assert np.asarray(line.get_xdata()).tolist() == [1, 2, 3]
    assert np.asarray(line.get_ydata()).tolist() == [4, 5, 6]
    assert line.get_linestyle() == "None"


def _luminance(colour: str) -> float:
    """Return relative luminance as the Web Content Accessibility Guidelines 2.1 define it (from memory)."""
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in to_rgb(colour)]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(one: str, other: str) -> float:
    high, low = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("colour", [BLUE, VERMILION])
@pytest.mark.parametrize("ground", ["white", BAND])
def test_words_have_contrast(colour: str, ground: str) -> None:
    """Small letters keep a contrast of 4.5 to white and to a band, the guidelines' level AA (from memory)."""
    assert _contrast(INK[colour], ground) >= 4.5
