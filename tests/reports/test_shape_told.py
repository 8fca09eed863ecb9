"""Wrong readings of a profile at the command line: named where they are typed, with what they do to a weight."""

import json
import re
import shlex
from pathlib import Path

import pytest

from reports import asking, cli
from tests import shop

SOUND = [{"at_in": str(at), "offset_in": f"{(at - 8) ** 2 / 400:.3f}"} for at in range(8, 33, 3)]
SLIPPED = [
    reading if reading["at_in"] != "20" else {"at_in": "20", "offset_in": "0.610"} for reading in SOUND
]
"""A quarter inch too much at 20 in, where the bend has 0.36 in."""


@pytest.fixture
def typed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]):
    """Return a way to type a command line beside a book of a sound form and a bow on it."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("DRAWWEIGHT_BOOK", raising=False)
    asking.save_draft(Path("form.toml"), *shop.form(profile=SOUND))
    asking.save_draft(Path("bow.toml"), *shop.build())

    def run(line: str) -> tuple[int, str, str]:
        code = cli.run(shlex.split(line))
        return code, *capsys.readouterr()

    for command in ("form --add form.toml", "add bow.toml"):
        assert run(command)[0] == 0
    return run


def test_a_sound_profile_is_not_doubted(typed) -> None:
    """A form that was read well says so, with all readings used."""
    code, out, _ = typed("form plain-64")

    assert code == 0
    assert "The curve passes all readings within" in out
    assert "Nothing speaks against this profile." in out
    assert "would weigh" not in out


def test_a_slip_in_a_form_is_told_with_its_weight(typed) -> None:
    """A form with a reading a quarter inch off names it, and what following it would do to the last bow."""
    asking.save_draft(Path("form2.toml"), *shop.form(profile=SLIPPED))
    assert typed("form --add form2.toml")[0] == 1
    asking.save_draft(Path("bow2.toml"), *shop.build(form_revision=2))
    assert typed("add bow2.toml")[0] == 0

    code, out, _ = typed("form plain-64")
    shown = json.loads(typed("form plain-64 --json")[1])

    assert code == 1
    assert "The curve passes 8 of the readings within" in out
    assert "Doubtful: the reading at 20 in lies +0.2" in " ".join(out.split())
    assert re.search(
        r"followed K-002 would weigh [0-9.]+ lb \([0-9.]+%\) (more|less) at 28 in", " ".join(out.split())
    )
    assert shown["verdict"] == "doubtful"


def test_a_slip_in_a_bows_own_profile_is_odd(typed) -> None:
    """A bow's own profile with a reading off is kept, and told with the reading and what it does to the weight."""
    asking.save_draft(Path("own.toml"), *shop.build(profile=SLIPPED))

    code, _, told = typed("add own.toml")

    assert code == 1
    assert "build K-002, profile.5: readings disagree with the rest: the reading at 20 in lies +0.2" in told
    assert re.search(r"with every reading followed K-002 would weigh [0-9.]+ lb", told)
