"""The trade's signs for what really happened: cuts, dribbles, passes, screens and shots out of everybody's ways."""

from __future__ import annotations

import itertools
import math

import cv2
import numpy as np

from pipeline.actions.events import Event
from pipeline.clips.lesson import CROWD, SCREENS, Lesson
from pipeline.clips.marks import Place
from pipeline.court.attack_frame import to_attack
from pipeline.sets.moving import Sign, Stroke

EVERY_S = 0.1
LEAST_FT = 4.2
"""A way that leads no further than this from its start is not drawn: circle and head would hide it."""

BENDS_FT = 0.8
"""Ways are drawn with as few points as keep them this near."""

LEAST_HELD_S = 0.35
"""A shorter time with or without the ball is not told apart."""


def strokes_between(lesson: Lesson, from_s: float, to_s: float) -> tuple[Stroke, ...]:
    """Lines of a frame that begins and ends at two film times, attack frame; those who take no part in grey."""
    strokes: list[Stroke] = []
    attackers = [
        body.track
        for body in lesson.playback.bodies(from_s)
        if body.role == "player" and lesson.team >= 0 and body.team == lesson.team
    ]
    for track in attackers:
        strokes += _ways(lesson, track, from_s, to_s)
    for event in lesson.told.events:
        if not from_s - 1e-6 <= event.t_s < to_s - 1e-6:
            continue
        if event.kind in ("pass", "handoff"):
            ends = [
                lesson.place(event.actors[0][1], event.start_s),
                lesson.place(event.actor("receiver"), event.end_s),
            ]
            sign = Sign.PASS if event.kind == "pass" else Sign.HANDOFF
            if ends[0] is not None and ends[1] is not None and math.dist(ends[0], ends[1]) > 0.5:
                strokes.append(Stroke(sign, tuple(_attack(lesson, [ends[0], ends[1]]))))
        elif event.kind == "shot":
            at = lesson.place(event.actors[0][1], event.t_s)
            if at is not None:
                strokes.append(Stroke(Sign.SHOT, (*_attack(lesson, [at]), (0.0, 0.0))))
    return tuple(strokes)


def _ways(lesson: Lesson, track: int, from_s: float, to_s: float) -> list[Stroke]:
    """One player's lines: wavy with the ball, solid without, a bar where he screens."""
    way = lesson.playback.way(track, from_s, to_s, EVERY_S)
    if not len(way):
        return []
    times = np.append(np.arange(from_s, to_s, EVERY_S), to_s)
    known = np.isfinite(way).all(axis=1)
    way, times = way[known], times[known]
    if len(way) < 2:
        return []
    takes_part = track in lesson.roles and lesson.roles[track] not in CROWD
    held = _calm(np.array([lesson.playback.holder(float(t)) == track for t in times]))
    screens = [
        event
        for event in lesson.told.events
        if event.kind in SCREENS and event.actor("screener") == track and from_s <= event.t_s < to_s
    ]
    cuts = {0, len(way) - 1, *(np.flatnonzero(np.diff(held.astype(int))) + 1).tolist()}
    at_screens = {int(np.argmin(np.abs(times - event.t_s))): event for event in screens}
    edges = sorted(cuts | set(at_screens))
    strokes = []
    for first, last in itertools.pairwise(edges):
        part = _few(way[first : last + 1])
        uv = _attack(lesson, part.tolist())
        reached = float(np.hypot(*(part - part[0]).T).max())
        if last in at_screens:
            strokes.append(_screen(lesson, at_screens[last], uv))
        elif reached >= LEAST_FT:
            sign = Sign.DRIBBLE if held[(first + last) // 2] else Sign.CUT
            strokes.append(Stroke(sign, tuple(uv), optional=not takes_part))
    if 0 in at_screens:
        strokes.append(_screen(lesson, at_screens[0], _attack(lesson, [way[0].tolist()])))
    return strokes


def _screen(lesson: Lesson, event: Event, uv: list[Place]) -> Stroke:
    """A way that ends in a bar; a screener who stood there has his bar before him."""
    against = event.actor("cutter_defender") or event.actor("on_ball_defender")
    faced = lesson.place(against, event.t_s) or lesson.place(event.actors[0][1], event.t_s)
    stood = uv[-1]
    target = _attack(lesson, [faced])[0] if faced is not None else (stood[0] + 1.0, stood[1])
    along = np.array(target) - np.array(stood)
    along = along / max(float(np.hypot(*along)), 1e-6)
    if math.dist(uv[0], stood) < LEAST_FT:
        front = np.array(stood) + 2.6 * along
        uv = [stood, (float(front[0]), float(front[1]))]
    return Stroke(Sign.SCREEN, tuple(uv), faces=float(np.arctan2(along[1], along[0])))


def _few(way: np.ndarray) -> np.ndarray:
    return cv2.approxPolyDP(way.astype(np.float32)[:, None], BENDS_FT, closed=False)[:, 0].astype(float)


def _calm(held: np.ndarray) -> np.ndarray:
    """Without stretches that are too short to be told apart."""
    calm = held.copy()
    edges = np.flatnonzero(np.diff(held.astype(int))) + 1
    for first, last in zip(np.r_[0, edges], np.r_[edges, len(held)], strict=True):
        if last - first < LEAST_HELD_S / EVERY_S and first > 0:
            calm[first:last] = calm[first - 1]
    return calm


def _attack(lesson: Lesson, places: list[Place] | list[list[float]]) -> list[Place]:
    uv = to_attack(np.array(places, dtype=float), lesson.book, lesson.end)
    return [(float(u), float(v)) for u, v in uv]
