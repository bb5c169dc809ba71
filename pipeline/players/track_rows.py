"""Rows of one track: its sightings smoothed over the whole shot, gaps filled in where the place is known."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa

from pipeline.players.followed import FollowedShot, is_official, motion_model
from pipeline.players.motion import MotionModel, inverse_2x2, smooth
from pipeline.players.placing import USUAL_BOX_FT
from pipeline.players.settings import TrackSettings


def robust_smooth(
    model: MotionModel, times_s: np.ndarray, places: np.ndarray, covariances: np.ndarray, freedom: float
) -> tuple[np.ndarray, np.ndarray]:
    """Smooth one path whose errors have heavy tails.

    Errors are Student-distributed with ``freedom`` degrees: an error's covariance is its nominal one times
    (freedom + m²) / (freedom + 2), m its Mahalanobis length, repeated until settled (three rounds; Lange, Little &
    Taylor 1989, *JASA* 84).

    Parameters
    ----------
    times_s : (L,)
    places : (L, 2)
        NaN where unseen; the first is seen.
    covariances : (L, 2, 2)

    Returns
    -------
    states (L, 4), spreads (L, 4, 4)
    """
    seen = np.isfinite(places).all(axis=1)
    inverse, _ = inverse_2x2(covariances)
    inflated = covariances
    for _ in range(4):
        states, spreads = smooth(model, times_s[None], places[None], inflated[None])
        miss = np.where(seen[:, None], places - states[0, :, :2], 0.0)
        squared = np.einsum("ni,nij,nj->n", miss, inverse, miss)
        factor = np.maximum((freedom + squared) / (freedom + 2), 1.0)
        inflated = covariances * factor[:, None, None]
    return states[0], spreads[0]


def _behind_others(
    shot: FollowedShot, moments: np.ndarray, places_ft: np.ndarray, settings: TrackSettings
) -> dict[int, tuple[np.ndarray, np.ndarray]]:
    """Where an unseen body is if another's box hides it: behind that other, as seen from the camera.

    Two bodies in one line of sight become one box, and the one that is not seen is the farther one.

    Parameters
    ----------
    moments : (M,) ndarray of int
        At which it is not seen.
    places_ft : (M, 2) ndarray
        Where it is expected then.

    Returns
    -------
    dict of int to (ndarray of shape (2,), ndarray of shape (2, 2))
        By moment the place, and its covariance.
    """
    placing, sightings = settings.placing, shot.sightings
    found = {}
    for moment, place in zip(moments.tolist(), places_ft, strict=True):
        camera = shot.cameras.get(int(shot.frames[moment]))
        begin, end = np.searchsorted(sightings.moment, [moment, moment + 1])
        if camera is None or begin == end:
            continue
        foot, head = (camera.project(np.array([[*place, z]]))[0] for z in (0.0, USUAL_BOX_FT))
        tall = foot[1] - head[1]
        if not tall > 0:
            continue
        expected = np.array([foot[0] - 0.2 * tall, head[1], foot[0] + 0.2 * tall, foot[1]])
        boxes = shot.corners[begin:end]
        shared = np.clip(np.minimum(boxes[:, 2:], expected[2:]) - np.maximum(boxes[:, :2], expected[:2]), 0, None)
        hidden = shared.prod(axis=1) / (0.4 * tall**2)
        other = int(np.argmax(hidden))
        if hidden[other] < placing.hidden_share:
            continue
        before = sightings.position[begin + other]
        ray = before - camera.centre_ft[:2]
        ray = ray / np.linalg.norm(ray)
        beside = np.array([-ray[1], ray[0]])
        along, across = placing.hidden_along_ft, placing.hidden_across_ft
        covariance = along**2 * np.outer(ray, ray) + across**2 * np.outer(beside, beside)
        found[moment] = (before + placing.hidden_behind_ft * ray, covariance)
    return found


def track_columns(shot: FollowedShot, rows: np.ndarray, team: int, settings: TrackSettings) -> dict[str, Any]:
    """One track: smoothed on every analysed frame from its first to its last sighting."""
    sightings, frames, corners = shot.sightings, shot.frames, shot.corners
    model = motion_model(settings)
    first, last = int(sightings.moment[rows[0]]), int(sightings.moment[rows[-1]])
    grid = np.arange(first, last + 1)
    at = sightings.moment[rows] - first
    times = sightings.times_s[grid]
    places = np.full((len(grid), 2), np.nan)
    covariances = np.tile(np.eye(2), (len(grid), 1, 1))
    places[at], covariances[at] = sightings.position[rows], sightings.covariance[rows]
    states, spreads = robust_smooth(model, times, places, covariances, settings.placing.outlier_freedom)
    behind = _behind_others(shot, grid[~np.isfinite(places[:, 0])], states[~np.isfinite(places[:, 0]), :2], settings)
    if behind:
        for moment, (place, covariance) in behind.items():
            places[moment - first], covariances[moment - first] = place, covariance
        states, spreads = robust_smooth(model, times, places, covariances, settings.placing.outlier_freedom)
    sigma = np.sqrt(np.trace(spreads[:, :2, :2], axis1=1, axis2=2) / 2 + settings.placing.stance_sigma_ft**2)
    seen = np.zeros(len(grid), dtype=bool)
    seen[at] = True
    since = np.maximum.accumulate(np.where(seen, np.arange(len(grid)), 0))
    until = np.minimum.accumulate(np.where(seen, np.arange(len(grid)), len(grid) - 1)[::-1])[::-1]
    shown = seen | ((times[until] - times[since] <= settings.fill_s) & (sigma <= settings.fill_sigma_ft))
    official = is_official(shot, rows, settings)
    box = np.full((len(grid), 4), np.nan)
    box[at] = corners[rows]
    score = np.full(len(grid), float(np.mean(sightings.score[rows])))
    score = score * np.clip(1 - sigma / settings.fill_sigma_ft, 0, 1)
    score[at] = sightings.score[rows]
    count = int(shown.sum())
    hidden = ~seen[shown]

    def pixels(column: int) -> pa.Array:
        return pa.array(box[shown, column].astype(np.float32), mask=hidden)

    return {
        "frame": frames[grid[shown]],
        "t_s": times[shown],
        "role": ["official" if official else "player"] * count,
        "team": np.full(count, team, dtype=np.int8),
        "jersey": pa.nulls(count, pa.string()),
        "x_ft": states[shown, 0],
        "y_ft": states[shown, 1],
        "vx_ft_s": states[shown, 2],
        "vy_ft_s": states[shown, 3],
        "sigma_ft": sigma[shown].astype(np.float32),
        "observed": seen[shown],
        "x1_px": pixels(0),
        "y1_px": pixels(1),
        "x2_px": pixels(2),
        "y2_px": pixels(3),
        "score": score[shown].astype(np.float32),
    }
