"""Many cases: shared out to processes they come to what they come to one after the other."""

import pytest

from datasets.materials import handbook
from predictor.features import Case, features
from tests.predictor.bows import STRAIGHT, build
from training import solved_cases as module
from training.solved_cases import solved_cases


@pytest.mark.slow
def test_processes_change_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Cases shared out to two processes have the same features in the same order, a refused one among them."""
    cases = [Case(STRAIGHT, build(), (), (draw,)) for draw in (24.0, 28.5, 70.0, 26.0)]
    monkeypatch.setattr(module, "WORTH_A_PROCESS", 2)
    monkeypatch.setattr(module, "CASES_AT_ONCE", 2)
    monkeypatch.setattr(module.os, "cpu_count", lambda: 2)

    assert solved_cases(cases, handbook()) == features(cases, handbook())
