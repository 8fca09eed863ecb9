"""The fitted model: a value that knows what it was made from, and the belief that holds before there is one."""

from hashlib import sha256
from importlib.metadata import version
from math import isqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, ValidationError

from datasets.record import Record
from predictor.belief.calibration import Calibration
from predictor.belief.habits import USUAL, Habits
from predictor.belief.posterior import Posterior
from predictor.belief.scatter import BUILD_COLUMNS, GROUPS, SCATTER_SDS

Array = NDArray[np.float64]

FORMAT = 4
"""Of the stored model; another one is refused."""


def prior_belief() -> Posterior:
    """Return what is believed before any build is known: no effect is learned, scales are those of `SCATTER_SDS`."""
    scales = [SCATTER_SDS[name] for name in (*GROUPS, *BUILD_COLUMNS)]
    return Posterior(
        effects=(),
        groups=GROUPS,
        build_columns=BUILD_COLUMNS,
        weights=np.ones(1),
        scales=np.array([[*scales, 1.0]]),
        means=np.zeros((1, 0)),
        covariances=np.zeros((1, 0, 0)),
    )


class ModelError(ValueError):
    """A stored model that cannot be used, in one line."""


class Taught(Record):
    """A build's part in what a fit learned, so that it can be taken out again."""

    build: str
    fingerprint: str = Field(
        description="of its records as they were, see `predictor.belief.weighings.fingerprint`"
    )
    weigh_ins: tuple[str, ...] = Field(description="ids, in the order of their readings in the fit")
    doubts: tuple[float, ...] = Field(
        description="covariance that suspected mistakes added to its readings, and last to its cut: the lower "
        "triangle by rows"
    )

    def doubts_added(self) -> Array:
        """Return the covariance that suspected mistakes added to its readings, shape (n, n)."""
        size = (isqrt(8 * len(self.doubts) + 1) - 1) // 2
        added = np.zeros((size, size))
        added[np.tril_indices(size)] = self.doubts
        return added + np.tril(added, -1).T


class Model(Record):
    """A fit as it is kept: numbers, names, and what it was made from. Plain JSON; nothing in it is run.

    Attributes of `posterior` are those of `predictor.belief.posterior.Posterior`.
    """

    format: int = Field(description="of this file")
    tool: str = Field(description="version of the tool that fitted it")
    trained_at: str = Field(description="when, in universal time")
    data_hash: str = Field(
        pattern=r"^[0-9a-f]{64}$", description="of the book's records that it was fitted to"
    )
    records: int = Field(ge=0, description="how many records the book held")
    builds: int = Field(ge=1, description="how many builds taught it")
    readings: int = Field(ge=1)
    builds_by_form: dict[str, int]
    builds_by_material: dict[str, int]
    left_out: tuple[tuple[str, str], ...] = Field(
        (), description="records that did not teach, each with the reason"
    )
    doubtful: tuple[tuple[str, float], ...] = Field(
        (), description="builds that look like a mistake of the pencil, each with the probability"
    )
    taught: tuple[Taught, ...] = Field((), description="each build that taught it")
    calibration: Calibration = Field(description="how its builds fared when they were left out")
    habits: Habits = Field(USUAL, description="the shop's ways, and the sizes of its bows")
    posterior: dict[str, Any]
    own_hash: str = Field("", description="SHA-256 of all else in this file, as `sealed` puts it")

    def taught_by(self, build: str) -> Taught | None:
        """Return the part that a build had in the fit, if it had one."""
        return next((taught for taught in self.taught if taught.build == build), None)

    def belief(self) -> Posterior:
        """Return the posterior.

        Raises:
            ModelError: its numbers do not fit together.
        """
        try:
            belief = Posterior.from_json(self.posterior)
        except (KeyError, TypeError, ValueError) as error:
            raise ModelError(f"wanted a whole model, got one with {error}; train again") from error
        if (belief.groups, belief.build_columns) != (GROUPS, BUILD_COLUMNS):
            raise ModelError("wanted a model of this version's effects, got other ones; train again")
        return belief


def this_version() -> str:
    """Return the version of this tool."""
    return version("drawweight-predictor")


def sealed(model: Model) -> Model:
    """Return a model with the hash of its own contents, by which a file that was changed is known."""
    return model.model_copy(update={"own_hash": _hash_of(model)})


def _hash_of(model: Model) -> str:
    """Return the SHA-256 of a model's JSON without the hash itself; how a file is spaced does not matter."""
    return sha256(model.model_dump_json(exclude={"own_hash"}).encode()).hexdigest()


def read_model(text: str) -> Model:
    """Read a stored model.

    What builds have taught stands beside the statics and the priors of the version that fitted it, so another version
    does not predict with it: that would be wrong without a sign of it, and training again takes seconds.

    Raises:
        ModelError: it is not one, of another format or version, or not as it was written.
    """
    try:
        model = Model.model_validate_json(text)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"]) or "the file"
        raise ModelError(f"wanted a stored model, got {where}: {first['msg']}; train again") from None
    if model.format != FORMAT:
        raise ModelError(f"wanted a model of format {FORMAT}, got {model.format}; train again")
    if model.tool != this_version():
        raise ModelError(f"wanted a model of version {this_version()}, got {model.tool}; train again")
    model.belief()
    if model.own_hash != _hash_of(model):
        raise ModelError("wanted the model as training wrote it, got one with other numbers; train again")
    return model


def basis_in_words(model: Model | None) -> str:
    """Return what predictions rest on: the statics, and how many builds have taught since when."""
    if model is None:
        return "beam statics at handbook moduli; nothing is learned from the shop's builds yet"
    have = "has" if model.builds == 1 else "have"
    return f"beam statics and what {model.builds} of the shop's builds {have} taught (trained {model.trained_at})"
