"""Invented shops, fitted, for tests of reports."""

from datetime import date
from functools import cache

from datasets.contents import Contents
from reports.sources import Sources
from training.checking.evaluate import only
from training.learning.train import train
from training.workshop.virtual_shop import simulate

HASH = "5c" * 32
SEED, MOST = 90210, 24
DAY = date(2026, 11, 25)


@cache
def shop(mistakes: bool = False) -> Contents:
    """Return the book of an invented shop."""
    return Contents.of(simulate(SEED, MOST, mistakes=mistakes).records)


@cache
def sources(builds: int, mistakes: bool = False) -> Sources:
    """Return what reports on a shop's first builds are made from."""
    whole = shop(mistakes)
    contents = only(whole, list(whole.builds)[:builds])
    records = len(contents.builds)
    trained = train(contents, HASH, records) if builds else None
    return Sources(contents, HASH, records, DAY, trained)
