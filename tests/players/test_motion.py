"""The motion model and its smoother: against closed forms, a dense linear solve and simulation."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import expm

from pipeline.errors import ShapeError
from pipeline.players.motion import MotionModel, robust_update, smooth, update

MODEL = MotionModel((6.8, 5.0), 1.5)


@given(st.floats(1e-3, 5), st.floats(0.1, 5))
@settings(max_examples=50, deadline=None)
def test_transition_and_noise_are_those_of_the_differential_equation(steps, keeps):
    """Van Loan's block exponential (1978) gives both from the equation's matrices; it loses digits over long steps."""
    dt = steps * keeps
    model = MotionModel((2.0, 3.0), keeps, wander=0.1)
    step, noise = model.transition(np.array(dt))
    for axis, speed in enumerate(model.speed):
        drift = np.array([[0, 1], [0, -1 / keeps]])
        diffusion = np.diag([model.wander**2, 2 * speed**2 / keeps])
        block = expm(np.block([[-drift, diffusion], [np.zeros((2, 2)), drift.T]]) * dt)
        wanted_step = block[2:, 2:].T
        wanted_noise = wanted_step @ block[:2, 2:]
        rows = np.ix_([axis, axis + 2], [axis, axis + 2])
        np.testing.assert_allclose(step[rows], wanted_step, rtol=1e-6, atol=1e-9)
        np.testing.assert_allclose(noise[rows], wanted_noise, rtol=1e-3, atol=1e-9)


@given(st.floats(0, 3), st.floats(0, 3))
@settings(max_examples=50, deadline=None)
def test_two_steps_are_one(first, second):
    a, qa = MODEL.transition(np.array(first))
    b, qb = MODEL.transition(np.array(second))
    both, q = MODEL.transition(np.array(first + second))
    np.testing.assert_allclose(b @ a, both, atol=1e-9)
    np.testing.assert_allclose(b @ qa @ b.T + qb, q, atol=1e-7)


def _dense(model, times, positions, covariances):
    """The same smoothing as one weighted least-squares problem over all states at once."""
    count = len(times)
    rows, values = [], []

    def add(blocks, value, covariance):
        root = np.linalg.inv(np.linalg.cholesky(covariance))
        line = np.zeros((len(value), 4 * count))
        for index, matrix in blocks:
            line[:, 4 * index : 4 * index + 4] = matrix
        rows.append(root @ line)
        values.append(root @ value)

    add([(0, np.eye(4)[2:])], np.zeros(2), np.diag(np.square(model.speed)))
    for k in range(count):
        if np.isfinite(positions[k]).all():
            add([(k, np.eye(4)[:2])], positions[k], covariances[k])
        if k:
            step, noise = model.transition(np.array(times[k] - times[k - 1]))
            add([(k - 1, -step), (k, np.eye(4))], np.zeros(4), noise)
    a, b = np.vstack(rows), np.concatenate(values)
    information = a.T @ a
    return np.linalg.solve(information, a.T @ b).reshape(count, 4), np.linalg.inv(information)


def test_smoother_is_the_least_squares_solution():
    rng = np.random.default_rng(4)
    times = np.cumsum(rng.uniform(0.03, 0.4, 12))
    positions = np.cumsum(rng.normal(0, 1, (12, 2)), axis=0)
    positions[[3, 4, 8]] = np.nan
    root = rng.normal(0, 0.4, (12, 2, 2))
    covariances = root @ np.swapaxes(root, 1, 2) + 0.1 * np.eye(2)
    states, spreads = smooth(MODEL, times[None], positions[None], covariances[None])
    wanted, inverse = _dense(MODEL, times, positions, covariances)
    np.testing.assert_allclose(states[0], wanted, atol=1e-6)
    for k in range(12):
        block = inverse[4 * k : 4 * k + 4, 4 * k : 4 * k + 4]
        np.testing.assert_allclose(spreads[0, k], block, atol=1e-6)


def test_paths_of_a_batch_do_not_touch_each_other_and_padding_is_harmless():
    rng = np.random.default_rng(5)
    times = np.cumsum(rng.uniform(0.05, 0.1, (3, 9)), axis=1)
    positions = rng.normal(0, 3, (3, 9, 2))
    covariances = np.tile(0.2 * np.eye(2), (3, 9, 1, 1))
    times[1, 5:] = times[1, 4]
    positions[1, 5:] = np.nan
    states, spreads = smooth(MODEL, times, positions, covariances)
    alone, alone_spreads = smooth(MODEL, times[1:2, :5], positions[1:2, :5], covariances[1:2, :5])
    np.testing.assert_allclose(states[1, :5], alone[0], atol=1e-9)
    np.testing.assert_allclose(spreads[1, :5], alone_spreads[0], atol=1e-9)


def test_time_reversed_path_smooths_to_the_reversed_places():
    rng = np.random.default_rng(6)
    times = np.arange(20) * 0.1
    positions = np.cumsum(rng.normal(0, 0.5, (20, 2)), axis=0)
    covariances = np.tile(0.1 * np.eye(2), (20, 1, 1))
    forwards, _ = smooth(MODEL, times[None], positions[None], covariances[None])
    backwards, _ = smooth(MODEL, times[None], positions[None, ::-1], covariances[None])
    np.testing.assert_allclose(forwards[0, :, :2], backwards[0, ::-1, :2], atol=1e-6)
    np.testing.assert_allclose(forwards[0, :, 2:], -backwards[0, ::-1, 2:], atol=1e-6)


def test_uncertainty_is_honest():
    """Simulated bodies: the smoothed places miss by as much as the smoother says."""
    rng = np.random.default_rng(7)
    batch, length = 400, 25
    step, noise = MODEL.transition(np.array(0.1))
    root = np.linalg.cholesky(noise)
    state = np.column_stack([np.zeros((batch, 2)), rng.normal(0, MODEL.speed, (batch, 2))])
    truth = [state]
    for _ in range(length - 1):
        state = state @ step.T + rng.normal(0, 1, (batch, 4)) @ root.T
        truth.append(state)
    true = np.stack(truth, axis=1)
    positions = true[..., :2] + rng.normal(0, 0.5, (batch, length, 2))
    positions[:, 8:14] = np.nan
    times = np.tile(np.arange(length) * 0.1, (batch, 1))
    states, spreads = smooth(MODEL, times, positions, np.tile(0.25 * np.eye(2), (batch, length, 1, 1)))
    miss = (states - true) / np.sqrt(np.diagonal(spreads, axis1=2, axis2=3))
    assert 0.93 < np.sqrt(np.mean(miss**2)) < 1.07


def test_an_outlier_pulls_less_than_its_nominal_error_says():
    state, spread = MODEL.first(np.zeros((1, 2)), 0.1 * np.eye(2)[None])
    far, error = np.array([[5.0, 0.0]]), 0.1 * np.eye(2)[None]
    plain, _ = update(state, spread, far, error)
    robust, _ = robust_update(state, spread, far, error, 5.0)
    assert abs(robust[0, 0]) < 0.5 * abs(plain[0, 0])
    near = np.array([[0.1, 0.0]])
    np.testing.assert_allclose(update(state, spread, near, error)[0], robust_update(state, spread, near, error, 5.0)[0])


def test_empty_one_and_wrong_shapes():
    states, _ = smooth(MODEL, np.zeros((0, 5)), np.zeros((0, 5, 2)), np.zeros((0, 5, 2, 2)))
    assert states.shape == (0, 5, 4)
    states, spreads = smooth(MODEL, np.zeros((1, 1)), np.ones((1, 1, 2)), np.eye(2)[None, None])
    np.testing.assert_allclose(states[0, 0], [1, 1, 0, 0])
    assert spreads[0, 0, 2, 2] == pytest.approx(MODEL.speed[0] ** 2)
    with pytest.raises(ShapeError, match="unseen"):
        smooth(MODEL, np.zeros((1, 2)), np.full((1, 2, 2), np.nan), np.tile(np.eye(2), (1, 2, 1, 1)))
    with pytest.raises(ShapeError, match="expected"):
        smooth(MODEL, np.zeros((1, 2)), np.zeros((1, 3, 2)), np.tile(np.eye(2), (1, 2, 1, 1)))
