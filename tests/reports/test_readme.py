"""The README leads a newcomer to every command."""

from pathlib import Path

import pytest

from reports import cli

README = Path(__file__).parents[2] / "README.md"


@pytest.mark.parametrize("name", [command.name for command in cli.app.registered_commands])
def test_every_command_is_in_the_readme(name: str) -> None:
    """A reader of the README meets every command."""
    assert f"drawweight {name}" in README.read_text(encoding="utf-8")
