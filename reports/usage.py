"""What is wrong with a command line, in the words of all other messages: what was wanted, what came, what to do."""

import re
from collections.abc import Callable, Collection, Sequence

import typer

from datasets.mistakes import nearest

UsageError: type[Exception] = typer.BadParameter.__bases__[0]
"""What the parser raises: Typer ships a copy of its parser, whose errors it exports only in part."""

LONGEST = 60
"""Characters of what was typed that a message repeats."""


def in_words(error: Exception, argv: Sequence[str], commands: Collection[str]) -> str:
    """Return what a parser's error means, in one line.

    Args:
        error: a `UsageError`.
        argv: what was typed after `drawweight`.
        commands: the names of all commands.
    """
    said = " ".join(str(error).split()).rstrip(".")
    unknown = re.match(r"No such command '(.*?)'", said)
    if unknown:
        return f"wanted a command, got {unknown[1]}; {nearest(unknown[1], commands)}"
    typed = [word for word in argv if word in commands]
    return f"{_wanted(error, said)}; see: drawweight {f'{typed[0]} ' if typed else ''}--help"


def _wanted(error: Exception, said: str) -> str:
    if isinstance(error, typer.BadParameter) and not error.message:
        return f"wanted {_place(error)}, got nothing"
    choice = re.search(r"(?P<came>'.*'|\".*\") is not one of (?P<choices>.*)", said)
    if choice:
        return (
            f"wanted {_place(error)}, one of {choice['choices'].replace(chr(39), '')}, got {choice['came']}"
        )
    for pattern, words in _WORDS:
        match = re.fullmatch(pattern, said)
        if match:
            return words(match)
    return said


_WORDS: Sequence[tuple[str, Callable[[re.Match[str]], str]]] = (
    (
        r"No such option: (-[.\d].*)",
        lambda match: (
            f"wanted an option that there is, got {match[1]}; write -- before words that start with -"
        ),
    ),
    (r"No such option: (.*)", lambda match: f"wanted an option that there is, got {match[1]}"),
    (r"Option '(.*)' requires an argument", lambda match: f"wanted a value after {match[1]}, got nothing"),
    (
        r"Got unexpected extra argument(?:s|\(s\))? \((.*)\)",
        lambda match: f"wanted no more words, got {match[1]}",
    ),
)


def _place(error: Exception) -> str:
    """Return what a value is for: an argument as it stands in the help, or the name of an option."""
    parameter = error.param if isinstance(error, typer.BadParameter) else None
    if parameter is None:
        return "a value"
    if parameter.param_type_name == "option":
        return str(parameter.opts[0])
    return str(parameter.metavar or parameter.name).strip("[]")


def shortened(text: str) -> str:
    """Return what was typed, cut to a line."""
    if not text:
        return "nothing"
    text = text if text.isprintable() else repr(text)
    return text if len(text) <= LONGEST else text[: LONGEST - 3] + "..."
