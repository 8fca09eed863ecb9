"""A second look at records just kept: weights far from what is expected, and profiles that cannot be trusted."""

from collections.abc import Iterator

from datasets.contents import Contents
from datasets.history import bow_at
from datasets.mistakes import Mistake, RawRecord, dotted, line_of
from datasets.schema import Build, Form, WeighIn
from predictor.belief.model import Model
from predictor.bows.bow import Refusal, unstrung
from predictor.shape import profile_doubts
from reports.adding import Added
from reports.expectation import compare_all
from reports.printing import Units
from reports.shape_told import last_on_form, shape_effect_in_words
from reports.show import far_in_words, profile_of

MOST_COMPARED = 200
"""Weigh-ins of one text that are compared with what is expected: some seconds' worth."""


def far_readings(added: Added, contents: Contents, model: Model | None, units: Units) -> Iterator[Mistake]:
    """Yield the readings among records just kept that are far from what the book expects, in the order kept.

    Args:
        added: what became of a text.
        contents: the book, with its records.
        model: what the shop's builds have taught.
        units: what to tell weights and draws in.
    """
    weighed = [
        (raw, one) for raw, one in zip(added.typed, added.kept, strict=True) if isinstance(one, WeighIn)
    ]
    told = compare_all(contents, [one for _, one in weighed], model)
    for (raw, weigh_in), compared in zip(weighed, told, strict=True):
        if isinstance(compared, Refusal):
            yield _oddity(raw, weigh_in.id, (), f"no expectation: {compared.reason} ({compared.where})")
            continue
        for index, one in enumerate(compared):
            if one.far:
                yield _oddity(raw, weigh_in.id, ("readings", index), far_in_words(one, units))


def doubtful_profiles(added: Added, contents: Contents, units: Units) -> Iterator[Mistake]:
    """Yield why the profiles among records just kept may not be trusted, in the order kept.

    Args:
        added: what became of a text.
        contents: the book, with its records.
        units: what to tell weights in.
    """
    for raw, record in zip(added.typed, added.kept, strict=True):
        if not isinstance(record, Form | Build) or not record.profile:
            continue
        name = f"{record.id}/{record.revision}" if isinstance(record, Form) else record.id
        try:
            doubts = shape_doubts(record, contents)
        except ValueError as none:
            yield _oddity(raw, name, ("profile",), str(none))
            continue
        stations = [reading.at_in.inch for reading in record.profile]
        for doubt in doubts:
            place = stations.index(doubt.station)
            yield _oddity(raw, name, ("profile", place), f"{doubt.doubt}: {doubt.message}")
        bow = record if isinstance(record, Build) else last_on_form(record, contents)
        effect = bow and shape_effect_in_words(bow, contents, units)
        if effect:
            yield _oddity(raw, name, ("profile",), effect)


def shape_doubts(record: Form | Build, contents: Contents) -> tuple[profile_doubts.Finding, ...]:
    """Return why the unstrung shape of a form or a build may not be trusted.

    Raises:
        ValueError: there is no reading on the limb, or no limb.
    """
    if isinstance(record, Form):
        return profile_of(record).findings
    form = contents.form_of(record)
    if form is None:
        return ()
    bow = bow_at(form, record)
    return unstrung(bow, bow.upper).findings


def _oddity(raw: RawRecord, name: str, path: tuple[str | int, ...], message: str) -> Mistake:
    where = ", ".join(part for part in (f"{raw.kind} {name}", dotted(path)) if part)
    return Mistake(line_of(path, raw) or None, where, message)
