"""Exchanged identities: put in on purpose and found again; sightings neither lost nor doubled."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from test_futures import MODEL

from pipeline.players.exchanges import Measured, grid_of, neighbours, reassigned, rows_of, undo_exchanges
from pipeline.players.settings import ExchangeSettings

SETTINGS = ExchangeSettings()
FRAMES = 150


def crossing_bodies(seed, bodies=4, loss=0.1):
    """Bodies that run to and fro through one another, seen with small errors: sightings and their true grid."""
    rng = np.random.default_rng(seed)
    times = np.arange(FRAMES) / 25
    phase, swing = rng.uniform(0, 2 * np.pi, bodies), rng.uniform(4, 8, bodies)
    across = swing * np.sin(phase + times[:, None] * rng.uniform(0.8, 1.2, bodies))
    down = np.tile(np.linspace(-2, 2, bodies), (FRAMES, 1))
    build = rng.normal(0, 0.06, bodies)
    values = np.stack([across, down, np.tile(build, (FRAMES, 1)), np.zeros((FRAMES, bodies))], axis=2)
    values += rng.normal(0, 1, values.shape) * [0.05, 0.1, 0.03, 0.03]
    moment, body = np.nonzero(rng.random((FRAMES, bodies)) > loss)
    variances = np.tile(np.square([0.05, 0.1, 0.03, 0.03]), (len(moment), 1))
    measured = Measured(moment, times, values[moment, body], variances)
    return measured, grid_of([np.flatnonzero(body == b) for b in range(bodies)], moment, FRAMES)


def nothing(before, _after):
    return np.zeros(len(before))


@given(st.integers(0, 1000), st.integers(20, 70), st.integers(75, 130))
@settings(max_examples=8, deadline=None)
def test_exchanges_are_undone(seed, first, second):
    measured, truth = crossing_bodies(seed)
    spoiled = truth.copy()
    spoiled[first:second, [0, 1]] = truth[first:second, [1, 0]]
    spoiled[second + 5 :, [2, 3]] = truth[second + 5 :, [3, 2]]
    found = undo_exchanges(spoiled, measured, MODEL, nothing, SETTINGS)
    # a frame or two on either side of a crossing may go either way
    assert _agreement(spoiled, truth) < 0.9
    assert _agreement(found, truth) > 0.97


def _agreement(found, truth):
    counts = np.array([[np.sum((f == t) & (t >= 0)) for t in truth.T] for f in found.T])
    return counts.max(axis=0).sum() / np.sum(truth >= 0)


@given(st.integers(0, 1000), st.integers(30, 120))
@settings(max_examples=4, deadline=None)
def test_three_bodies_in_a_turn_are_put_right(seed, after):
    measured, truth = crossing_bodies(seed)
    spoiled = truth.copy()
    spoiled[after:, [0, 1, 2]] = truth[after:, [1, 2, 0]]
    assert _agreement(undo_exchanges(spoiled, measured, MODEL, nothing, SETTINGS), truth) > 0.97


@given(st.integers(0, 1000))
@settings(max_examples=8, deadline=None)
def test_no_sighting_is_lost_or_doubled(seed):
    measured, truth = crossing_bodies(seed, loss=0.3)
    rng = np.random.default_rng(seed)
    spoiled = truth[:, rng.permutation(4)].copy()
    spoiled[60:, :] = spoiled[60:, rng.permutation(4)]
    found = undo_exchanges(spoiled, measured, MODEL, nothing, SETTINGS)
    for moment in range(FRAMES):
        assert sorted(found[moment]) == sorted(spoiled[moment])
    given_out = reassigned(found, measured, MODEL, 1e-3, SETTINGS)
    used = given_out[given_out >= 0]
    assert len(np.unique(used)) == len(used)
    rows, columns = np.nonzero(given_out >= 0)
    np.testing.assert_array_equal(measured.moment[given_out[rows, columns]], rows)


def test_a_false_sighting_is_thrown_out_and_a_lost_one_taken_back():
    measured, truth = crossing_bodies(3, bodies=2, loss=0.0)
    values = np.vstack([measured.values, [[20.0, 5.0, 0.0, 0.0]]])
    order = np.argsort(np.append(measured.moment, 50), kind="stable")
    with_false = Measured(
        np.append(measured.moment, 50)[order],
        measured.times_s,
        values[order],
        np.vstack([measured.variances, measured.variances[:1]])[order],
    )
    place = np.argsort(order)
    grid = place[truth]
    wrong = grid.copy()
    wrong[50, 0] = place[-1]
    wrong[90, 1] = -1
    # the false one also casts doubt on its neighbours, which come back once it is gone
    once = reassigned(wrong, with_false, MODEL, 1e-3, SETTINGS)
    assert place[-1] not in once
    np.testing.assert_array_equal(reassigned(once, with_false, MODEL, 1e-3, SETTINGS), grid)


def test_grid_and_rows_are_inverse_and_neighbours_are_found():
    moment = np.array([0, 0, 1, 3, 3])
    grid = grid_of([np.array([0, 2, 3]), np.array([1, 4])], moment, 4)
    assert [r.tolist() for r in rows_of(grid)] == [[0, 2, 3], [1, 4]]
    before, after = neighbours(grid)
    assert before[:, 1].tolist() == [0, 0, 0, 3]
    assert after[:, 1].tolist() == [3, 3, 3, -1]


def test_one_path_or_none_stay_as_they_are():
    measured, truth = crossing_bodies(1)
    for paths in (0, 1):
        np.testing.assert_array_equal(
            undo_exchanges(truth[:, :paths], measured, MODEL, nothing, SETTINGS), truth[:, :paths]
        )
        assert reassigned(truth[:, :paths], measured, MODEL, 1e-3, SETTINGS).shape == (FRAMES, paths)
