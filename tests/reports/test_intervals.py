"""Intervals against closed forms and against independent implementations."""

import math

import numpy as np
import pytest
from scipy import optimize, stats

from pipeline.reports.intervals import (
    AT_A_TIME,
    FEWEST_DRAWS,
    Estimate,
    drawn_again,
    draws,
    mean,
    means,
    median,
    rate,
    share,
)

RESAMPLES = 4000


def rng() -> np.random.Generator:
    return np.random.default_rng(7)


@pytest.mark.parametrize(("k", "n"), [(0, 1), (0, 9), (1, 1), (3, 10), (10, 10), (27, 48), (300, 1000)])
def test_a_share_is_wilsons(k, n):
    told = share(k, n, 0.95)
    other = stats.binomtest(k, n).proportion_ci(0.95, method="wilson")
    assert (told.low, told.high) == pytest.approx((other.low, other.high), abs=1e-12)
    assert told.value == k / n
    assert told.count == n


def test_nothing_seen_is_unknown():
    for told in (share(0, 0, 0.95), median(np.array([np.nan]), 0.95, 50, rng()), rate(0, 0.0, 0.95)):
        assert not told.known
        assert told.count == 0


@pytest.mark.parametrize("events", [0, 1, 4, 30])
def test_a_rate_is_garwoods(events):
    """The ends are the Poisson means under which so many, or so few, come in 2.5 of a hundred."""
    told = rate(events, 27.0, 0.95, per=100.0)
    high = optimize.brentq(lambda m: stats.poisson.cdf(events, m) - 0.025, events, events + 50)
    low = 0.0 if events == 0 else optimize.brentq(lambda m: stats.poisson.sf(events - 1, m) - 0.025, 1e-9, events)
    assert (told.low, told.high) == pytest.approx((low / 0.27, high / 0.27), rel=1e-9)
    assert told.value == pytest.approx(events / 0.27)


@pytest.mark.parametrize("n", [5, 9, 21])
def test_the_bootstrap_of_a_median_has_its_closed_form(n):
    """Efron (1979): P(median of a sample drawn again > x_(k)) = P(Binomial(n, k/n) <= (n - 1) / 2) for odd n."""
    values = np.arange(n, dtype=float) ** 1.5
    above = np.array([stats.binom.cdf((n - 1) // 2, n, k / n) for k in range(1, n + 1)])
    weights = np.diff(np.concatenate([[0.0], 1 - above]))
    reached = np.cumsum(weights)
    told = median(values, 0.95, 40_000, rng())
    for end, out in ((told.low, 0.025), (told.high, 0.975)):
        place = int(np.searchsorted(reached, out))
        near = {values[max(place - 1, 0)], values[place]} if abs(reached[place] - out) < 0.004 else {values[place]}
        near |= {values[place]} | (
            {values[place + 1]} if place + 1 < n and abs(reached[place] - out) < 0.004 else set()
        )
        assert end in near


def test_the_bootstrap_of_a_mean_agrees_with_scipys():
    values = np.random.default_rng(3).exponential(4.0, 40)
    told = mean(values, 0.95, 20_000, rng())
    other = stats.bootstrap(
        (values,), np.mean, n_resamples=20_000, method="percentile", rng=np.random.default_rng(1)
    ).confidence_interval
    assert (told.low, told.high) == pytest.approx((other.low, other.high), abs=0.06)
    assert told.value == pytest.approx(values.mean())


def test_unknown_values_and_the_order_of_runs_do_not_matter():
    values = np.array([3.0, np.nan, 1.0, 2.0, np.nan, 9.0])
    told = median(values, 0.95, RESAMPLES, rng())
    assert told == median(values[::-1], 0.95, RESAMPLES, rng())
    assert told == median(values[np.isfinite(values)], 0.95, RESAMPLES, rng())
    assert told.count == 4


def test_one_value_has_no_interval():
    told = median(np.array([4.0]), 0.95, RESAMPLES, rng())
    assert told.value == 4.0
    assert math.isnan(told.low)
    assert told != Estimate(4.0, 4.0, 4.0, 1)


def test_the_interval_of_a_median_keeps_most_of_its_promise():
    """Percentile intervals are a little short for few runs; the docs say by how much."""
    draw = np.random.default_rng(11)
    true = 20 + 4 * math.log(2)
    held = 0
    for _ in range(400):
        told = median(20 + draw.exponential(4.0, 12), 0.95, 400, draw)
        held += told.low <= true <= told.high
    assert held / 400 >= 0.90


def test_large_samples_are_drawn_less_often_and_never_all_at_once():
    assert draws(4000, 100) == 4000
    assert draws(9999, 20_000) == FEWEST_DRAWS
    values = np.arange(30_000.0)
    rows = []

    def told(samples):
        rows.append(samples.size)
        return means(samples)

    assert len(drawn_again(values, told, 4000, np.random.default_rng(1))) == FEWEST_DRAWS
    assert max(rows) <= AT_A_TIME
