"""Tracking boxes where no court is known: in a picture stabilised by the boxes' own common motion.

The camera's pan, tilt and zoom from frame to frame are estimated from the boxes alone, the boxes are put
on one large stabilised picture measured in feet by the bodies' own height, and association and stitching are
those of the court. Then whole paths are judged: exchanged identities are undone (:mod:`pipeline.players.exchanges`),
with each body's height against what the horizon says of its place, and all boxes are smoothed by the same model.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.errors import ShapeError
from pipeline.players.association import tracklets
from pipeline.players.camera_motion import CameraPath, camera_path, refined
from pipeline.players.exchanges import Measured, grid_of, neighbours, reassigned, rows_of, undo_exchanges
from pipeline.players.futures import BodyModel, PlaceModel, StanceModel, smoothed
from pipeline.players.horizon import expected_heights, horizons
from pipeline.players.motion import MotionModel
from pipeline.players.settings import BoxTrackingSettings
from pipeline.players.sightings import Population, Sightings
from pipeline.players.stitching import (
    InView,
    Paths,
    close_gaps,
    fill_capacity,
    link_ratios,
    paths_of,
    smooth_rows,
    stature_ratios,
)

EDGE_PX = 3.0
"""A box that comes this near the picture's edge is cut by it."""

HEIGHT_STANCE = StanceModel(quick=(0.07, 0.5), slow=(0.045, 8.0), build=0.05)
"""Bending, jumping and strides change log height; what stays differs between bodies. Measured on followed boxes."""

WIDTH_STANCE = StanceModel(quick=(0.22, 0.25), slow=(0.12, 3.0), build=0.12)
"""The same for log width: arms and strides, a body turned to the side."""

HEIGHT_ANYWHERE = StanceModel(quick=(0.07, 0.5), slow=(0.12, 4.0), build=0.03)
"""The same for log height where the place is not taken into account: bodies come nearer and go away."""

STATURE_STEP = 10
"""Frames whose heights are judged together; their neighbours on both sides help."""

GAP_STEPS = 8
"""Moments of a gap at which a body is asked to be in view or not."""

TYPICAL_SHAPE = 0.42
"""Width of a standing or running body's box as a share of its height."""


@dataclass(frozen=True, slots=True, eq=False)
class BoxTracks:
    """Identities and boxes per frame.

    Attributes
    ----------
    ids : tuple of (n_t,) int ndarray
    boxes : tuple of (n_t, 4) float ndarray
        x1, y1, x2, y2 in pixels.
    """

    ids: tuple[np.ndarray, ...]
    boxes: tuple[np.ndarray, ...]


def measured_edge_noise(boxes: np.ndarray, moment: np.ndarray, rows: list[np.ndarray], fallback: float) -> float:
    """Error of a box's edges as a share of its size, from third differences along tracklets.

    Third differences of a smooth path are small, those of independent errors have 20 times their variance
    (binomial weights 1, 3, 3, 1). Robust: by the median of absolute values.
    """
    shares = []
    for own in rows:
        if len(own) < 8:
            continue
        steady = moment[own[3:]] - moment[own[:-3]] == 3
        edges = boxes[own]
        size = np.tile(edges[:, 2:] - edges[:, :2], 2)
        third = edges[3:] - 3 * edges[2:-1] + 3 * edges[1:-2] - edges[:-3]
        shares.append((third / size[2:-1])[steady].ravel())
    values = np.concatenate(shares) if shares else np.zeros(0)
    if len(values) < 200:
        return fallback
    return float(np.clip(np.median(np.abs(values)) / 0.6745 / np.sqrt(20), 0.003, 0.2))


def _sightings(
    boxes: np.ndarray,
    moment: np.ndarray,
    times_s: np.ndarray,
    score: np.ndarray,
    camera: CameraPath,
    noise: float,
    shape_sigma: float,
) -> Sightings:
    size = np.maximum(boxes[:, 2:] - boxes[:, :2], 1.0)
    scale = camera.scale_at(moment)
    picture = 2 * camera.middle_px
    cut_left, cut_right = boxes[:, 0] <= EDGE_PX, boxes[:, 2] >= picture[0] - EDGE_PX
    cut_below = boxes[:, 3] >= picture[1] - EDGE_PX
    cut = cut_left | cut_right
    # the head is the steadiest part of a box, and the last to leave the picture below
    half = 0.5 * TYPICAL_SHAPE * size[:, 1]
    across = (boxes[:, 0] + boxes[:, 2]) / 2
    across = np.where(cut_left & ~cut_right, np.minimum(across, boxes[:, 2] - half), across)
    across = np.where(cut_right & ~cut_left, np.maximum(across, boxes[:, 0] + half), across)
    head = np.column_stack([across, boxes[:, 1]])
    covariance = np.zeros((len(boxes), 2, 2))
    error_x = np.hypot(noise * size[:, 0] / np.sqrt(2), np.where(cut, 4.0, 1.0) * shape_sigma * size[:, 1])
    error_y = np.hypot(noise, shape_sigma) * size[:, 1]
    covariance[:, 0, 0], covariance[:, 1, 1] = (error_x * scale) ** 2, (error_y * scale) ** 2
    size_sigma = np.full((len(boxes), 2), noise * np.sqrt(2))
    size_sigma[cut, 0] = 0.5
    size_sigma[cut_below, 1] = 0.5
    return Sightings(
        moment=moment,
        times_s=times_s,
        position=camera.to_plane(moment, head),
        covariance=covariance,
        log_size=np.log(size * scale[:, None]),
        size_sigma=size_sigma,
        stature=np.where(cut | cut_below, np.nan, _statures(boxes, moment, cut | cut_below)),
        kit=np.full((len(boxes), 6), np.nan),
        score=score,
        official=np.full(len(boxes), np.nan),
    )


def _statures(boxes: np.ndarray, moment: np.ndarray, cut: np.ndarray) -> np.ndarray:
    """Log height of every box against the bodies around it in place and time, (N,).

    Over about a second, log height is fitted robustly as a plane over the place in the picture: nearer bodies are
    lower and larger. What remains is the body's own stature and stance.
    """
    height = np.log(np.maximum(boxes[:, 3] - boxes[:, 1], 1.0))
    across, down = (boxes[:, 0] + boxes[:, 2]) / 2, boxes[:, 1]
    result = np.full(len(boxes), np.nan)
    if not len(boxes):
        return result
    for first in range(0, int(moment[-1]) + 1, STATURE_STEP):
        a, b = np.searchsorted(moment, [first - STATURE_STEP, first + 2 * STATURE_STEP])
        rows = np.arange(a, b)[~cut[a:b]]
        if len(rows) < 30:
            continue
        place = np.column_stack([down[rows], across[rows]])
        place = (place - place.mean(axis=0)) / np.maximum(place.std(axis=0), 1.0)
        design = np.column_stack([np.ones(len(rows)), place])
        weight = np.ones(len(rows))
        for _ in range(5):
            inner = design.T * weight
            plane = np.linalg.solve(inner @ design + 1e-3 * np.eye(3), inner @ height[rows])
            miss = height[rows] - design @ plane
            weight = 1 / (1 + (miss / 0.06) ** 2)
        own = (moment[rows] >= first) & (moment[rows] < first + STATURE_STEP)
        result[rows[own]] = miss[own]
    return result


def _surprises(
    sightings: Sightings, rows: list[np.ndarray], model: MotionModel
) -> list[tuple[int, np.ndarray, np.ndarray, np.ndarray]]:
    """What followed bodies did between neighbouring frames beyond their smooth motion, by moment."""
    long = [own for own in rows if len(own) >= 5]
    states, _ = smooth_rows(sightings, long, model)
    by_moment: dict[int, list[tuple[np.ndarray, np.ndarray, float]]] = {}
    for own, state in zip(long, states, strict=True):
        moments = sightings.moment[own]
        for k in np.flatnonzero(np.diff(moments) == 1):
            dt = sightings.times_s[moments[k + 1]] - sightings.times_s[moments[k]]
            velocity = 0.5 * (state[k, 2:] + state[k + 1, 2:])
            found = sightings.position[own[k + 1]]
            surprise = found - sightings.position[own[k]] - velocity * dt
            error = float(np.sqrt(np.trace(sightings.covariance[own[k]])))
            by_moment.setdefault(int(moments[k + 1]), []).append((found, surprise, error))
    return [
        (moment, np.array([b[0] for b in bodies]), np.array([b[1] for b in bodies]), np.array([b[2] for b in bodies]))
        for moment, bodies in sorted(by_moment.items())
    ]


def track_boxes(
    boxes: Sequence[np.ndarray],
    times_s: np.ndarray,
    size_px: tuple[int, int],
    settings: BoxTrackingSettings | None = None,
    *,
    scores: Sequence[np.ndarray] | None = None,
) -> BoxTracks:
    """Track bodies through one shot by their boxes alone, offline.

    Parameters
    ----------
    boxes : sequence of (n_t, 4) ndarray
        One per frame; x1, y1, x2, y2 in pixels; n_t may be 0.
    times_s : (F,) ndarray
        Increasing.
    size_px : tuple of int
        Width and height of the picture.
    scores : sequence of (n_t,) ndarray, optional
        Of the detector; all count as strong where not given.

    Returns
    -------
    BoxTracks
        Smoothed boxes, gaps filled where the place is well known. Identities count from 0.
    """
    settings = settings or BoxTrackingSettings()
    times_s = np.asarray(times_s, dtype=np.float64)
    if len(boxes) != len(times_s):
        raise ShapeError(f"track_boxes: {len(boxes)} frames of boxes for {len(times_s)} times; give one time a frame.")
    frames = [np.asarray(b, dtype=np.float64).reshape(-1, 4) for b in boxes]
    every = np.concatenate([np.zeros((0, 4)), *frames])
    moment = np.repeat(np.arange(len(frames)), [len(b) for b in frames])
    score = np.ones(len(every)) if scores is None else np.concatenate([np.zeros(0), *scores])
    usable = np.isfinite(every).all(axis=1) & (every[:, 2:] > every[:, :2]).all(axis=1)
    every, moment, score = every[usable], moment[usable], score[usable]
    if not len(every):
        nothing = tuple(np.zeros(0, dtype=np.int64) for _ in frames)
        return BoxTracks(nothing, tuple(np.zeros((0, 4)) for _ in frames))
    # the order of boxes within a frame must not matter, ties included
    order = np.lexsort((*every.T, moment))
    every, moment, score = every[order], moment[order], score[order]
    camera = camera_path(every, moment, len(times_s), size_px, settings.body_ft)
    model = MotionModel((settings.speed_along_ft_s, settings.speed_down_ft_s), settings.keeps_s, settings.wander)
    noise = settings.edge_noise
    for round_ in range(3):
        sightings = _sightings(every, moment, times_s, score, camera, noise, settings.shape_sigma)
        log_spread = np.clip(np.std(sightings.log_size, axis=0), 0.05, 0.5)
        view = np.asarray(size_px) * np.median(camera.scale)
        population = Population(area=float(np.prod(view)), log_size_sigma=(float(log_spread[0]), float(log_spread[1])))
        rows = tracklets(sightings, model, settings.association, population)
        if round_ == 2:
            break
        noise = measured_edge_noise(every, moment, rows, noise)
        camera = refined(camera, _surprises(sightings, rows, model))
        model = MotionModel(model.speed, model.keeps_s, settings.wander_refined)

    def in_view(moments: np.ndarray, positions: np.ndarray) -> np.ndarray:
        seen = camera.to_picture(moments, positions)
        return np.all((seen > 0) & (seen < np.asarray(size_px)), axis=1)

    stitch = settings.stitching

    def weighed(paths: Paths, longest_gap_s: float) -> np.ndarray:
        return link_ratios(
            sightings,
            paths,
            model,
            stitch,
            settings.association,
            population,
            longest_gap_s=longest_gap_s,
            top_speed=np.inf,
            in_view=in_view,
        )

    def joined(rows: list[np.ndarray], longest_gap_s: float) -> list[np.ndarray]:
        paths = paths_of(sightings, rows, model)
        return close_gaps(rows, weighed(paths, longest_gap_s) + stature_ratios(paths, stitch), stitch.least_ratio)

    rows = joined(rows, stitch.beside_s)
    rows = [r for r in rows if len(r) >= stitch.fewest_across]
    for _ in range(2):
        rows = joined(rows, stitch.short_gap_s)
    rows = [
        r
        for r in rows
        if len(r) >= stitch.fewest_sightings and len(r) >= stitch.least_density * (moment[r[-1]] - moment[r[0]] + 1)
    ]
    paths = paths_of(sightings, rows, model)
    found = fill_capacity(sightings, paths, weighed(paths, np.inf), settings.bodies, stitch)
    rows = _retraced(every, sightings, found, camera, noise, size_px, in_view, settings)
    return _filled(every, sightings, rows, camera, noise, size_px, settings)


def _retraced(
    boxes: np.ndarray,
    sightings: Sightings,
    found: list[np.ndarray],
    camera: CameraPath,
    noise: float,
    size_px: tuple[int, int],
    in_view: InView,
    settings: BoxTrackingSettings,
) -> list[np.ndarray]:
    """Paths with exchanged identities undone and every frame's boxes given out anew."""
    exchange = settings.exchanges
    frames = len(sightings.times_s)
    if not found:
        return []
    grid = grid_of(found, sightings.moment, frames)
    measured = _measured(boxes, sightings, found, camera, noise, size_px, settings)
    model = body_model(settings)

    edge = np.minimum(boxes[:, 0], size_px[0] - boxes[:, 2]) / (boxes[:, 3] - boxes[:, 1])

    def waiting(before: np.ndarray, after: np.ndarray) -> np.ndarray:
        begin = np.where(before >= 0, sightings.moment[before], 0)
        finish = np.where(after >= 0, sightings.moment[after], frames - 1)
        here, there = np.where(before >= 0, before, after), np.where(after >= 0, after, before)
        gap_s = sightings.times_s[finish] - sightings.times_s[begin]
        inside = np.zeros(len(before))
        for share in (np.arange(GAP_STEPS) + 0.5) / GAP_STEPS:
            moments = np.rint(begin + share * (finish - begin)).astype(np.int64)
            places = sightings.position[here] + share * (sightings.position[there] - sightings.position[here])
            # nobody need have gone the straight way
            detour = exchange.detour_ft_s * gap_s * min(share, 1 - share)
            inside += in_view(moments, places - np.outer(detour, [1, 0])) & in_view(
                moments, places + np.outer(detour, [1, 0])
            )
        # a body that comes or goes for good does so at the picture's side
        ends = (before < 0) | (after < 0)
        inside[ends & (edge[here] > exchange.edge_heights)] = GAP_STEPS
        inside[ends & (edge[here] <= exchange.edge_heights)] = 0
        return np.minimum(exchange.unseen_rate * gap_s * inside / GAP_STEPS, exchange.unseen_floor)

    area = float(np.prod(np.asarray(size_px) * np.median(camera.scale)))
    spread = np.maximum(np.std(measured.values[:, 2:], axis=0), 0.05)
    false_density = settings.false_boxes / (area * float(np.prod(spread * np.sqrt(2 * np.pi))))
    for _ in range(2):
        grid = undo_exchanges(grid, measured, model, waiting, exchange)
        grid = reassigned(grid, measured, model, false_density, exchange)
    paths = rows_of(grid)
    return sorted((r for r in paths if len(r) >= settings.stitching.fewest_sightings), key=lambda r: int(r[0]))


def body_model(settings: BoxTrackingSettings) -> BodyModel:
    """How a followed body's box moves and changes."""
    across, down = (
        PlaceModel(*of_axis)
        for of_axis in zip(
            settings.followed_speed_ft_s,
            settings.followed_keeps_s,
            settings.returns_s,
            settings.followed_wander,
            settings.followed_limbs,
            strict=True,
        )
    )
    return BodyModel(
        across,
        down,
        HEIGHT_STANCE,
        WIDTH_STANCE,
    )


def _measured(
    boxes: np.ndarray,
    sightings: Sightings,
    rows: list[np.ndarray],
    camera: CameraPath,
    noise: float,
    size_px: tuple[int, int],
    settings: BoxTrackingSettings,
) -> Measured:
    """Middles on the stabilised picture; heights and widths against what a body has at that place."""
    moment = sightings.moment
    size = boxes[:, 2:] - boxes[:, :2]
    cut_side = (boxes[:, 0] <= EDGE_PX) | (boxes[:, 2] >= size_px[0] - EDGE_PX)
    cut_below = boxes[:, 3] >= size_px[1] - EDGE_PX
    path = np.full(len(boxes), -1, dtype=np.int64)
    for name, own in enumerate(rows):
        path[own] = name
    whole = np.flatnonzero((path >= 0) & ~cut_side & ~cut_below)
    horizon = horizons(
        boxes[whole],
        moment[whole],
        path[whole],
        len(sightings.times_s),
        height_share=settings.height_share,
        smooth_frames=max(1.0, settings.horizon_s / float(np.median(np.diff(sightings.times_s)))),
        stature_sigma=HEIGHT_STANCE.build,
    )
    expected = expected_heights(boxes, horizon[moment], settings.height_share)
    scale = camera.scale_at(moment)[:, None]
    middle = camera.to_plane(moment, (boxes[:, :2] + boxes[:, 2:]) / 2)
    values = np.hstack(
        [
            middle - np.median(middle, axis=0),
            np.log(size[:, 1:] / expected[:, None]),
            np.log(size[:, :1] / (TYPICAL_SHAPE * expected[:, None])),
        ]
    )
    place = (noise * size / np.sqrt(2)) ** 2 + (settings.limb_sigma * size[:, 1:]) ** 2
    place[cut_side, 0] += (0.1 * size[cut_side, 1]) ** 2
    place[cut_below, 1] += (0.1 * size[cut_below, 1]) ** 2
    looks = np.full((len(boxes), 2), 2 * noise**2)
    looks[cut_below | cut_side] += 0.25
    return Measured(moment, sightings.times_s, values, np.hstack([place * scale**2, looks]))


def _filled(
    boxes: np.ndarray,
    sightings: Sightings,
    rows: list[np.ndarray],
    camera: CameraPath,
    noise: float,
    size_px: tuple[int, int],
    settings: BoxTrackingSettings,
) -> BoxTracks:
    """Smoothed boxes at every sighting and in the gaps that may be filled."""
    frames = len(sightings.times_s)
    if not rows:
        return BoxTracks((np.zeros(0, dtype=np.int64),) * frames, (np.zeros((0, 4)),) * frames)
    size = boxes[:, 2:] - boxes[:, :2]
    scale = camera.scale_at(sightings.moment)[:, None]
    middle = camera.to_plane(sightings.moment, (boxes[:, :2] + boxes[:, 2:]) / 2)
    offset = np.median(middle, axis=0)
    usual = np.array([np.median(sightings.log_size[own], axis=0) for own in rows])  # log width, log height
    away = np.zeros((len(boxes), 2))
    for own, log_size in zip(rows, usual, strict=True):
        away[own] = (sightings.log_size[own] - log_size)[:, ::-1]
    measured = Measured(
        sightings.moment,
        sightings.times_s,
        np.hstack([middle - offset, away]),
        np.hstack([(noise * size * scale) ** 2 / 2, np.full((len(boxes), 2), 2 * noise**2)]),
    )
    grid = grid_of(rows, sightings.moment, frames)
    model = replace(body_model(settings), height=HEIGHT_ANYWHERE)
    steps, noises = model.transition(measured.dt_s())
    means, variances = smoothed(model, steps, noises, measured.readings(grid))
    before, after = neighbours(grid)
    times = sightings.times_s
    seen = grid >= 0
    gap_s = np.where((before >= 0) & (after >= 0), times[after] - times[before], np.inf)
    ids, found = [], []
    for k in range(frames):
        extent = np.exp(means[k, :, 3:1:-1] + usual) / camera.scale[k]
        centre = camera.to_picture(np.full(len(rows), k), means[k, :, :2] + offset)
        sigma = np.sqrt(variances[k, :, 0]) / camera.scale[k]
        inside = np.all((centre > 0) & (centre < np.asarray(size_px)), axis=1)
        known = (gap_s[k] <= settings.fill_s) & (sigma <= settings.fill_sigma * extent[:, 0]) & inside
        shown = np.flatnonzero(seen[k] | known)
        ids.append(shown)
        found.append(np.hstack([centre - extent / 2, centre + extent / 2])[shown])
    return BoxTracks(tuple(ids), tuple(found))
