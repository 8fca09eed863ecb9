"""The command line: what was typed goes to its command, and every failure comes back as one line and an exit code.

Exit codes: 0 fine, 1 done with findings or no answer, 2 usage or bad input, 3 could not.
"""

import os
import shlex
import sys
import tempfile
import traceback
from collections.abc import Callable, Mapping, Sequence
from importlib.metadata import version
from pathlib import Path
from types import MappingProxyType
from typing import Annotated

import typer

from datasets.store import BookError
from reports.commands import bench, files, learning, looking, predicting, pressing, shaping, shelves
from reports.commands.ending import BAD_INPUT, COULD_NOT, FINDINGS, FINE, StopError
from reports.commands.options import Call
from reports.printing import note
from reports.usage import UsageError, in_words, shortened

DEFAULT_BOOK = Path("shop.book")

COMMANDS: Mapping[str, Callable[..., int]] = MappingProxyType(
    {
        "demo": learning.lay_out_demo,
        "form": files.show_or_add_form,
        "add": files.add_records,
        "weigh": bench.weigh_bow,
        "reduce": bench.reduce_bow,
        "strip": bench.bend_strip,
        "layup": pressing.choose_layup,
        "order": shelves.take_order,
        "stock": shelves.keep_stock,
        "shop": shelves.change_shop,
        "show": looking.show_book_or_build,
        "predict": predicting.predict_weight,
        "train": learning.train_model,
        "report": learning.tell_report,
        "worth": shaping.tell_worth,
        "tiller": shaping.tell_tiller,
        "plan": shaping.plan_removals,
        "schema": looking.print_schema,
    }
)
"""Every command by its name, in the order of the list that help prints."""

app = typer.Typer(
    name="drawweight",
    help="Predict the draw weight of laminated bows from the shop's own book and beam physics.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
for _name, _command in COMMANDS.items():
    app.command(_name)(_command)


def run(argv: Sequence[str]) -> int:
    """Run one command line and return its exit code; every failure is one line on the channel of errors.

    Args:
        argv: what was typed after `drawweight`.
    """
    try:
        result = typer.main.get_command(app).main(
            args=_with_book_first(argv),
            prog_name="drawweight",
            standalone_mode=False,
            obj=Call(argv, DEFAULT_BOOK),
        )
        sys.stdout.flush()
    except StopError as stop:
        return _failed(str(stop), stop.code)
    except BookError as error:
        return _failed(str(error), error.exit_code)
    except UsageError as error:
        return _failed(in_words(error, argv, COMMANDS), BAD_INPUT)
    except (KeyboardInterrupt, typer.Abort):
        return _failed("stopped; nothing was kept", FINDINGS)
    except SystemExit:  # how the parser and the console say that nobody reads any longer
        return FINE
    except BrokenPipeError:
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115 # lives until the process ends
        return FINE
    except OSError as error:
        named = shortened(str(error.filename or "a file"))
        return _failed(f"wanted to use {named}, got: {error.strerror}; check the path", COULD_NOT)
    except Exception as error:  # noqa: BLE001 # the last net, so that nobody at the bench meets a traceback
        return _failed(_saved_report(error, argv), COULD_NOT)
    return result if isinstance(result, int) else FINE


def _with_book_first(argv: Sequence[str]) -> list[str]:
    """Return what was typed with the book named before the command, where the parser looks for it."""
    named: list[str] = []
    rest: list[str] = []
    words = iter(argv)
    for word in words:
        if word == "--book":
            value = next(words, None)
            if value is None:
                return [word]  # for the parser to ask for its value
            named += [word, value]
        else:
            (named if word.startswith("--book=") else rest).append(word)
    return [*named, *rest]


def _failed(message: str, code: int) -> int:
    note(f"drawweight: {message}")
    return code


def _saved_report(error: Exception, argv: Sequence[str]) -> str:
    with tempfile.NamedTemporaryFile(
        "w", prefix="drawweight-", suffix=".txt", delete=False, encoding="utf-8"
    ) as report:
        report.write(f"drawweight {shlex.join(argv)}\n\n{''.join(traceback.format_exception(error))}")
    first = str(error).splitlines()[0] if str(error) else ""
    return (
        f"wanted to do it, got {type(error).__name__}: {first}; please send {report.name} with what you typed"
    )


def _tell_version(asked: bool) -> None:
    if asked:
        sys.stdout.write(f"drawweight {version('drawweight-predictor')}\n")
        raise typer.Exit


@app.callback()
def _global(
    context: typer.Context,
    book: Annotated[
        Path, typer.Option("--book", envvar="DRAWWEIGHT_BOOK", help="the shop's book, a file")
    ] = DEFAULT_BOOK,
    _version: Annotated[
        bool,
        typer.Option("--version", callback=_tell_version, is_eager=True, help="tell the version and stop"),
    ] = False,
) -> None:
    context.obj.book = book
