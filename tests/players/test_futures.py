"""Pasts and futures of bodies: filters in both directions against the dense Gaussian they stand for."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import ShapeError
from pipeline.players.futures import (
    READS,
    BodyModel,
    PlaceModel,
    Readings,
    StanceModel,
    futures,
    joined_evidence,
    pasts,
    smoothed,
)

MODEL = BodyModel(
    PlaceModel(6.8, 1.5, 10.0, 0.1, (0.25, 0.25)),
    PlaceModel(5.0, 0.7, 2.0, 0.25, (0.1, 0.2)),
    StanceModel((0.07, 0.5), (0.06, 10.0), 0.03),
    StanceModel((0.22, 0.25), (0.15, 3.0), 0.03),
)


def made(seed, length=9, bodies=2, loss=0.3):
    rng = np.random.default_rng(seed)
    dt = np.concatenate([[0.0], rng.uniform(0.02, 0.4, length - 1)])
    values = rng.normal(0, 1, (length, bodies, 4)) * [3, 2, 0.1, 0.2]
    values[rng.random((length, bodies)) < loss] = np.nan
    return dt, Readings(values, rng.uniform(0.01, 0.1, values.shape))


def dense(dt, axis):
    """Covariance of one measurement over all moments, from the stationary state carried forwards."""
    steps, _ = MODEL.transition(dt)
    length = len(dt)
    still = MODEL.anybody()[axis]
    result = np.zeros((length, length))
    for a in range(length):
        carried = still
        for b in range(a, length):
            if b > a:
                carried = steps[b, axis] @ carried
            result[a, b] = result[b, a] = READS[axis] @ carried @ READS[axis]
    return result


def log_density(dt, readings, path, moments):
    total = 0.0
    for axis in range(4):
        value = readings.values[moments, path, axis]
        seen = np.isfinite(value)
        at = np.asarray(moments)[seen]
        if not len(at):
            continue
        covariance = dense(dt, axis)[np.ix_(at, at)] + np.diag(readings.variances[at, path, axis])
        total += -0.5 * (
            value[seen] @ np.linalg.solve(covariance, value[seen])
            + np.linalg.slogdet(covariance)[1]
            + len(at) * np.log(2 * np.pi)
        )
    return total


def exchanged(readings, after):
    values, variances = readings.values.copy(), readings.variances.copy()
    values[after + 1 :] = values[after + 1 :, ::-1]
    variances[after + 1 :] = variances[after + 1 :, ::-1]
    return Readings(values, variances)


@given(st.integers(0, 10_000), st.integers(0, 7))
@settings(max_examples=25, deadline=None)
def test_the_gain_of_an_exchange_is_that_of_the_whole_paths(seed, after):
    dt, readings = made(seed)
    steps, noises = MODEL.transition(dt)
    mean, spread = pasts(MODEL, steps, noises, readings)
    vector, matrix = futures(steps, noises, readings)
    joins = joined_evidence(mean[after][:, None], spread[after][:, None], vector[after][None], matrix[after][None])
    gain = joins[0, 1] + joins[1, 0] - joins[0, 0] - joins[1, 1]
    every = list(range(len(dt)))
    other = exchanged(readings, after)
    wanted = sum(log_density(dt, other, p, every) - log_density(dt, readings, p, every) for p in (0, 1))
    assert gain == pytest.approx(wanted, abs=1e-6 * max(1.0, abs(wanted)))


@given(st.integers(0, 10_000))
@settings(max_examples=15, deadline=None)
def test_smoothed_readings_are_the_conditional_means(seed):
    dt, readings = made(seed, bodies=1)
    steps, noises = MODEL.transition(dt)
    mean, variance = smoothed(MODEL, steps, noises, readings)
    for axis in range(4):
        seen = np.isfinite(readings.values[:, 0, axis])
        if not seen.any():
            continue
        covariance = dense(dt, axis)
        inner = covariance[np.ix_(seen, seen)] + np.diag(readings.variances[seen, 0, axis])
        across = covariance[:, seen]
        np.testing.assert_allclose(
            mean[:, 0, axis], across @ np.linalg.solve(inner, readings.values[seen, 0, axis]), atol=1e-7
        )
        left = np.diag(covariance - across @ np.linalg.solve(inner, across.T))
        np.testing.assert_allclose(variance[:, 0, axis], left, atol=1e-7)


@given(st.floats(0.01, 3.0), st.floats(0.01, 3.0))
@settings(max_examples=25, deadline=None)
def test_two_steps_are_one(first_s, second_s):
    step, noise = MODEL.transition(np.array([first_s, second_s, first_s + second_s]))
    np.testing.assert_allclose(step[1] @ step[0], step[2], atol=1e-9)
    np.testing.assert_allclose(step[1] @ noise[0] @ np.swapaxes(step[1], 1, 2) + noise[1], noise[2], atol=1e-9)


def test_equal_times_are_the_limit_of_nearly_equal_ones():
    steps = np.array([0.0, 0.04, 1.0])
    near, same = (PlaceModel(5.0, 1.0, r, 0.1, (0.1, 0.2)).transition(steps) for r in (1.0 + 1e-7, 1.0))
    np.testing.assert_allclose(near[0], same[0], atol=1e-6)
    np.testing.assert_allclose(near[1], same[1], atol=1e-5)


def test_however_long_unseen_a_body_is_where_bodies_are():
    _, noise = MODEL.transition(np.array([1e5]))
    np.testing.assert_allclose(noise[0, :2], MODEL.anybody()[:2], atol=1e-9)


def test_readings_must_be_of_one_shape():
    with pytest.raises(ShapeError, match=r"\(T, P, 4\)"):
        Readings(np.zeros((3, 2, 4)), np.zeros((3, 2)))
