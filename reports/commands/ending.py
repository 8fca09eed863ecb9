"""How a command ends: exit codes, and the message that ends it early."""

from collections.abc import Iterator
from contextlib import contextmanager

FINE, FINDINGS, BAD_INPUT, COULD_NOT = 0, 1, 2, 3


class StopError(Exception):
    """Ends a command with a message and an exit code."""

    def __init__(self, message: str, code: int = BAD_INPUT) -> None:
        super().__init__(message)
        self.code = code


@contextmanager
def stopping_at(*expected: type[Exception], code: int = BAD_INPUT) -> Iterator[None]:
    """End the command with the message of an error that is expected within.

    Args:
        expected: errors whose message is for whoever typed the command.
        code: the exit code then.
    """
    try:
        yield
    except expected as error:
        raise StopError(str(error), code) from None
