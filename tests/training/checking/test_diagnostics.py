"""What errors go with is found when it is there, and seldom when it is not."""

import numpy as np
import pytest
from scipy.stats import chi2

from training.checking.diagnostics import breusch_pagan, columns, influence, trends, white

COUNT = 60


def _quantities(seed: int, count: int = COUNT) -> dict[str, np.ndarray]:
    rng = np.random.default_rng(seed)
    return {"stack": rng.uniform(0.2, 0.4, count), "width": rng.uniform(1, 2, count)}


def test_finds_a_trend_and_only_that() -> None:
    """An error that grows with the stack is a trend in the stack, also among all looked at; the smooth follows it."""
    quantities = _quantities(1)
    off = np.random.default_rng(2).standard_normal(COUNT) + 15 * (quantities["stack"] - 0.3)
    found = trends(off, quantities)
    order = np.argsort(quantities["stack"])

    assert found["stack"].p_of_all < 0.01
    assert found["stack"].rank_correlation > 0.3
    assert np.ptp(found["stack"].smooth) > 1
    assert found["stack"].smooth[order[-1]] > found["stack"].smooth[order[0]]
    assert found["width"].p_of_all > 0.05


def test_few_false_trends() -> None:
    """Errors that go with nothing raise a trend among all looked at in one case of twenty at most, but for luck."""
    quantities = _quantities(3)
    rng = np.random.default_rng(4)
    alarms = [
        any(trend.p_of_all < 0.05 for trend in trends(rng.standard_normal(COUNT), quantities).values())
        for _ in range(40)
    ]

    assert np.mean(alarms) < 0.05 + 3 * np.sqrt(0.05 * 0.95 / 40)


def test_what_is_not_known_or_the_same_is_left_out() -> None:
    """Nan are left out of their own trend only; what most builds share has none; too few builds have none."""
    quantities = _quantities(5) | {"temperature": np.full(COUNT, np.nan), "draw": np.full(COUNT, 28.0)}
    quantities["temperature"][:20] = np.linspace(40, 80, 20)
    off = np.random.default_rng(6).standard_normal(COUNT)
    found = trends(off, quantities)

    assert set(found) == {"stack", "width", "temperature"}
    assert np.isfinite(found["temperature"].smooth).sum() == 20
    assert trends(off[:7], {name: values[:7] for name, values in quantities.items()}) == {}


def test_uneven_spread_is_found() -> None:
    """Both tests see errors that spread with the stack, and mostly pass even ones."""
    quantities = _quantities(7, 200)
    rng = np.random.default_rng(8)
    uneven = rng.standard_normal(200) * (0.2 + 8 * (quantities["stack"] - 0.2))
    even = [rng.standard_normal(200) for _ in range(60)]
    for test in (breusch_pagan, white):
        assert test(uneven, quantities).p < 0.001
        assert np.mean([test(one, quantities).p < 0.05 for one in even]) < 0.15


def test_breusch_pagan_by_hand() -> None:
    """Koenker's form is n times the share explained of the squared residuals, by plain least squares here."""
    quantities = _quantities(9)
    off = np.random.default_rng(10).standard_normal(COUNT)
    names, design = columns(quantities, COUNT)
    squares = (off - design @ np.linalg.lstsq(design, off)[0]) ** 2
    left = squares - design @ np.linalg.lstsq(design, squares)[0]
    explained = 1 - left @ left / ((squares - squares.mean()) @ (squares - squares.mean()))

    assert breusch_pagan(off, quantities).p == pytest.approx(chi2.sf(COUNT * explained, len(names)), rel=1e-8)


def test_influence_by_leaving_out() -> None:
    """Cook's distance is how far all fitted values move when a build is left out, over p s^2: computed here so."""
    quantities = _quantities(11, 30)
    off = np.random.default_rng(12).standard_normal(30)
    quantities["stack"][4], off[4] = 0.9, 6.0
    names, found = influence(off, quantities)
    _, design = columns(quantities, 30)
    whole = design @ np.linalg.lstsq(design, off)[0]
    variance = np.sum((off - whole) ** 2) / (30 - design.shape[1])
    keep = np.arange(30) != 4
    moved = whole - design @ np.linalg.lstsq(design[keep], off[keep])[0]

    assert names == ("stack", "width")
    assert found[0].place == 4
    assert found[0].cook == pytest.approx(moved @ moved / (design.shape[1] * variance), rel=1e-9)
    assert [one.cook for one in found] == sorted((one.cook for one in found), reverse=True)


def test_outlier_by_name() -> None:
    """One error of eight standard deviations is an outlier among thirty, and no other is."""
    off = np.random.default_rng(12).standard_normal(30)
    off[9] = 8.0
    found = influence(off, _quantities(11, 30))[1]

    assert {one.place for one in found if one.outlier_p < 0.01} == {9}


def test_few_builds_bear_few_columns() -> None:
    """There is a column for each five builds at most, none twice, and no test where there is none."""
    quantities = _quantities(13, 12)
    quantities["twice"] = 2 * quantities["stack"]

    assert columns(quantities, 12)[0] == ("stack",)
    assert columns(_quantities(13, 40) | {"twice": 2 * _quantities(13, 40)["stack"]}, 40)[0] == (
        "stack",
        "width",
    )
    assert breusch_pagan(np.zeros(5), {name: values[:5] for name, values in quantities.items()}) is None
