"""The model beside the book: one JSON file, replaced whole or not at all."""

import os
from pathlib import Path

from predictor.belief.model import Model, ModelError, read_model


def model_path(book: Path) -> Path:
    """Return where the model of a book is kept."""
    return book.with_name(f"{book.name}.model.json")


def save_model(path: Path, model: Model) -> None:
    """Write a model; a reader finds the old one or the new one, also after a crash.

    Raises:
        ModelError: the file cannot be written.
    """
    draft = path.with_name(f"{path.name}.{os.getpid()}")
    try:
        try:
            with draft.open("w", encoding="utf-8") as file:
                file.write(model.model_dump_json())
                file.flush()
                os.fsync(file.fileno())
            draft.replace(path)
        finally:
            draft.unlink(missing_ok=True)
    except OSError as error:
        raise ModelError(
            f"wanted to write {path}, got: {error.strerror}; free the place or the disk"
        ) from error


def load_model(path: Path) -> Model | None:
    """Return the model that a file holds, or None where there is no file.

    Raises:
        ModelError: the file cannot be read, or is no model that this version can use.
    """
    try:
        return read_model(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return None
    except UnicodeDecodeError:
        raise ModelError(
            f"wanted a stored model in {path}, got a file that is no text; train again"
        ) from None
    except OSError as error:
        raise ModelError(
            f"wanted to read {path}, got: {error.strerror}; free it, or predict untrained"
        ) from error
    except ModelError as error:
        raise ModelError(f"{path}: {error}") from error


def staleness(model: Model, records: int, data_hash: str) -> str | None:
    """Return what the book says that a model has not seen, or None where there is nothing.

    Args:
        model: trained on an earlier state of the book.
        records: how many the book holds now, corrections counted.
        data_hash: of the book's records now.
    """
    if data_hash == model.data_hash:
        return None
    newer = records - model.records
    if newer <= 0:
        return "the model was trained on another book; train again: drawweight train"
    return (
        f"{newer} record{'s are' if newer > 1 else ' is'} newer than the model; train again: drawweight train"
    )
