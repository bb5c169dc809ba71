"""The ball's path: one way through the ball detections of a shot, and who has the ball on it.

Detections are weighed by their score and by how sharply the ball would have had to turn; the best path is
found by dynamic programming over all pairs of detections of the shot at once, so a bald head or a second ball
on the bench has to be better for the whole shot to be taken. The holder is then found by a second dynamic
programme over players and nobody: the ball, put at each player's own depth, must be at his side and at a
plausible height, and must not fly past him.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.ball.settings import BallPathSettings, BallSettings, HolderSettings
from pipeline.ball.sides import attacked_sides, attacking_teams
from pipeline.ball.tables import BALL
from pipeline.court.camera import Camera, NoCourt, camera_from_row
from pipeline.court.rule_books import RuleBook
from pipeline.court.tables import CAMERAS
from pipeline.players.tables import BOXES, TRACKS
from pipeline.players.tracking import book_of

TYPICAL_BODY_FT = 6.3
"""Height of a standing body's box: turns pixels into feet for the ball's speed in the picture."""

NOBODY = -1


@dataclass(frozen=True, slots=True, eq=False)
class _Players:
    """Players of one shot on its analysed frames: F frames, N tracks; NaN where not known."""

    names: np.ndarray  # (N,)
    teams: np.ndarray  # (N,)
    place_ft: np.ndarray  # (F, N, 2)


@dataclass(frozen=True, slots=True, eq=False)
class _SeenBall:
    """The ball's path through one shot before its holders are known: F analysed frames, N players."""

    shot: int
    frames: np.ndarray  # (F,)
    times_s: np.ndarray  # (F,)
    views: Mapping[int, Camera]  # by index of the frame
    players: _Players
    place_px: np.ndarray  # (F, 2)
    score: np.ndarray  # (F,)
    observed: np.ndarray  # (F,)
    aside_height: np.ndarray  # (F, N, 2)


def best_path(
    moment: np.ndarray, times_s: np.ndarray, places: np.ndarray, scores: np.ndarray, settings: BallPathSettings
) -> np.ndarray:
    """Rows of the detections that are the ball's path.

    Parameters
    ----------
    moment : (N,) int ndarray
        Frame of each detection, non-decreasing.
    times_s : (F,) ndarray
    places : (N, 2) ndarray
        In the picture, measured in feet at the players' distance, with the camera's motion taken out or small.
    scores : (N,) ndarray
        0..1.

    Returns
    -------
    (M,) int ndarray
        At most one row a moment, in order. Empty when no detection is worth its cost.
    """
    count = len(moment)
    if not count:
        return np.zeros(0, dtype=np.int64)
    even = np.log(settings.even_score / (1 - settings.even_score))
    clipped = np.clip(scores, 0.01, 0.99)
    gain = np.log(clipped / (1 - clipped)) - even
    time = times_s[moment]
    starts = np.searchsorted(moment, moment, side="left")  # rows of earlier moments end here
    earliest = np.searchsorted(time, time - settings.look_back_s, side="left")
    # a state is a row and the row before it on the path; the last entry of a row's states has none before it
    before: list[np.ndarray] = []
    value: list[np.ndarray] = []
    velocity: list[np.ndarray] = []
    origin: list[np.ndarray] = []
    best = np.full(count, -np.inf)
    best_before = np.full(count, -np.inf)  # the best of all rows of earlier moments, and which
    best_row = np.full(count, NOBODY, dtype=np.int64)
    top_value, top_row, entered = -np.inf, NOBODY, 0
    for row in range(count):
        while entered < starts[row]:
            if best[entered] > top_value:
                top_value, top_row = best[entered], entered
            entered += 1
        best_before[row], best_row[row] = top_value, top_row
        window = np.arange(max(earliest[row], starts[row] - settings.most_before), starts[row])
        dt = time[row] - time[window]
        move = places[row] - places[window]
        possible = np.linalg.norm(move, axis=1) <= settings.top_speed_ft_s * dt + 2 * settings.place_ft
        window, dt, move = window[possible], dt[possible], move[possible]
        speed = move / dt[:, None]
        reached = np.full(len(window) + 1, -np.inf)
        came = np.full(len(window) + 1, NOBODY, dtype=np.int64)
        for k, earlier in enumerate(window):
            change = np.linalg.norm(speed[k] - velocity[earlier], axis=1)
            blur = settings.place_ft * np.sqrt(2) / dt[k]
            turn = np.log1p((change / (settings.turn_ft_s + blur)) ** 2)
            turn = np.where(np.isfinite(change), turn, np.log1p(np.sum((speed[k] / settings.fresh_ft_s) ** 2)))
            from_state = value[earlier] - turn
            came[k] = int(np.argmax(from_state))
            reached[k] = from_state[came[k]] - settings.gap_cost_s * dt[k]
        reached[-1] = max(0.0, top_value - settings.jump_cost)
        before.append(np.append(window, NOBODY))
        velocity.append(np.vstack([speed, [[np.nan, np.nan]]]))
        value.append(reached + gain[row])
        origin.append(came)
        best[row] = value[row].max()
    here = int(np.argmax(best))
    if best[here] <= 0:
        return np.zeros(0, dtype=np.int64)
    path = [here]
    state = int(np.argmax(value[here]))
    while True:
        earlier = int(before[here][state])
        if earlier == NOBODY:  # the path began here, or jumped here from the best end before
            if best_before[here] - settings.jump_cost <= 0:
                break
            here = int(best_row[here])
            state = int(np.argmax(value[here]))
        else:
            state, here = int(origin[here][state]), earlier
        path.append(here)
    return np.array(path[::-1], dtype=np.int64)


def beside_players(ball_px: np.ndarray, places_ft: np.ndarray, camera: Camera) -> np.ndarray:
    """The ball put at each player's depth.

    The ray through the ball meets the upright plane that stands through the player's feet, square to the camera's
    view of him; the meeting point's distance to his side and its height say whether he can have the ball.

    Parameters
    ----------
    ball_px : (2,) ndarray
        Seen pixels.
    places_ft : (N, 2) ndarray

    Returns
    -------
    (N, 2) ndarray
        Distance to the side in feet (right positive in the picture) and height in feet; NaN behind the camera.
    """
    ideal = camera.lens.undistort(ball_px[None])[0]
    inner = np.array([*(ideal - camera.lens.centre_px) / camera.focal_px, 1.0])
    ray = camera.rotation().T @ inner
    towards = places_ft - camera.centre_ft[:2]
    distance = np.linalg.norm(towards, axis=1)
    normal = towards / np.maximum(distance, 1e-9)[:, None]
    closing = normal @ ray[:2]
    with np.errstate(invalid="ignore", divide="ignore"):
        length = np.where(closing > 1e-6, distance / closing, np.nan)
    meeting = camera.centre_ft + length[:, None] * ray
    right = np.column_stack([normal[:, 1], -normal[:, 0]])
    aside = np.einsum("ni,ni->n", meeting[:, :2] - places_ft, right)
    return np.column_stack([aside, meeting[:, 2]])


def likely_holders(
    times_s: np.ndarray,
    aside_height: np.ndarray,
    teams: np.ndarray,
    settings: HolderSettings,
    attacking: np.ndarray | None = None,
) -> np.ndarray:
    """Who has the ball in each frame, by dynamic programming.

    Parameters
    ----------
    times_s : (F,) ndarray
    aside_height : (F, N, 2) ndarray
        From :func:`beside_players`; NaN where the ball or the player is not known.
    teams : (N,) ndarray
    attacking : (F,) ndarray, optional
        Team that attacks in each frame, -1 unknown.

    Returns
    -------
    (F,) int ndarray
        Column of the holder, or ``NOBODY``. Holds shorter than ``least_hold_s`` are taken out.
    """
    frames, count = aside_height.shape[:2]
    if not count or not frames:
        return np.full(frames, NOBODY, dtype=np.int64)
    aside, height = aside_height[..., 0], aside_height[..., 1]
    with np.errstate(invalid="ignore"):
        cost = 0.5 * (aside / settings.aside_sigma_ft) ** 2
        cost = cost + 0.5 * ((height - settings.height_ft) / settings.height_sigma_ft) ** 2
        cost[(np.abs(aside) > settings.reach_ft) | (height > settings.highest_ft)] = 50.0
        speed = np.full((frames, count), np.nan)
        if frames > 1:
            dt = np.maximum(np.diff(times_s), 1e-6)
            step = np.linalg.norm(np.diff(aside_height, axis=0), axis=2) / dt[:, None]
            speed[1:] = step
            speed[:-1] = np.fmin(speed[:-1], step)
            speed[0] = step[0]
        cost = cost + np.where(speed > settings.fastest_ft_s, 4.0, 0.0)
    seen = np.isfinite(aside).any(axis=1)
    # a player who is not known in a frame in which the ball is: no evidence, dearer than a good fit
    cost = np.where(np.isfinite(cost), cost, np.where(seen[:, None], settings.nobody_cost + 1.0, 0.0))
    if attacking is not None:
        defends = (attacking[:, None] >= 0) & (teams[None] >= 0) & (teams[None] != attacking[:, None])
        cost = cost + np.where(defends, settings.defender_cost, 0.0)
    nobody = np.where(seen, settings.nobody_cost, settings.unseen_cost)
    full = np.hstack([np.minimum(cost, 50.0), nobody[:, None]])
    change = np.full((count + 1, count + 1), settings.change_cost)
    other = (teams[:, None] >= 0) & (teams[None, :] >= 0) & (teams[:, None] != teams[None, :])
    change[:count, :count] += np.where(other, settings.steal_cost, 0.0)
    # a change by way of nobody costs as much as a direct one
    change[count, :] = change[:, count] = settings.change_cost / 2
    np.fill_diagonal(change, 0.0)
    total = full[0].copy()
    origin = np.zeros((frames, count + 1), dtype=np.int64)
    for k in range(1, frames):
        reached = total[:, None] + change
        origin[k] = np.argmin(reached, axis=0)
        total = reached[origin[k], np.arange(count + 1)] + full[k]
    states = np.empty(frames, dtype=np.int64)
    states[-1] = int(np.argmin(total))
    for k in range(frames - 1, 0, -1):
        states[k - 1] = origin[k, states[k]]
    states[states == count] = NOBODY
    _drop_short(states, times_s, settings.least_hold_s)
    return states


def runs(values: np.ndarray) -> list[tuple[int, int]]:
    """Stretches of equal values as (first, past-last)."""
    if not len(values):
        return []
    edges = np.flatnonzero(np.diff(values)) + 1
    bounds = [0, *edges.tolist(), len(values)]
    return list(pairwise(bounds))


def _drop_short(states: np.ndarray, times_s: np.ndarray, least_s: float) -> None:
    step = float(np.median(np.diff(times_s))) if len(times_s) > 1 else 0.0
    for first, last in runs(states):
        if states[first] != NOBODY and times_s[last - 1] - times_s[first] + step < least_s - 1e-9:
            states[first:last] = NOBODY


def _shot_players(tracks: pa.Table, frames: np.ndarray) -> _Players:
    rows = tracks.filter(pc.equal(tracks["role"], "player"))
    names = np.unique(rows["track"].to_numpy())
    place = np.full((len(frames), len(names), 2), np.nan)
    teams = np.full(len(names), -1)
    if rows.num_rows:
        column = np.searchsorted(names, rows["track"].to_numpy())
        moment = np.searchsorted(frames, rows["frame"].to_numpy())
        place[moment, column, 0] = rows["x_ft"].to_numpy()
        place[moment, column, 1] = rows["y_ft"].to_numpy()
        teams[column] = rows["team"].to_numpy()
    return _Players(names, teams, place)


def feet_per_px(tracks: pa.Table, cameras: list[Camera]) -> float:
    """Feet that a pixel is at the players' distance: from their boxes, or from the cameras where none are seen."""
    height = pc.subtract(tracks["y2_px"], tracks["y1_px"]).drop_null().to_numpy() if tracks.num_rows else np.zeros(0)
    if len(height) and np.median(height) > 0:
        return TYPICAL_BODY_FT / float(np.median(height))
    if cameras:
        reach = [np.linalg.norm(c.centre_ft - np.array([47.0, 25.0, 0.0])) / c.focal_px for c in cameras]
        return float(np.median(reach))
    return 0.05


def ball_path(boxes: pa.Table, cameras: pa.Table, tracks: pa.Table, settings: BallSettings | None = None) -> pa.Table:
    """Where the ball was and who had it, for every shot that has tracks or ball detections.

    Parameters
    ----------
    boxes, cameras, tracks : pa.Table
        As their rooms declare them. The cameras' rows are the analysed frames.

    Returns
    -------
    pa.Table
        The ``ball`` table, ordered by shot and frame. Rows are frames where the ball is seen, filled in over a short
        gap, or held. The floor point is the holder's when held, and on the straight way from holder to holder in
        between; the height is where the ball's ray passes over it.
    """
    settings = settings or BallSettings()
    boxes, cameras, tracks = BOXES.check(boxes), CAMERAS.check(cameras), TRACKS.check(tracks)
    book = book_of(cameras)
    seen = []
    for shot in sorted(set(cameras["shot"].to_pylist())):
        grid = cameras.filter(pc.equal(cameras["shot"], shot)).sort_by("frame")
        balls = boxes.filter(pc.and_(pc.equal(boxes["shot"], shot), pc.equal(boxes["class"], "ball")))
        own = tracks.filter(pc.equal(tracks["shot"], shot))
        seen.append(_ball_in_shot(shot, balls, grid, own, book, settings))
    attacking = _attackers(seen, book, settings)
    parts = [_ball_rows(ball, team, settings) for ball, team in zip(seen, attacking, strict=True)]
    return pa.concat_tables(parts) if parts else BALL.empty()


def _attackers(seen: list[_SeenBall], book: RuleBook, settings: BallSettings) -> list[np.ndarray]:
    """The attacking team in every frame of every shot, by a first guess of the holders of all of them."""
    sides, teams, weights = [], [], []
    for ball in seen:
        first = likely_holders(ball.times_s, ball.aside_height, ball.players.teams, settings.holder)
        held = np.append(ball.players.teams, NOBODY)[first]
        teams.append(held)
        sides.append(attacked_sides(ball.times_s, ball.players.place_ft[..., 0], book, settings.sides))
        steps = np.diff(ball.times_s)
        weights.append(np.full(len(held), float(np.median(steps)) if len(steps) else 0.0))
    if not seen:
        return []
    every = attacking_teams(
        np.concatenate([b.times_s for b in seen]),
        np.concatenate(sides),
        np.concatenate(teams),
        np.concatenate(weights),
        settings.sides,
    )
    return np.split(every, np.cumsum([len(b.times_s) for b in seen])[:-1])


def _ball_in_shot(
    shot: int, balls: pa.Table, grid: pa.Table, tracks: pa.Table, book: RuleBook, settings: BallSettings
) -> _SeenBall:
    frames, times = grid["frame"].to_numpy(), grid["t_s"].to_numpy()
    views: dict[int, Camera] = {}
    for k, row in enumerate(grid.to_pylist()):
        camera = camera_from_row(row)
        if not isinstance(camera, NoCourt):
            views[k] = camera
    players = _shot_players(tracks, frames)
    corners = np.column_stack([balls[n].to_numpy() for n in ("x1_px", "y1_px", "x2_px", "y2_px")]).astype(np.float64)
    score = balls["score"].to_numpy().astype(np.float64)
    known = np.isin(balls["frame"].to_numpy(), frames) & np.isfinite(corners).all(axis=1)
    known &= score >= settings.path.least_score
    corners, score, frame = corners[known], score[known], balls["frame"].to_numpy()[known]
    order = np.lexsort((*corners.T, score, frame))
    corners, score, frame = corners[order], score[order], frame[order]
    centre = (corners[:, :2] + corners[:, 2:]) / 2
    moment = np.searchsorted(frames, frame)
    scale = feet_per_px(tracks, list(views.values()))
    steady = _steady(centre, moment, views)
    lying = _lies_still(steady, moment, times, settings.path)
    possible = np.ones(len(centre), dtype=bool)
    for row, k in enumerate(moment.tolist()):
        view = views.get(k)
        if view is None:
            continue
        possible[row] = over_court(centre[row], view, book, settings.path)
        if possible[row] and lying[row]:
            possible[row] = _near_somebody(centre[row], players.place_ft[k], view, settings.holder)
    centre, score, moment, steady = centre[possible], score[possible], moment[possible], steady[possible]
    path = best_path(moment, times, steady * scale, score, settings.path)
    count = len(frames)
    place_px, ball_score = np.full((count, 2), np.nan), np.zeros(count)
    place_px[moment[path]] = centre[path]
    ball_score[moment[path]] = score[path]
    observed = np.isfinite(place_px).all(axis=1)
    _fill(place_px, ball_score, observed, times, settings.path.fill_s)
    aside_height = np.full((count, len(players.names), 2), np.nan)
    for k, camera in views.items():
        if np.isfinite(place_px[k]).all() and len(players.names):
            aside_height[k] = beside_players(place_px[k], players.place_ft[k], camera)
    return _SeenBall(shot, frames, times, views, players, place_px, ball_score, observed, aside_height)


def _ball_rows(ball: _SeenBall, attacking: np.ndarray, settings: BallSettings) -> pa.Table:
    """Rows of the ``ball`` table of one shot."""
    frames, times, players, place_px = ball.frames, ball.times_s, ball.players, ball.place_px
    count = len(frames)
    holder = likely_holders(times, ball.aside_height, players.teams, settings.holder, attacking)
    floor = _floor_places(holder, players, times, np.isfinite(place_px).all(axis=1))
    height = np.full(count, np.nan)
    for k, camera in ball.views.items():
        if np.isfinite(place_px[k]).all() and np.isfinite(floor[k]).all():
            height[k] = beside_players(place_px[k], floor[k][None], camera)[0, 1]
    height = np.where((height > -1.5) & (height < 40), np.maximum(height, 0.0), np.nan)
    shown = np.isfinite(place_px).all(axis=1) | (holder != NOBODY)
    names = np.where(holder != NOBODY, players.names[holder] if len(players.names) else NOBODY, NOBODY)

    def nullable(values: np.ndarray, kind: pa.DataType) -> pa.Array:
        return pa.array(values[shown], type=kind, mask=~np.isfinite(values[shown].astype(np.float64)))

    return BALL.from_columns(
        {
            "frame": frames[shown],
            "t_s": times[shown],
            "shot": np.full(int(shown.sum()), ball.shot, dtype=np.int32),
            "x_px": nullable(place_px[:, 0].astype(np.float32), pa.float32()),
            "y_px": nullable(place_px[:, 1].astype(np.float32), pa.float32()),
            "x_ft": nullable(floor[:, 0], pa.float64()),
            "y_ft": nullable(floor[:, 1], pa.float64()),
            "z_ft": nullable(height, pa.float64()),
            "holder": pa.array(names[shown].astype(np.int32), mask=(holder == NOBODY)[shown]),
            "observed": ball.observed[shown],
            "score": ball.score[shown].astype(np.float32),
        }
    )


def over_court(ball_px: np.ndarray, camera: Camera, book: RuleBook, settings: BallPathSettings) -> bool:
    """Whether the ray through a pixel passes over the court, at most ``highest_ft`` above it."""
    ideal = camera.lens.undistort(ball_px[None])[0]
    inner = np.array([*(ideal - camera.lens.centre_px) / camera.focal_px, 1.0])
    ray = camera.rotation().T @ inner
    low = np.array([-settings.margin_ft, -settings.margin_ft, 0.0])
    high = np.array([book.length_ft + settings.margin_ft, book.width_ft + settings.margin_ft, settings.highest_ft])
    with np.errstate(divide="ignore", invalid="ignore"):
        ends = np.sort(np.stack([(low - camera.centre_ft) / ray, (high - camera.centre_ft) / ray]), axis=0)
    nearest, farthest = np.nanmax(ends[0]), np.nanmin(ends[1])
    return bool(farthest >= max(nearest, 0.0))


def _lies_still(
    steady_px: np.ndarray, moment: np.ndarray, times_s: np.ndarray, settings: BallPathSettings
) -> np.ndarray:
    """Detections with many others at the very same spot over a long time: a lamp, a head in the crowd; (N,) bool."""
    still = np.zeros(len(moment), dtype=bool)
    for row in range(len(moment)):
        same = np.linalg.norm(steady_px - steady_px[row], axis=1) <= settings.still_px
        own = np.unique(moment[same])
        still[row] = len(own) >= settings.still_count and times_s[own[-1]] - times_s[own[0]] >= settings.still_s
    return still


def _near_somebody(ball_px: np.ndarray, places_ft: np.ndarray, camera: Camera, settings: HolderSettings) -> bool:
    aside_height = beside_players(ball_px, places_ft, camera)
    with np.errstate(invalid="ignore"):
        beside = np.abs(aside_height[:, 0]) <= settings.reach_ft
        return bool(np.any(beside & (aside_height[:, 1] >= -1) & (aside_height[:, 1] <= settings.highest_still_ft)))


def _steady(centre: np.ndarray, moment: np.ndarray, views: Mapping[int, Camera]) -> np.ndarray:
    """Ball places with the camera's turning taken out: pixels about the shot's mean view; as given without cameras."""
    if not views:
        return centre
    rays = np.full((len(centre), 2), np.nan)
    focal = float(np.median([c.focal_px for c in views.values()]))
    for k, camera in views.items():
        own = np.flatnonzero(moment == k)
        if not len(own):
            continue
        ideal = camera.lens.undistort(centre[own]) - camera.lens.centre_px
        direction = np.column_stack([ideal / camera.focal_px, np.ones(len(own))]) @ camera.rotation()
        rays[own, 0] = np.arctan2(direction[:, 0], direction[:, 1])
        rays[own, 1] = -np.arctan2(direction[:, 2], np.hypot(direction[:, 0], direction[:, 1]))
    known = np.isfinite(rays).all(axis=1)
    if not known.all():
        # frames without a camera: carried by the nearest frame that has one
        with_camera = np.array(sorted(views))
        for row in np.flatnonzero(~known):
            nearest = views[int(with_camera[np.argmin(np.abs(with_camera - moment[row]))])]
            ideal = nearest.lens.undistort(centre[row : row + 1])[0] - nearest.lens.centre_px
            direction = np.array([*(ideal / nearest.focal_px), 1.0]) @ nearest.rotation()
            rays[row] = [np.arctan2(direction[0], direction[1]), -np.arctan2(direction[2], np.hypot(*direction[:2]))]
    return rays * focal


def _fill(place_px: np.ndarray, score: np.ndarray, observed: np.ndarray, times_s: np.ndarray, longest_s: float) -> None:
    """Fill short gaps in place with straight lines and half the lower score of their ends."""
    rows = np.flatnonzero(observed)
    for a, b in pairwise(rows.tolist()):
        if b - a > 1 and times_s[b] - times_s[a] <= longest_s:
            share = ((times_s[a + 1 : b] - times_s[a]) / (times_s[b] - times_s[a]))[:, None]
            place_px[a + 1 : b] = place_px[a] + share * (place_px[b] - place_px[a])
            score[a + 1 : b] = 0.5 * min(score[a], score[b])


def _floor_places(holder: np.ndarray, players: _Players, times_s: np.ndarray, seen: np.ndarray) -> np.ndarray:
    """Floor point under the ball: the holder's place, or the straight way between two holders; (F, 2), NaN unknown."""
    floor = np.full((len(holder), 2), np.nan)
    held = np.flatnonzero(holder != NOBODY)
    floor[held] = players.place_ft[held, holder[held]]
    for a, b in pairwise(held.tolist()):
        if b - a > 1 and times_s[b] - times_s[a] <= 2.5 and np.isfinite(floor[[a, b]]).all():
            inner = np.arange(a + 1, b)[seen[a + 1 : b]]
            share = ((times_s[inner] - times_s[a]) / (times_s[b] - times_s[a]))[:, None]
            floor[inner] = floor[a] + share * (floor[b] - floor[a])
    return floor
