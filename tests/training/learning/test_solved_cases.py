"""Many cases: shared out to processes they come to what they come to one after the other."""

import pytest

from datasets.materials import handbook
from predictor.bows import features as batching
from predictor.bows.features import Case, batches, features
from tests.predictor.example_bows import STRAIGHT, build
from training.learning import solved_cases as module
from training.learning.solved_cases import solved_cases


@pytest.mark.slow
def test_processes_change_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Cases of one and two draws in two processes have the same features in the same order, refused or not."""
    cases = [Case(STRAIGHT, build(), (), draws) for draws in ((24.0, 28.5), (26.0,), (70.0,), (20.0, 24.0))]
    monkeypatch.setattr(module, "WORTH_A_PROCESS", 2)
    monkeypatch.setattr(batching, "CASES_AT_ONCE", 2)
    monkeypatch.setattr("os.cpu_count", lambda: 2)

    assert solved_cases(cases, handbook()) == features(cases, handbook())


def test_a_worker_starts_no_workers(monkeypatch: pytest.MonkeyPatch) -> None:
    """A process that shares work with others solves many cases alone, whatever the processors."""
    cases = [Case(STRAIGHT, build(), (), draws) for draws in ((26.0,), (24.0, 28.5))]
    monkeypatch.setattr(module, "WORTH_A_PROCESS", 1)
    monkeypatch.setattr("os.cpu_count", lambda: 2)
    monkeypatch.setattr(module, "parent_process", object)
    monkeypatch.setattr(module, "ProcessPoolExecutor", None)

    assert solved_cases(cases, handbook()) == features(cases, handbook())


def test_batches_hold_each_case_once_by_its_draws(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every case is in one batch, and no batch has a case of fewer draws than an earlier one has."""
    monkeypatch.setattr(batching, "CASES_AT_ONCE", 2)
    cases = [Case(STRAIGHT, build(), (), (24.0,) * draws) for draws in (3, 1, 2, 1, 3)]
    found = list(batches(cases))

    assert sorted(place for places in found for place in places) == [0, 1, 2, 3, 4]
    assert [[len(cases[place].draws_in) for place in places] for places in found] == [[1, 1], [2, 3], [3]]
