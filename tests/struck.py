"""Books of which nobody noted a lot."""

from dataclasses import replace

from datasets.contents import Contents
from datasets.schema import Build


def without_lots(contents: Contents) -> Contents:
    """Return the contents of a book with all lots struck out."""
    return replace(contents, builds={name: bare(build) for name, build in contents.builds.items()})


def bare(build: Build) -> Build:
    """Return a build with its lots struck out."""
    return build.model_copy(
        update={"layers": tuple(layer.model_copy(update={"lot": None}) for layer in build.layers)}
    )
