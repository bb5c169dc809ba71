"""Evidence: what the ball detections of one shot say, beside every player and ring.

A detection is put at the depth of each player and of each ring; how far to his side and how high it then is says
whether he can have the ball. Its score says how likely it is the ball at all, as a log ratio.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.ball.settings import BallSettings, EvidenceSettings
from pipeline.court.camera import Camera, NoCourt, camera_from_row
from pipeline.court.rule_books import RuleBook

NOBODY = -1

PICTURE_FT2 = 2000.0
"""Floor-side view of the main camera in square feet at the players' distance, about 60 by 34: the area over which a
false ball may lie anywhere. Common order of size, no source."""


@dataclass(frozen=True, slots=True, eq=False)
class Bodies:
    """Bodies of one shot on its analysed frames: F frames, N tracks; NaN where not known.

    Attributes
    ----------
    names, teams : (N,) int ndarray
        Track and team; team -1 unknown or official.
    official : (N,) bool ndarray
    place_ft : (F, N, 2) ndarray
    """

    names: np.ndarray
    teams: np.ndarray
    official: np.ndarray
    place_ft: np.ndarray


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """One shot's ball detections: F analysed frames, N bodies, K detections in order of frames.

    Attributes
    ----------
    shot : int
    frames, times_s : (F,) ndarray
    views : mapping of int to Camera
        By index of the frame; frames without a camera are absent.
    bodies : Bodies
    rings_ft : (2, 3) ndarray
        Centres of the left and the right ring.
    moment : (K,) int ndarray
        Frame index of each detection, non-decreasing.
    centre_px : (K, 2) ndarray
    score : (K,) ndarray
    gain : (K,) ndarray
        Log ratio of ball to not ball, by the score alone.
    ray : (K, 3) ndarray
        Direction of sight in the court frame; NaN without a camera.
    beside : (K, N + 2, 2) ndarray
        Distance to the side and height in feet at the depth of each body and of the left and right ring.
    """

    shot: int
    frames: np.ndarray
    times_s: np.ndarray
    views: Mapping[int, Camera]
    bodies: Bodies
    rings_ft: np.ndarray
    moment: np.ndarray
    centre_px: np.ndarray
    score: np.ndarray
    gain: np.ndarray
    ray: np.ndarray
    beside: np.ndarray

    @property
    def step_s(self) -> float:
        """Usual time from frame to frame."""
        return float(np.median(np.diff(self.times_s))) if len(self.times_s) > 1 else 0.08

    def rows(self, k: int) -> slice:
        """Detections of frame index k."""
        return slice(*np.searchsorted(self.moment, [k, k + 1]))


def ring_places(book: RuleBook) -> np.ndarray:
    """Centres of the left and the right ring, (2, 3)."""
    y = book.width_ft / 2
    x = book.ring_to_baseline_ft
    return np.array([[x, y, book.ring_height_ft], [book.length_ft - x, y, book.ring_height_ft]])


def sight_rays(pixels: np.ndarray, camera: Camera) -> np.ndarray:
    """Directions in the court frame in which seen pixels (K, 2) are looked at, (K, 3), one foot along the axis."""
    ideal = camera.lens.undistort(pixels) - camera.lens.centre_px
    return np.column_stack([ideal / camera.focal_px, np.ones(len(pixels))]) @ camera.rotation()


def beside_places(rays: np.ndarray, places_ft: np.ndarray, centre_ft: np.ndarray) -> np.ndarray:
    """Sight rays met with the upright planes through places, square to the camera's view of them.

    Parameters
    ----------
    rays : (K, 3) ndarray
    places_ft : (N, 2) ndarray
        NaN gives NaN.
    centre_ft : (3,) ndarray
        The camera's centre.

    Returns
    -------
    (K, N, 2) ndarray
        Distance to the side in feet (right positive in the picture) and height in feet; NaN behind the camera.
    """
    towards = places_ft - centre_ft[:2]
    distance = np.linalg.norm(towards, axis=1)
    normal = towards / np.maximum(distance, 1e-9)[:, None]
    closing = rays[:, :2] @ normal.T
    with np.errstate(invalid="ignore", divide="ignore"):
        length = np.where(closing > 1e-6, distance[None] / closing, np.nan)
    meeting = centre_ft + length[..., None] * rays[:, None]
    right = np.column_stack([normal[:, 1], -normal[:, 0]])
    aside = np.einsum("kni,ni->kn", meeting[..., :2] - places_ft[None], right)
    return np.stack([aside, meeting[..., 2]], axis=-1)


def score_gain(score: np.ndarray, settings: EvidenceSettings) -> np.ndarray:
    """Log ratio of ball to not ball of detection scores, bounded both ways."""
    clipped = np.clip(score, 1e-3, 1 - 1e-3)
    even = np.log(settings.even_score / (1 - settings.even_score))
    return np.clip(
        settings.score_weight * (np.log(clipped / (1 - clipped)) - even), -settings.most_gain, settings.most_gain
    )


def bodies_of(tracks: pa.Table, frames: np.ndarray) -> Bodies:
    """Players and officials of one shot's tracks on its analysed frames."""
    rows = tracks.filter(pc.and_(pc.is_in(tracks["role"], pa.array(["player", "official"])), tracks["x_ft"].is_valid()))
    rows = rows.filter(pc.is_in(rows["frame"], pa.array(frames)))
    names, column = np.unique(rows["track"].to_numpy(), return_inverse=True)
    moment = np.searchsorted(frames, rows["frame"].to_numpy())
    place = np.full((len(frames), len(names), 2), np.nan)
    place[moment, column, 0] = rows["x_ft"].to_numpy()
    place[moment, column, 1] = rows["y_ft"].to_numpy()
    officials = np.zeros(len(names))
    np.add.at(officials, column, np.where(pc.equal(rows["role"], "official").to_numpy(zero_copy_only=False), 1.0, -1.0))
    votes = np.zeros((len(names), 2))
    team = rows["team"].to_numpy()
    for side in (0, 1):
        np.add.at(votes[:, side], column[team == side], 1.0)
    teams = np.where(votes.sum(axis=1) > 0, votes.argmax(axis=1), NOBODY)
    official = officials > 0
    return Bodies(names, np.where(official, NOBODY, teams), official, place)


def gather(
    shot: int, balls: pa.Table, grid: pa.Table, tracks: pa.Table, book: RuleBook, settings: BallSettings
) -> Evidence:
    """The evidence of one shot.

    Parameters
    ----------
    shot : int
    balls, grid, tracks : pa.Table
        Ball boxes, cameras (sorted by frame) and tracks of this shot.
    book : RuleBook
    settings : BallSettings
    """
    rules = settings.evidence
    frames, times = grid["frame"].to_numpy(), grid["t_s"].to_numpy()
    views: dict[int, Camera] = {}
    for k, row in enumerate(grid.to_pylist()):
        camera = camera_from_row(row)
        if not isinstance(camera, NoCourt):
            views[k] = camera
    bodies = bodies_of(tracks, frames)
    rings = ring_places(book)
    corners = np.column_stack([balls[n].to_numpy() for n in ("x1_px", "y1_px", "x2_px", "y2_px")]).astype(np.float64)
    score = balls["score"].to_numpy().astype(np.float64)
    frame = balls["frame"].to_numpy()
    known = np.isin(frame, frames) & np.isfinite(corners).all(axis=1) & (score >= rules.least_score)
    corners, score, frame = corners[known], score[known], frame[known]
    order = np.lexsort((*corners.T, score, frame))
    corners, score, frame = corners[order], score[order], frame[order]
    centre = (corners[:, :2] + corners[:, 2:]) / 2
    moment = np.searchsorted(frames, frame)
    gain = score_gain(score, rules)
    ray = np.full((len(centre), 3), np.nan)
    beside = np.full((len(centre), len(bodies.names) + 2, 2), np.nan)
    possible = np.zeros(len(centre), dtype=bool)
    for k, view in views.items():
        own = np.flatnonzero(moment == k)
        if not len(own):
            continue
        ray[own] = sight_rays(centre[own], view)
        beside[own] = beside_places(ray[own], np.vstack([bodies.place_ft[k], rings[:, :2]]), view.centre_ft)
        possible[own] = over_court(ray[own], view.centre_ft, book, rules)
    gain = gain - np.where(_lies_still(ray, moment, times, rules) & ~_near_somebody(beside, rules), rules.still_cost, 0)
    possible = np.flatnonzero(possible)
    return Evidence(
        shot, frames, times, views, bodies, rings, moment[possible], centre[possible], score[possible],
        gain[possible], ray[possible], beside[possible],
    )  # fmt: skip


def over_court(rays: np.ndarray, centre_ft: np.ndarray, book: RuleBook, settings: EvidenceSettings) -> np.ndarray:
    """Whether sight rays (K, 3) pass over the court, at most ``highest_ft`` above it; (K,) bool."""
    low = np.array([-settings.margin_ft, -settings.margin_ft, 0.0])
    high = np.array([book.length_ft + settings.margin_ft, book.width_ft + settings.margin_ft, settings.highest_ft])
    safe = np.where(np.abs(rays) < 1e-12, 1e-12, rays)
    ends = np.sort(np.stack([(low - centre_ft) / safe, (high - centre_ft) / safe]), axis=0)
    return ends[1].min(axis=1) >= np.maximum(ends[0].max(axis=1), 0.0)


def _lies_still(ray: np.ndarray, moment: np.ndarray, times_s: np.ndarray, settings: EvidenceSettings) -> np.ndarray:
    """Detections with many others at the very same spot over a long time: a lamp, a head in the crowd; (K,) bool."""
    still = np.zeros(len(moment), dtype=bool)
    flat = ray / np.linalg.norm(ray, axis=1, keepdims=True) if len(ray) else ray
    for row in range(len(moment)):
        same = np.abs(flat - flat[row]).max(axis=1) <= settings.still_rad
        own = np.unique(moment[same])
        still[row] = len(own) >= settings.still_count and times_s[own[-1]] - times_s[own[0]] >= settings.still_s
    return still


def _near_somebody(beside: np.ndarray, settings: EvidenceSettings) -> np.ndarray:
    """Whether a detection can be in somebody's hands or on his dribble; (K,) bool."""
    aside, height = beside[:, :-2, 0], beside[:, :-2, 1]
    with np.errstate(invalid="ignore"):
        return np.any((np.abs(aside) <= settings.reach_ft) & (height >= -1) & (height <= settings.highest_still_ft), 1)


def hold_fit(beside: np.ndarray, settings: EvidenceSettings) -> np.ndarray:
    """How well a ball at these places is held or dribbled, as a log ratio to its being anywhere in the picture.

    Parameters
    ----------
    beside : (..., 2) ndarray
        Distance to the side and height in feet.

    Returns
    -------
    (...) ndarray
        The sides by a mix of two normals; the heights by a mix of the dribble (evenly from the floor up), the
        hold before the body and hands up high. NaN becomes minus infinity.
    """
    aside, height = beside[..., 0], beside[..., 1]
    near, wide = settings.aside_sigma_ft, settings.wide_sigma_ft
    sides = 0.85 * _normal(aside, near) + 0.15 * _normal(aside, wide)
    soft = 0.35
    low = _band(height, 0.2, settings.dribble_top_ft, soft)
    high = _band(height, settings.hold_ft + 1.0, settings.reach_up_ft, 2 * soft)
    shares = settings.dribble_share, 1 - settings.dribble_share - settings.high_share, settings.high_share
    heights = (
        shares[0] * low + shares[1] * _normal(height - settings.hold_ft, settings.hold_sigma_ft) + shares[2] * high
    )
    with np.errstate(divide="ignore"):
        fit = np.log(sides * heights * PICTURE_FT2 / settings.clutter)
    return np.where(np.isfinite(fit), np.maximum(fit, -30.0), -np.inf)


def _normal(x: np.ndarray, sigma: float) -> np.ndarray:
    return np.exp(-0.5 * (x / sigma) ** 2) / (sigma * np.sqrt(2 * np.pi))


def _band(x: np.ndarray, low: float, high: float, soft: float) -> np.ndarray:
    """An even density from low to high with soft edges."""
    with np.errstate(over="ignore"):
        return 1 / (1 + np.exp((low - x) / soft * 2)) / (1 + np.exp((x - high) / soft * 2)) / (high - low)
