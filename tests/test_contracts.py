"""The promises about the code itself: import directions, and what a newcomer finds at the top."""

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent


def test_imports_go_one_way() -> None:
    """Data flows datasets > predictor > training > reports, and the first two load no data-frame library."""
    lint = Path(sys.executable).with_name("lint-imports")
    run = subprocess.run([lint, "--no-cache"], cwd=ROOT, capture_output=True, text=True, check=False)

    assert run.returncode == 0, run.stdout + run.stderr
    assert "data flows one way KEPT" in run.stdout


def test_top_level() -> None:
    """The top level holds the guide, the packaging and the five folders, and nothing else."""
    tracked = subprocess.run(
        ["git", "ls-files"],  # noqa: S607 # git lies elsewhere on each machine
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    top = {line.split("/")[0] for line in tracked.splitlines()}

    assert {name for name in top if not name.startswith(".")} <= {
        "README.md", "DEVELOPERS.md", "pyproject.toml", "predictor", "datasets", "training", "tests", "reports",
    }  # fmt: skip
