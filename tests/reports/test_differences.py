"""Two sides: intervals and tests against published values and closed forms, the rule by simulation."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from pipeline.reports.differences import (
    Difference,
    Verdict,
    games_p,
    holm,
    judged,
    median_difference,
    median_difference_of_games,
    share_difference,
    share_p,
    shuffled_p,
)
from pipeline.reports.intervals import Estimate

FEWEST = 8


@pytest.mark.parametrize(
    ("one", "other", "low", "high"),
    [((56, 70), (48, 80), 0.0524, 0.3339), ((9, 10), (3, 10), 0.1705, 0.8090)],
)
def test_differences_of_shares_are_newcombes(one, other, low, high):
    """Newcombe 1998, Stat. Med. 17:873, table II, method 10, rows a and b (values from memory; statsmodels' own
    implementation, run beside it once, gives the same)."""
    told = share_difference(one, other, 0.95)
    assert (round(told.low, 4), round(told.high, 4)) == (low, high)
    back = share_difference(other, one, 0.95)
    assert (back.low, back.high) == pytest.approx((-told.high, -told.low))


def test_holm_is_what_it_was_published_as():
    assert holm([0.01, 0.04, 0.03, 0.005]) == pytest.approx((0.03, 0.06, 0.06, 0.02))
    told = holm([0.02, math.nan, 0.03])
    assert told[0] == pytest.approx(0.04)
    assert math.isnan(told[1]), "what cannot be tested does not count among the tests"


def exact_shuffled_p(a, b):
    """Every way to deal the runs to two sides."""
    both = np.array([*a, *b])
    seen = abs(np.median(a) - np.median(b))
    apart = []
    for chosen in itertools.combinations(range(len(both)), len(a)):
        own = np.isin(np.arange(len(both)), chosen)
        apart.append(abs(np.median(both[own]) - np.median(both[~own])) >= seen - 1e-9)
    return float(np.mean(apart))


@pytest.mark.parametrize("shift", [0.0, 1.0, 6.0])
def test_shuffling_agrees_with_all_deals(shift):
    draw = np.random.default_rng(4)
    a, b = draw.normal(0, 2, 6), draw.normal(shift, 2, 7)
    told = shuffled_p(a, b, 20_000, np.random.default_rng(1))
    assert told == pytest.approx(exact_shuffled_p(a, b), abs=0.012)


def test_shuffling_agrees_with_scipys():
    draw = np.random.default_rng(5)
    a, b = draw.normal(0, 1, 14), draw.normal(0.8, 1, 11)

    def apart(x, y, axis):
        return np.median(x, axis=axis) - np.median(y, axis=axis)

    other = stats.permutation_test(
        (a, b), apart, vectorized=True, n_resamples=20_000, rng=np.random.default_rng(2)
    ).pvalue
    assert shuffled_p(a, b, 20_000, np.random.default_rng(3)) == pytest.approx(other, abs=0.012)


def test_fishers_test_by_hand():
    """3 of 3 against 0 of 3: two of the 20 deals are as far apart."""
    assert share_p((3, 3), (0, 3)) == pytest.approx(2 / 20)
    assert math.isnan(share_p((0, 0), (1, 2)))


@given(
    st.lists(st.floats(-50, 50), min_size=2, max_size=12),
    st.lists(st.floats(-50, 50), min_size=2, max_size=12),
    st.floats(-20, 20),
)
def test_a_difference_holds_its_value_and_moves_with_its_side(a, b, shift):
    told = median_difference(np.array(a), np.array(b), 0.95, 300, np.random.default_rng(0))
    assert told.low - 1e-9 <= told.high
    moved = median_difference(np.array(a) + shift, np.array(b), 0.95, 300, np.random.default_rng(0))
    assert moved.value == pytest.approx(told.value + shift, abs=1e-6)
    assert moved.low == pytest.approx(told.low + shift, abs=1e-6)


def test_drawing_games_of_one_run_each_is_drawing_runs():
    draw = np.random.default_rng(6)
    a, b = np.sort(draw.normal(0, 2, 9)), np.sort(draw.normal(1, 2, 7))
    by_games = median_difference_of_games(
        [np.array([v]) for v in a], [np.array([v, np.nan]) for v in b], 0.95, 900, np.random.default_rng(1)
    )
    assert by_games == median_difference(a, b, 0.95, 900, np.random.default_rng(1))


def test_games_that_differ_widen_the_interval():
    """Six games whose runs are all alike are six values, however many runs they hold."""
    days, other = np.array([20.0, 22.0, 24.0, 26.0, 28.0, 30.0]), np.array([21.0, 23.0, 25.0, 27.0, 29.0, 31.0])
    games = median_difference_of_games(
        [np.full(10, d) for d in days], [np.full(10, d) for d in other], 0.95, 2000, np.random.default_rng(1)
    )
    runs = median_difference(np.repeat(days, 10), np.repeat(other, 10), 0.95, 2000, np.random.default_rng(1))
    assert games.value == runs.value == -1.0
    assert games.high - games.low > 1.4 * (runs.high - runs.low)


def test_games_are_tested_by_welchs_t():
    a, b = [24.0, 25.0, 29.0], [28.0, 30.0, 31.0, 33.0]
    assert games_p(a, b) == pytest.approx(stats.ttest_ind(a, b, equal_var=False).pvalue)
    assert 0 < games_p([0.75, 0.75, 0.75], [0.5, 0.25, 0.75]) < 1
    assert math.isnan(games_p([24.0], b))
    assert games_p([1.0, 1.0], [1.0, 1.0]) == 1.0
    assert games_p([1.0, 1.0], [2.0, 2.0]) == 0.0


def one(low, high, p=1e-4, matters=3.0, fewest=20):
    return Difference(Estimate((low + high) / 2, low, high, 40), p, matters, fewest)


def test_the_verdicts():
    rows = [
        (one(1.0, 2.0), Verdict.DIFFERENT),
        (one(-1.0, 2.0, p=0.4), Verdict.ALIKE),
        (one(-1.0, 3.5, p=0.4), Verdict.CANNOT_TELL),
        (one(1.0, 2.0, fewest=7), Verdict.TOO_FEW),
        (one(math.nan, math.nan, p=math.nan), Verdict.TOO_FEW),
        (one(-1.0, 1.0, p=0.4, matters=0.0), Verdict.CANNOT_TELL),
    ]
    assert judged([row for row, _ in rows], FEWEST, 0.95) == tuple(verdict for _, verdict in rows)


def test_many_points_are_looked_at_together():
    alone = judged([one(0.5, 4.0, p=0.02)], FEWEST, 0.95)
    among = judged([one(0.5, 4.0, p=0.02), *(one(-4.0, 4.0, p=0.6) for _ in range(8))], FEWEST, 0.95)
    assert alone[0] is Verdict.DIFFERENT
    assert among[0] is Verdict.CANNOT_TELL


def page(draw, count, other_count, one_side, other_side, matters=3.0):
    """The verdicts on six measured points and three words of two sides."""
    points = []
    for _ in range(6):
        a, b = one_side(count), other_side(other_count)
        apart = median_difference(a, b, 0.95, 250, draw)
        points.append(Difference(apart, shuffled_p(a, b, 399, draw), matters, min(count, other_count)))
    for _ in range(3):
        good = ((int(draw.binomial(count, 0.7)), count), (int(draw.binomial(other_count, 0.7)), other_count))
        points.append(Difference(share_difference(*good, 0.95), share_p(*good), 0.2, min(count, other_count)))
    return judged(points, FEWEST, 0.95)


@pytest.mark.slow
@pytest.mark.parametrize("shape", ["normal", "skewed", "rounded"])
@pytest.mark.parametrize("counts", [(8, 8), (10, 25)])
def test_where_nothing_differs_a_page_hardly_ever_claims_so(shape, counts):
    draw = np.random.default_rng(21)
    side = {
        "normal": lambda n: draw.normal(26, 3, n),
        "skewed": lambda n: 20 + draw.exponential(4, n),
        "rounded": lambda n: np.round(draw.normal(26, 2, n)),
    }[shape]
    pages = 150
    claims = sum(Verdict.DIFFERENT in page(draw, *counts, side, side) for _ in range(pages))
    assert claims / pages <= 0.05 + 3 * math.sqrt(0.05 * 0.95 / pages)


@pytest.mark.slow
@pytest.mark.parametrize("games", [2, 3, 8])
def test_days_are_not_taken_for_sides(games):
    """Days that differ as much as the runs within them: by the runs alone most pages would claim something."""
    draw = np.random.default_rng(23)

    def side():
        return [26 + draw.normal(0, 3) + draw.normal(0, 3, 24 // games) for _ in range(games)]

    pages, claims = 120, 0
    for _ in range(pages):
        points = []
        for _ in range(6):
            a, b = side(), side()
            by_runs = shuffled_p(np.concatenate(a), np.concatenate(b), 399, draw)
            by_games = games_p([np.median(game) for game in a], [np.median(game) for game in b])
            apart = median_difference_of_games(a, b, 0.95, 250, draw)
            points.append(Difference(apart, max(by_runs, by_games), 3.0, 24))
        claims += Verdict.DIFFERENT in judged(points, FEWEST, 0.95)
    assert claims / pages <= 0.05 + 3 * math.sqrt(0.05 * 0.95 / pages)


def test_a_large_difference_is_found_and_never_called_alike():
    draw = np.random.default_rng(22)
    found = alike = 0
    for _ in range(60):
        verdicts = page(draw, 20, 20, lambda n: draw.normal(23, 3, n), lambda n: draw.normal(29, 3, n))[:6]
        found += verdicts.count(Verdict.DIFFERENT)
        alike += verdicts.count(Verdict.ALIKE)
    assert found / 360 >= 0.9
    assert alike == 0
