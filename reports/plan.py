"""The removal plan of a kit of the book, under the shop's settings."""

from datasets.contents import Contents
from datasets.schema import Build, Form, Shop
from predictor.belief.model import Model
from predictor.bows.bow import Refusal
from predictor.planning.kit_state import Kit
from predictor.planning.knowledge import Knowledge
from predictor.planning.plan import Plan, plan
from predictor.planning.promise import Promise
from predictor.planning.stakes import Stakes
from predictor.planning.ways import Limits
from predictor.pressing.blanks import least_widths, widths_of

USUAL_RADIUS_IN = 1 / 8
"""Largest radius that corners are rounded to where the shop sets none. Common practice, no source."""


def plan_for(
    contents: Contents,
    form: Form,
    build: Build,
    promise: Promise,
    model: Model | None,
    tiller_in: tuple[float, float],
) -> Plan | Refusal:
    """Return the plan of one build of the book, under the shop's settings, or why there is none.

    Args:
        contents: the book.
        form: that the build was pressed on.
        build: the kit.
        promise: to be kept.
        model: what the shop's builds have taught; nothing before training.
        tiller_in: lowest and highest wanted.
    """
    shop = contents.shop
    stakes = Stakes.of(shop, promise.tolerance_lbf)
    limits = _limits(shop, form, build, tiller_in)
    layered = {layer.material for layer in build.layers}
    strips = tuple(strip for strip in contents.strips.values() if strip.material in layered)
    kit = Kit(form, build, tuple(contents.events.get(build.id, ())))
    return plan(kit, promise, stakes, limits, Knowledge(contents.materials, model, strips))


def _limits(shop: Shop, form: Form, build: Build, tiller_in: tuple[float, float]) -> Limits:
    radius, trap, glass = shop.edge_radius_limit_in, shop.trap_limit_in, shop.glass_off_limit_in
    return Limits(
        least_widths_in=least_widths(shop, widths_of(form, build)),
        strain=shop.strain_limit,
        tiller_in=tiller_in,
        most_radius_in=USUAL_RADIUS_IN if radius is None else radius.inch,
        most_trap_in=0.0 if trap is None else trap.inch,
        most_glass_off_in=0.0 if glass is None else glass.inch,
    )
