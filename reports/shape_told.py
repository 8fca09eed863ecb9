"""What doubted readings of an unstrung shape do to a weight, in words."""

from datasets.contents import Contents
from datasets.history import GeometryError, bow_at
from datasets.schema import Build, Form
from datasets.zero_points import from_back
from predictor.bows.bow import handbook_moduli
from predictor.bows.shape_effect import ShapeEffect, shape_effect
from reports.expectation import usual_draws
from reports.printing import Units


def last_on_form(form: Form, contents: Contents) -> Build | None:
    """Return the last build of a form's revision that has no unstrung shape of its own, if there is one."""
    key = (form.id, form.revision)
    builds = [
        build
        for build in contents.builds.values()
        if (build.form, build.form_revision) == key and not build.profile
    ]
    return builds[-1] if builds else None


def shape_effect_in_words(build: Build, contents: Contents, units: Units) -> str | None:
    """Return what following every reading would do to a build's weight; nothing without doubt or without a weight.

    The weight is that of the statics with handbook moduli, of the bow before anything was taken off.
    """
    form = contents.form_of(build)
    if form is None:
        return None
    try:
        bow = bow_at(form, build)
    except GeometryError:
        return None
    draw = usual_draws(contents)[-2]
    in_from_back = from_back(draw.inch, draw.zero, form.handle_depth_in.inch)
    effect = shape_effect(bow, handbook_moduli(bow, contents.materials), in_from_back)
    if not isinstance(effect, ShapeEffect):
        return None
    by = f"{units.tenths_of_weight(abs(effect.change_lbf))} {units.weight}"
    way = "more" if effect.change_lbf > 0 else "less"
    percent = f"{abs(effect.change_percent):.1f}%"
    return f"with every reading followed {build.id} would weigh {by} ({percent}) {way} at {units.draw(draw)}"
