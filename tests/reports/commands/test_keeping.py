"""What is asked about before it is kept: much off at once, and days to come."""

import json
from datetime import date, timedelta

import pytest

from tests.reports.conftest import Command


def kept(bow: Command) -> int:
    """Return how many events the bow has."""
    return len(json.loads(bow("show K-001 --json").out)["history"])


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("sides fade=1/2 nock=1/32", "got 1/2 in of 1 1/4 in at the fade"),
        ("sides fade=1/2 nock=1/32", "of the weight at once, got -"),
        ("trap mid=1/4", "got 1/4 in of 1 1/16 in at the mid"),
        ("belly-glass fade=.013 nock=.013", "a quarter of the glass off in all, got .013 in of .050 in at the fade"),
        ("sides fade=1/32 nock=1/8", "the least width at the nock, 13/32 in, kept, got 3/8 in left"),
    ],
)  # fmt: skip
def test_much_at_once_is_asked_about(bow: Command, line: str, said: str) -> None:
    """A slip cannot be put back: without a terminal nothing is kept and the line to repeat is given."""
    refused = bow(f"reduce K-001 {line} --on 2026-03-06")

    assert refused.code == 1
    assert said in refused.err
    again = refused.err.split("if what was typed is right: drawweight ")[1].strip()
    assert kept(bow) == 0
    assert bow(again).code == 0
    assert kept(bow) == 1


@pytest.mark.parametrize(
    "line", ["sides fade=1/16 nock=1/32", "edges fade=1/8 nock=1/8", "belly-glass fade=.005 nock=.005"]
)
def test_ordinary_work_is_not_asked_about(bow: Command, line: str) -> None:
    """Less than a tenth of weight and width, and than a quarter of the glass, is kept as it comes."""
    assert bow(f"reduce K-001 {line} --on 2026-03-06").code == 0


def test_glass_is_counted_from_the_press(bow: Command) -> None:
    """Two passes that are each little are together more than a quarter of the face."""
    assert bow("reduce K-001 back-glass fade=.008 nock=.008 --on 2026-03-06").code == 0
    assert "got .016 in of .050 in" in bow("reduce K-001 back-glass fade=.008 nock=.008 --on 2026-03-06").err


def test_the_shops_own_least_width_counts(bow: Command) -> None:
    """What the shop has set takes the place of the usual share of the first width."""
    bow('shop least_width_fade_in="1 7/32"')
    refused = bow("reduce K-001 sides fade=1/16 nock=1/64 --on 2026-03-06")

    assert refused.code == 1
    assert "the least width at the fade, 1 7/32 in, kept, got 1 3/16 in left" in refused.err


@pytest.mark.parametrize(
    "line", ["weigh K-001 28={} --stage tillered", "reduce K-001 sides fade=1/32 nock=1/64"]
)
def test_a_day_to_come_is_asked_about(bow: Command, line: str) -> None:
    """Later work would count as done before it, so it is kept only where somebody says that it is right."""
    usual = json.loads(bow("predict K-001 --draws 28 --json").out)["draws"][0]["weight_lbf"]
    tomorrow = date.today() + timedelta(days=1)
    refused = bow(f"{line.format(round(usual, 2))} --on {tomorrow}")

    assert refused.code == 1
    assert f"got {tomorrow}; check the year" in refused.err
    assert kept(bow) == 0
    bow(f"{line.format(round(usual, 2))} --on {tomorrow} --yes")
    assert kept(bow) == 1


def test_what_is_taken_off_cannot_be_put_back(bow: Command) -> None:
    """Every telling of what stock is worth has the cautions of taking it off."""
    for line in ("worth K-001", "reduce K-001 sides fade=1/32 nock=1/64 --on 2026-03-06"):
        told = " ".join(bow(line).out.split())
        assert "respirator" in told
        assert "saw" in told
        assert "Nothing can be put back" in told


def test_a_new_scale_is_a_note(bow: Command) -> None:
    """The first reading on a scale is kept as any other, with a note that its error is not known."""
    usual = json.loads(bow("predict K-001 --draws 28 --json").out)["draws"][0]["weight_lbf"]
    weighed = bow(f"weigh K-001 28={usual:.2f} --stage tillered --scale brass --on 2026-03-05")

    assert weighed.code == 0
    assert "the book has no scale brass (known: none yet); add it to tell its error" in weighed.err
    assert "odd" not in weighed.err


def test_the_rule_of_an_id_is_told(bow: Command) -> None:
    """A mistyped id is told what letters and digits an id has."""
    refused = bow("add - --kind build", b'id = "K-1"\n')

    assert "three to six digits, such as K-014, got 'K-1'" in refused.err


def test_the_least_width_in_force_is_listed(bow: Command) -> None:
    """Where the shop sets no least width, the share of the first width that plans keep is told."""
    rows = [line for line in bow("shop").out.splitlines() if line.startswith("least_width")]

    assert all("not set: 80% of the first width" in row for row in rows)
    assert len(rows) == 2


def test_glass_taken_off_is_told_in_thousandths(bow: Command) -> None:
    """Four thousandths of glass are no sixty-fourth and no nothing."""
    bow("reduce K-001 belly-glass fade=.004 nock=.010 --on 2026-03-06")
    bow("reduce K-001 sides fade=1/32 nock=1/64 --on 2026-03-07")
    shown = bow("show K-001").out

    assert "belly-glass, fade .004 in, nock .010 in" in shown
    assert "sides, fade 1/32 in, nock 1/64 in" in shown
