"""The ball's path and touches of a film, from its boxes, cameras and tracks.

Each shot's story is told twice: once by the picture alone, to learn which team attacks which ring, and again
knowing it. Then places are laid on the floor: a held ball at its holder's, a flying one on the free fall that
fits its detections best.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from itertools import pairwise
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.ball.evidence import NOBODY, Evidence, beside_places, gather
from pipeline.ball.flights import flight_places
from pipeline.ball.gains import Clues, clues_of
from pipeline.ball.settings import BallSettings, FlightSettings
from pipeline.ball.sides import attacked_sides, attacking_teams, owners_of_rings
from pipeline.ball.story import State, Story, tell_story
from pipeline.ball.tables import BALL, TOUCHES
from pipeline.ball.touches import touches_of
from pipeline.court.rule_books import RuleBook
from pipeline.court.tables import CAMERAS
from pipeline.crew import Spread, in_turn
from pipeline.players.tables import BOXES, TRACKS
from pipeline.players.tracking import book_of

GATE_FT = 2.5
"""A detection farther from a flight's way, at its depth, is not on it."""

FILL_S = 0.5
"""Longest gap between two places in the picture that is filled with a straight line."""


@dataclass(frozen=True, slots=True, eq=False)
class Places:
    """Where the ball was in F frames of one shot; NaN where not known."""

    px: np.ndarray  # (F, 2)
    ft: np.ndarray  # (F, 3)
    score: np.ndarray  # (F,)
    observed: np.ndarray  # (F,) bool


def ball_path(
    boxes: pa.Table,
    cameras: pa.Table,
    tracks: pa.Table,
    settings: BallSettings | None = None,
    *,
    spread: Spread = in_turn,
) -> tuple[pa.Table, pa.Table]:
    """Where the ball was, who had it, and what happened to it, for every shot.

    Parameters
    ----------
    boxes, cameras, tracks : pa.Table
        As their rooms declare them. The cameras' rows are the analysed frames.
    spread : Spread
        Shares out the shots; the result does not depend on it.

    Returns
    -------
    ball : pa.Table
        Ordered by shot and frame. Rows are frames in which the ball's place in the picture is known, or its holder.
    touches : pa.Table
        See :func:`~pipeline.ball.touches.touches_of`.
    """
    settings = settings or BallSettings()
    boxes, cameras, tracks = BOXES.check(boxes), CAMERAS.check(cameras), TRACKS.check(tracks)
    book = book_of(cameras)
    shots = []
    for shot in sorted(set(cameras["shot"].to_pylist())):
        grid = cameras.filter(pc.equal(cameras["shot"], shot)).sort_by("frame")
        balls = boxes.filter(pc.and_(pc.equal(boxes["shot"], shot), pc.equal(boxes["class"], "ball")))
        shots.append((shot, balls, grid, tracks.filter(pc.equal(tracks["shot"], shot))))
    first = list(spread(partial(_first_told, book=book, settings=settings), shots))
    attacking = _attackers([e for e, _, _ in first], [story for _, _, story in first], book, settings)
    again = [(evidence, clues, sides) for (evidence, clues, _), sides in zip(first, attacking, strict=True)]
    told = list(spread(partial(_told, settings=settings), again))
    ball = pa.concat_tables([rows for rows, _ in told]) if told else BALL.empty()
    touches = [row for _, rows in told for row in rows]
    return ball, TOUCHES.from_rows([{"touch": k} | row for k, row in enumerate(touches)])


def _first_told(
    shot: tuple[int, pa.Table, pa.Table, pa.Table], *, book: RuleBook, settings: BallSettings
) -> tuple[Evidence, Clues, Story]:
    """What there is to see of the ball in a shot (its number, balls, cameras, tracks), and its story at first sight."""
    number, balls, grid, own = shot
    evidence = gather(number, balls, grid, own, book, settings)
    clues = clues_of(evidence, settings)
    return evidence, clues, tell_story(evidence, clues, None, settings)


def _told(
    shot: tuple[Evidence, Clues, tuple[np.ndarray, tuple[int, int]]], *, settings: BallSettings
) -> tuple[pa.Table, list[dict[str, Any]]]:
    """A shot's rows of the ball's table and of touches, its attackers being known."""
    evidence, clues, (team, owners) = shot
    story = tell_story(evidence, clues, team, settings, owners)
    places = ball_places(evidence, story, settings.flight)
    return _ball_rows(evidence, story, places), touches_of(evidence, story, places, team, settings)


def _attackers(
    seen: list[Evidence], stories: list[Story], book: RuleBook, settings: BallSettings
) -> list[tuple[np.ndarray, tuple[int, int]]]:
    """The attacking team in every frame of every shot and of the left and right ring, by a first telling of all."""
    if not seen:
        return []
    teams = [
        np.append(e.bodies.teams, NOBODY)[np.where(s.state == State.HELD, s.who, NOBODY)]
        for e, s in zip(seen, stories, strict=True)
    ]
    sides = []
    for e in seen:
        players = np.where(e.bodies.official[None], np.nan, e.bodies.place_ft[..., 0])
        sides.append(attacked_sides(e.times_s, players, book, settings.sides))
    every = attacking_teams(
        np.concatenate([e.times_s for e in seen]),
        np.concatenate(sides),
        np.concatenate(teams),
        np.concatenate([np.full(len(e.times_s), e.step_s) for e in seen]),
        settings.sides,
    )
    found = np.split(every, np.cumsum([len(e.times_s) for e in seen])[:-1])
    return [
        (_open_after_ring(e, s, team, settings), owners_of_rings(side, team))
        for e, s, side, team in zip(seen, stories, sides, found, strict=True)
    ]


def _open_after_ring(evidence: Evidence, story: Story, attacking: np.ndarray, settings: BallSettings) -> np.ndarray:
    """The attacking team, unknown for a while after the ball came to a ring: either team may take it."""
    result = attacking.copy()
    for k in np.flatnonzero(story.state == State.OFF_RING):
        after = evidence.times_s - evidence.times_s[k]
        result[(after >= 0) & (after <= settings.sides.open_s)] = NOBODY
    return result


def ball_places(evidence: Evidence, story: Story, settings: FlightSettings) -> Places:
    """Places of the ball along its story."""
    count = len(evidence.times_s)
    px, ft = np.full((count, 2), np.nan), np.full((count, 3), np.nan)
    score, observed = np.zeros(count), np.zeros(count, dtype=bool)
    rows = np.flatnonzero(story.row != NOBODY)
    px[rows], score[rows], observed[rows] = (
        evidence.centre_px[story.row[rows]],
        evidence.score[story.row[rows]],
        True,
    )
    for flight in np.unique(story.flight[story.flight != NOBODY]):
        moments = np.flatnonzero(story.flight == flight)
        way, taken = fitted_flight(evidence, story, int(flight), moments, settings)
        ft[moments] = way
        for k, place, row in zip(moments, way, taken, strict=True):
            view = evidence.views.get(int(k))
            if row != NOBODY:
                px[k], score[k], observed[k] = evidence.centre_px[row], evidence.score[row], True
            elif view is not None:
                px[k] = view.project(place[None])[0]
    _fill(px, score, observed, evidence.times_s)
    for k in np.flatnonzero(story.state == State.HELD):
        place, view = evidence.bodies.place_ft[k, story.who[k]], evidence.views.get(int(k))
        ft[k, :2] = place
        if view is not None and np.isfinite(px[k]).all() and np.isfinite(place).all():
            ray = np.array([*(view.lens.undistort(px[k][None])[0] - view.lens.centre_px) / view.focal_px, 1.0])
            height = beside_places((ray @ view.rotation())[None], place[None], view.centre_ft)[0, 0, 1]
            ft[k, 2] = max(height, 0.0) if -1.5 < height < 12 else np.nan
    return Places(px, ft, score, observed)


def fitted_flight(
    evidence: Evidence, story: Story, flight: int, moments: np.ndarray, settings: FlightSettings
) -> tuple[np.ndarray, np.ndarray]:
    """The free fall from hands to hands (or ring) that fits a flight's detections best.

    Both ends are unknown about where they should be; with the flight's time known every place on it is linear in them,
    and every detection gives two linear equations (the direct linear transform's). Weighted least squares, twice, the
    second time with the detections near the first solution.

    Returns
    -------
    way : (M, 3) ndarray
        Places at the given frames.
    taken : (M,) int ndarray
        Detection on the way, ``NOBODY`` where none is near.
    """
    which = np.full(len(moments), flight)
    way, share = flight_places(evidence, story.flights, which, moments, settings)
    count = len(evidence.bodies.names)
    body, ring = [settings.body_sigma_ft] * 2 + [settings.height_sigma_ft], [settings.ring_sigma_ft] * 3
    prior = np.concatenate(
        [ring if end >= count else body for end in (story.flights.by[flight], story.flights.to[flight])]
    )
    taken = np.full(len(moments), NOBODY)
    change = np.zeros(6)
    for gate in (2 * GATE_FT, GATE_FT):
        left, right = [np.diag(1 / prior)], [np.zeros(6)]
        now = way + (1 - share[:, None]) * change[:3] + share[:, None] * change[3:]
        for m, k in enumerate(moments.tolist()):
            view, rows = evidence.views.get(k), evidence.rows(k)
            taken[m] = NOBODY
            if view is None or rows.stop == rows.start:
                continue
            turn = view.rotation()
            inner = turn @ (now[m] - view.centre_ft)
            seen = (view.lens.undistort(evidence.centre_px[rows]) - view.lens.centre_px) / view.focal_px
            off = np.linalg.norm(seen - inner[:2] / inner[2], axis=1) * inner[2]
            cost = 0.5 * (off / (0.4 * gate)) ** 2 - evidence.gain[rows]
            cost[off > gate] = np.inf
            if not np.isfinite(cost).any() or inner[2] <= 1:
                continue
            best = int(cost.argmin())
            taken[m] = rows.start + best
            first = turn @ (way[m] - view.centre_ft)
            sigma = max(2.0 * inner[2] / view.focal_px, 0.1)
            for axis in (0, 1):
                row = turn[axis] - seen[best, axis] * turn[2]
                left.append(np.concatenate([row * (1 - share[m]), row * share[m]])[None] / sigma)
                right.append(np.array([-(first[axis] - seen[best, axis] * first[2])]) / sigma)
        change = np.linalg.lstsq(np.vstack(left), np.concatenate(right), rcond=None)[0]
    return way + (1 - share[:, None]) * change[:3] + share[:, None] * change[3:], taken


def _fill(place_px: np.ndarray, score: np.ndarray, observed: np.ndarray, times_s: np.ndarray) -> None:
    """Fill short gaps in place with straight lines and half the lower score of their ends."""
    rows = np.flatnonzero(observed)
    for a, b in pairwise(rows.tolist()):
        gap = np.arange(a + 1, b)
        gap = gap[~np.isfinite(place_px[gap]).all(axis=1)]
        if len(gap) and times_s[b] - times_s[a] <= FILL_S:
            share = ((times_s[gap] - times_s[a]) / (times_s[b] - times_s[a]))[:, None]
            place_px[gap] = place_px[a] + share * (place_px[b] - place_px[a])
            score[gap] = 0.5 * min(score[a], score[b])


def _ball_rows(evidence: Evidence, story: Story, places: Places) -> pa.Table:
    """Rows of the ``ball`` table of one shot."""
    held = story.state == State.HELD
    shown = np.isfinite(places.px).all(axis=1) | held
    names = np.append(evidence.bodies.names, NOBODY)[np.where(held, story.who, NOBODY)]

    def nullable(values: np.ndarray, kind: pa.DataType) -> pa.Array:
        return pa.array(values[shown], type=kind, mask=~np.isfinite(values[shown].astype(np.float64)))

    return BALL.from_columns(
        {
            "frame": evidence.frames[shown],
            "t_s": evidence.times_s[shown],
            "shot": np.full(int(shown.sum()), evidence.shot, dtype=np.int32),
            "x_px": nullable(places.px[:, 0].astype(np.float32), pa.float32()),
            "y_px": nullable(places.px[:, 1].astype(np.float32), pa.float32()),
            "x_ft": nullable(places.ft[:, 0], pa.float64()),
            "y_ft": nullable(places.ft[:, 1], pa.float64()),
            "z_ft": nullable(places.ft[:, 2], pa.float64()),
            "holder": pa.array(names[shown].astype(np.int32), mask=~held[shown]),
            "observed": places.observed[shown],
            "score": places.score[shown].astype(np.float32),
        }
    )
