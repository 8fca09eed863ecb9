"""Published data sets, and readings of the regression made from plain columns."""

import csv
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from training.engine.readings import BuildColumn, Group, Readings
from training.engine.scale_priors import Flat, ScalePrior

Array = NDArray[np.float64]
REFERENCE = Path(__file__).parent / "reference"


def columns_of(name: str) -> dict[str, list[str]]:
    """Return the columns of a data set under tests/reference, whose leading # lines give its source."""
    lines = (REFERENCE / name).read_text().splitlines()
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    return {column: [row[column] for row in rows] for column in rows[0]}


def numbers(column: Sequence[str]) -> Array:
    """Return a column as numbers."""
    return np.array(column, dtype=float)


def group(name: str, labels: Sequence[str], prior: ScalePrior) -> Group:
    """Return an effect for each label."""
    levels, place = np.unique(labels, return_inverse=True)
    columns = csr_array((np.ones(len(place)), (np.arange(len(place)), place)))
    return Group(name, tuple(map(str, levels)), columns, prior)


def readings(
    values: Array,
    common: Array,
    *,
    builds: Sequence[str] | None = None,
    groups: tuple[Group, ...] = (),
    own: dict[str, tuple[Array, ScalePrior]] | None = None,
    noise: ScalePrior | None = None,
) -> Readings:
    """Return readings of equal weight with flat priors on the common effects; without builds each stands alone."""
    count, effects = common.shape
    build = np.arange(count) if builds is None else np.unique(builds, return_inverse=True)[1]
    return Readings(
        values=values,
        sd=np.ones(count),
        build=build,
        common=common,
        common_names=tuple(f"x{place}" for place in range(effects)),
        common_mean=np.zeros(effects),
        common_sd=np.full(effects, np.inf),
        groups=groups,
        build_columns=tuple(
            BuildColumn(name, column, prior) for name, (column, prior) in (own or {}).items()
        ),
        tolerances=np.zeros((count, 0)),
        noise_prior=noise or Flat(float(values.std()) or 1.0),
    )
