"""How something long is followed."""

from collections.abc import Callable, Iterable, Sequence
from typing import Any

Track = Callable[[Sequence[Any], str], Iterable[Any]]
"""Goes through steps while a reader is told how far it has come with what."""
