"""Shares of kits carry errors clustered by shop, and a shop that has ended is kept in one line."""

import numpy as np
import pytest
import statsmodels.api as sm

from tests.benchmarks.plan_endings import Ended, Shop, clustered


def test_errors_are_clustered_by_shop() -> None:
    """Mean and error are those of a regression on a constant with errors clustered by shop (statsmodels)."""
    rng = np.random.default_rng(3)
    values = [rng.normal(rng.normal(), 1, size) for size in (4, 7, 5, 6)]
    shop = np.repeat(np.arange(4), [len(one) for one in values])
    whole = np.concatenate(values)
    fit = sm.OLS(whole, np.ones(len(whole))).fit(cov_type="cluster", cov_kwds={"groups": shop})
    assert clustered(values) == pytest.approx((fit.params[0], fit.bse[0]), rel=1e-12)


def test_a_shop_is_read_back_from_its_line() -> None:
    """What is written of a shop is what is read, kits without stated chances too."""
    kits = [{"plan": Ended(0.5, 0.25, 3, 0.01, 0.97), "halves": Ended(-1.0, -1.5, 5, np.nan, np.nan)}]
    shop = Shop(7, 30, 1.5, kits, ["kit 1 of shop 7, it breaks (at the nock)"])
    back = Shop.from_json(shop.to_json())
    assert back.kits[0]["plan"] == kits[0]["plan"]
    assert np.array_equal(back.kits[0]["halves"], kits[0]["halves"], equal_nan=True)
    assert (back.seed, back.builds, back.seconds, back.refused) == (7, 30, 1.5, shop.refused)
