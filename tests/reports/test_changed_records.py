"""Records that changed after a model was trained on them: told, compared like any others, never counted twice."""

import json
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from predictor.belief.model import Model, sealed
from tests import shop
from tests.reports.conftest import Ended

Command = Callable[[str], Ended]


@pytest.fixture
def trained(command: Command) -> Command:
    """Return a way to type a command line beside a book of one weighed bow and the model trained on it."""
    Path("bow.json").write_text(json.dumps({raw.kind: [raw.data] for raw in (shop.form(), shop.build())}))
    assert command("add bow.json").code == 0
    lbf = predicted(command)["force"]["weight_lbf"]
    assert command(f"weigh K-001 28={lbf:.2f} --stage first-draw --on 2026-03-05").code == 0
    assert command("train").code == 0
    return command


def predicted(command: Command) -> dict[str, Any]:
    """Return what is predicted of the bow."""
    found: dict[str, Any] = json.loads(command("predict K-001 --draws 28 --json").out)
    return found


def force_width(command: Command) -> float:
    """Return the width of the interval of the force."""
    interval = predicted(command)["force"]["interval"]
    return float(interval["high_lbf"] - interval["low_lbf"])


def corrected(command: Command, lbf: float) -> Ended:
    """Correct the bow's weighing from a file."""
    data = {"readings": [{"draw": "28", "weight": f"{lbf}"}]}
    Path("right.json").write_text(json.dumps({"weigh_in": [data]}))
    return command('add right.json --corrects K-001/1 --because "read wrongly"')


def test_a_build_is_not_counted_twice(trained: Command) -> None:
    """Once its record has changed, the weighing that taught is not counted anew; training again counts the new one."""
    before = force_width(trained)
    assert corrected(trained, 45).code in (0, 1)
    told = predicted(trained)

    assert force_width(trained) > 1.5 * before
    assert "of its own counted" not in told["basis"]
    assert any("have changed since" in remark and "train again" in remark for remark in told["notes"])
    assert trained("train").code in (0, 1)
    again = predicted(trained)
    assert "1 weighing of its own counted" in again["basis"]
    assert not any("have changed since" in remark for remark in again["notes"])


def test_a_correction_from_a_file_is_looked_at_again(trained: Command) -> None:
    """A corrected weighing far from what is expected is told as odd, as one typed with weigh is asked about."""
    far = corrected(trained, 95)

    assert far.code == 1
    assert "odd: " in far.err
    assert "95" in far.err


def test_a_model_newer_than_the_day_is_not_asked(trained: Command) -> None:
    """As of a day gone by a newer model is left out, which is said; as of today it is asked."""
    today = date.today()
    Path("other.json").write_text(json.dumps({"build": [shop.build(id="K-002").data]}))
    assert trained("add other.json").code == 0
    lbf = 1.15 * predicted(trained)["force"]["weight_lbf"]
    assert trained(f"weigh K-002 28={lbf:.2f} --stage first-draw --on 2026-03-05").code == 0
    assert trained("train").code == 0
    now = trained(f"show K-001 --as-of {today.isoformat()}")

    assert now.out == trained("show K-001").out
    assert now.err == ""
    later = (today + timedelta(days=2)).isoformat()
    path = Path("shop.book.model.json")
    model = Model.model_validate_json(path.read_text())
    path.write_text(
        sealed(model.model_copy(update={"trained_at": f"{later}T00:00:00+00:00"})).model_dump_json()
    )
    then = trained(f"show K-001 --as-of {today.isoformat()}")
    path.unlink()
    assert f"newer than {today.isoformat()}" in then.err
    assert then.out == trained("show K-001").out != now.out
