"""A bow that would be strained over its limit is neither planned nor pressed, whichever way it is asked for."""

import pytest

from tests.reports.conftest import Command


@pytest.mark.parametrize(
    "line",
    [
        'plan K-001 --target "30#@36"',
        'layup --like K-001 --target "90#@36"',
        "layup --like K-001 --length 46",
    ],
)
def test_glass_squeezed_over_its_limit_is_refused(bow: Command, line: str) -> None:
    """At a draw or a length where the belly's glass is over its limit there is a refusal with its place, and code 1."""
    refused = bow(line)
    said = " ".join((refused.out + refused.err).split())

    assert refused.code == 1
    assert "over the limit in compression: strain" in said
    assert "in its limb glass, which stands 1.51% at best" in said
