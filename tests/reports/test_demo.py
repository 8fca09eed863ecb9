"""The demo shows the main job from end to end, briefly."""

import pytest

from reports import demo
from training.workshop import demo_bench

LONGEST = 100
"""Lines that a first reader may be asked to read."""


def test_bows_are_those_on_the_bench():
    """The demo names the bows that its maker put on the bench."""
    assert (demo.HEAVY_KIT, demo.LIGHT_KIT) == (demo_bench.HEAVY_KIT, demo_bench.LIGHT_KIT)
    assert demo.ALIKE == demo_bench.TWINS


@pytest.mark.slow
def test_main_job(command):
    """It says the shop is invented, learns, names the slip, predicts, plans, and says what to try, in few lines."""
    told = command("demo --into demo")
    assert told.code == 0
    assert len(told.out.splitlines()) <= LONGEST
    sought = (
        "invented",
        "Learned from",
        f"{demo_bench.MISWRITTEN} looks like a mistake",
        f"{demo_bench.PLANNED_KIT} as planned",
        f"{demo_bench.HEAVY_KIT} is heavy for its order",
        "Pass 1",
        "Saw and sander",
        "report all --into",
    )
    places = [told.out.index(words) for words in sought]
    assert places == sorted(places)


@pytest.mark.slow
def test_a_book_without_the_kit(command):
    """A folder that has an older book still gets an answer: its book is left alone, and nothing is planned."""
    assert command("demo --into demo").code == 0
    assert command("--book demo/shop.book add --withdraws ORDER-003 --because test").code == 0
    told = command("demo --into demo")
    assert told.code == 0
    assert "nothing to plan" in told.out
