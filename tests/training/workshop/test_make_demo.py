"""The shipped demo is what its maker writes, and a book takes it."""

from importlib.resources import files

import numpy as np
import pytest
from scipy.integrate import simpson

from datasets.book import ShopBook, read_record
from datasets.files import Format, read_bytes
from datasets.history import bow_at
from datasets.record import ZeroPoint
from datasets.schema import KINDS
from datasets.zero_points import from_back
from predictor.bows.bow import handbook_moduli, limb_of, string_stiffness
from predictor.mechanics.limb import limb_grid
from predictor.mechanics.statics import brace, draw
from training.studies.weighed_again import largest_study, occasions
from training.workshop.demo_bench import HEAVY_KIT, LIGHT_KIT, MISWRITTEN, TWINS, bench
from training.workshop.make_demo import KIT_TARGET_LBF, demo_files, demo_shop
from training.workshop.shop_designs import HOOK
from training.workshop.shop_truth import Scatter


def shipped(name):
    """Return a shipped file as bytes."""
    return files("datasets").joinpath("data", name).read_bytes()


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    """Return the contents of a book that the demo was added to, and what became of each record."""
    reading = read_bytes(shipped("demo.toml"), KINDS, None, Format.TOML)
    assert not reading.mistakes
    with ShopBook.open(tmp_path_factory.mktemp("demo") / "shop.book", create=True) as opened:
        outcomes = opened.add(reading.records)
        return opened.contents(), outcomes


def test_files_are_up_to_date():
    """The command writes the shipped files again, byte for byte."""
    for name, text in demo_files().items():
        assert shipped(name) == text.encode(), f"{name} is stale; run python -m training.workshop.make_demo"


def test_every_record_is_kept(book):
    """Every record is right in itself and fits the others."""
    _, outcomes = book
    assert all(outcome.kept for outcome in outcomes)


def test_what_is_in_it(book):
    """Three forms, at least 40 builds, several woods, two thicknesses of glass, and a few that may not teach."""
    contents, _ = book
    builds = contents.builds.values()
    assert len(contents.forms) == len({build.form for build in builds}) == 3
    assert len(builds) >= 40
    assert len({layer.material for build in builds for layer in build.layers if layer.part == "core"}) >= 3
    assert 3 <= sum(not build.teaches for build in builds) <= 8
    stages = {
        event.stage for history in contents.events.values() for event in history if hasattr(event, "stage")
    }
    assert {"first-draw", "tillered", "finished", "settled"} <= stages


def test_recurves_store_what_measured_ones_do(book):
    """The string of every recurve lies on its tips at brace, and its energy at 28 in is that of measured recurves.

    By the records and at handbook moduli. Tuijn and Kooi, European Journal of Physics 13 (1992), table I, read: energy
    over weight times string travel 0.581 to 0.595, over weight times draw 0.385 to 0.406 (computed from the table). The
    latter grows as the brace falls, so it is asked of bows that are strung as high as their form is.
    """
    contents, _ = book
    builds = [build for build in contents.builds.values() if contents.form_of(build).kind == "recurve"]
    bows = [bow_at(contents.form_of(build), build, contents.events[build.id]) for build in builds]
    grid = limb_grid([limb_of(bow, bow.upper, handbook_moduli(bow, contents.materials)) for bow in bows])
    height, pivot = (np.array([getattr(bow, name) for bow in bows]) for name in ("brace", "pivot_depth"))
    strung = brace(grid, height, np.array([string_stiffness(bow) for bow in bows]))
    full = from_back(28.0, ZeroPoint.STANDARD, pivot)
    travel = np.linspace(height, full, 33, axis=1)
    force = np.insert(draw(grid, strung, travel[:, 1:]).force, 0, 0.0, axis=1)
    stored = simpson(force, x=travel, axis=1) / force[:, -1]
    over_travel, over_draw = stored / (full - height), stored / (full - pivot)
    as_usual = height - pivot == HOOK.brace_in

    assert np.sum(as_usual) >= 10
    assert np.all(strung.hold.lift_off > 0)
    assert np.all((over_travel >= 0.58) & (over_travel <= 0.60))
    assert np.all((over_draw[as_usual] >= 0.385) & (over_draw[as_usual] <= 0.406))


def test_planned_kit(book):
    """The kit is a plan on one of the forms, of lots that bows of the book were made of or that came in since."""
    contents, _ = book
    (raw,) = read_bytes(shipped("demo-planned.toml"), KINDS, "build", Format.TOML).records
    outcome = read_record(raw.kind, raw.data, contents)
    assert not outcome.findings
    assert outcome.record.planned


def test_kits_on_the_bench(book):
    """One kit reads 6 to 9 lb over its open order at first draw and once more after thirty draws, one reads under."""
    contents, _ = book
    orders = {order.build: order for order in contents.orders.values() if order.delivered is None}
    for kit, least, most in ((HEAVY_KIT, 6, 9), (LIGHT_KIT, -9, -1)):
        first, tillered = contents.events[kit]
        assert [first.stage, tillered.stage, tillered.pulls] == ["first-draw", "tillered", 30]
        (at_28,) = [reading.weight.lbf for reading in first.readings if reading.draw.inch == 28]
        assert least <= at_28 - orders[kit].weight.lbf <= most


def test_orders_and_stock(book):
    """There are orders delivered and open, one of them for a bow that is not pressed, and cores and glass in stock."""
    contents, _ = book
    orders = contents.orders.values()
    assert {order.delivered is None for order in orders} == {True, False}
    assert any(order.build is None for order in orders)
    assert {item.part for item in contents.stock.values()} == {"core", "glass"}


def test_two_bows_are_weighed_by_all(book):
    """Each hand weighed both bows twice on each of two scales as they stood."""
    contents, _ = book
    study = largest_study(occasions(contents))
    assert study.builds == TWINS
    assert study.read_lbf.shape == (2, 6, 2)


def test_the_slip_is_two_digits_swapped(book):
    """The record of the miswritten bow differs from what was measured by a swap in one core, far beyond a caliper."""
    contents, _ = book
    job = bench(demo_shop().truth, KIT_TARGET_LBF).jobs[MISWRITTEN]
    noted = next(layer for layer in reversed(contents.builds[MISWRITTEN].layers) if layer.part == "core")
    true = next(lam for lam in reversed(job.bow.upper.lams) if lam.part == "core")
    assert abs(noted.butt_in.inch - true.thickness[0]) > 10 * Scatter().lam_in


@pytest.mark.parametrize("name", ["demo.toml", "DEMO.md"])
def test_says_that_it_is_invented(name):
    """Whoever opens a file reads in its first lines that the shop is invented."""
    assert b"invented shop" in shipped(name)[:200].lower()


def test_small_enough_to_read():
    """The book is at most 200 kB."""
    assert len(shipped("demo.toml")) < 200_000
