"""Denials, post-ups and stands: what men without the ball do in place."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pipeline.court.places import PLACES, place_names
from pipeline.sim.plays.deeds.floor_names import in_place, place_of
from pipeline.sim.plays.deeds.run import OFFENCE_BODIES, Run, Seen
from pipeline.sim.plays.deeds.spells import spells
from pipeline.sim.plays.stage import DT_S

DENY_GAP_FT, DENY_LINE_FT, DENY_S = (6.5, 5.4), (4.6, 3.3), (0.36, 0.64)
"""Doubtful and certain; the glossary says 6 ft, 4 ft and 0.5 s."""
POST_SPEED_FT_S, POST_GAP_FT, POST_S = (7.0, 5.5), (5.2, 3.9), (0.7, 1.1)
STAND_SPEED_FT_S, STAND_S = (3.8, 2.3), (0.3, 0.8)


def denials(run: Run) -> Iterator[Seen]:
    """Spells in which a defender stands in the way of a pass to his man."""
    steps = min(run.live, len(run.uv))
    at = np.arange(steps)
    holder = run.holder[:steps]
    ball = np.where((holder >= 0)[:, None], run.uv[at, np.maximum(holder, 0)], np.nan)
    for k in OFFENCE_BODIES:
        man, guard = run.uv[:steps, k], run.uv[at, run.guard[:steps, k]]
        gap = np.hypot(*(guard - man).T)
        line, along = _from_line(man, ball, guard)
        usable = (holder >= 0) & (holder < 5) & (holder != k) & (at >= run.half_court)
        ball_ft = np.hypot(*(ball - man).T)
        possible = (ball_ft > 9.0) & (ball_ft < 28.0) & (man[:, 0] < 31.0) & ~run.floor.in_paint(man, margin_ft=0.7)
        sure = usable & possible & (gap <= DENY_GAP_FT[1]) & (line <= DENY_LINE_FT[1]) & (along > 0.8)
        loose = np.zeros(steps, dtype=bool)
        for defender in range(5, 10):
            other = run.uv[:steps, defender]
            off, _ = _from_line(man, ball, other)
            loose |= usable & (np.hypot(*(other - man).T) <= DENY_GAP_FT[0]) & (off <= DENY_LINE_FT[0])
        loose |= sure
        for a, b in spells(loose, DENY_S[0], bridge_s=0.12):
            inside = spells(sure[a:b], DENY_S[1])
            s, e = (a, b) if not inside else (a + inside[0][0], a + inside[-1][1])
            yield Seen(
                "denial", s * DT_S, s * DT_S, e * DT_S,
                (("receiver", k), ("receiver_defender", int(run.guard[s, k])), ("handler", int(holder[s]))),
                run.at(k, s),
                {
                    "lasted_s": (e - s) * DT_S,
                    "gap_ft": float(gap[s:e].mean()),
                    "line_gap_ft": float(line[s:e].mean()),
                },
                {"place": place_of(run, k, s)},
                certain=bool(inside),
            )  # fmt: skip


def _from_line(man: np.ndarray, ball: np.ndarray, guard: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Distance of the defender from the stretch man-ball, and how far along it from the man he stands."""
    way = ball - man
    size = np.maximum(np.hypot(*way.T), 1e-6)
    along = ((guard - man) * way).sum(1) / size
    nearest = man + way * (np.clip(along, 0, size) / size)[:, None]
    return np.hypot(*(guard - nearest).T), along


def post_ups(run: Run) -> Iterator[Seen]:
    """Men who stand at the post with a defender on them; certain where a script meant it."""
    meant = [d for d in run.deeds if d.kind == "post_up"]
    steps = min(run.live, len(run.uv))
    at = np.arange(steps)
    edge = run.floor.half_lane_ft
    for k in OFFENCE_BODIES:
        uv = run.uv[:steps, k]
        beside = np.abs(np.abs(uv[:, 1]) - edge)
        mid_post = (beside <= 4.0) & (uv[:, 0] > -1) & (uv[:, 0] < run.floor.line_u_ft)
        post = in_place(run, k, ("block", "short_corner"))[:steps] | mid_post
        gap = np.hypot(*(run.uv[at, run.guard[:steps, k]] - uv).T)
        speed = run.speed[:steps, k]
        any_gap = np.min([run.gap(k, d)[:steps] for d in range(5, 10)], axis=0)
        loose = post & (any_gap <= POST_GAP_FT[0]) & (speed <= POST_SPEED_FT_S[0]) & (at >= run.half_court)
        sure = loose & (gap <= POST_GAP_FT[1]) & (speed <= POST_SPEED_FT_S[1])
        for a, b in spells(loose, POST_S[0], bridge_s=0.2):
            inside = spells(sure[a:b], POST_S[1], bridge_s=0.1)
            deed = any(d.roles[0][1] == k and d.start_s <= b * DT_S and d.end_s >= a * DT_S for d in meant)
            s, e = (a, b) if not inside else (a + inside[0][0], a + inside[-1][1])
            catch = next(
                (x for x in run.spans if x.kind == "pass" and x.to == k and s * DT_S - 0.7 <= x.end_s <= e * DT_S), None
            )
            c = run.step(catch.end_s) if catch is not None else s
            yield Seen(
                "post_up", s * DT_S, s * DT_S, e * DT_S, (("poster", k), ("post_defender", int(run.guard[s, k]))),
                run.at(k, c),
                {
                    "held_s": (e - s) * DT_S,
                    "ring_distance_ft": float(run.ring(k)[s:e].mean()),
                    "catch_ring_ft": float(run.ring(k)[c]) if catch is not None else float("nan"),
                    "defender_gap_ft": float(gap[s:e].mean()),
                    "others_moved_ft": max(_way(run, o, s, e) for o in OFFENCE_BODIES if o != k),
                },
                {"place": place_of(run, k, s), "caught": "yes" if catch is not None else "no"},
                certain=bool(inside) and deed,
            )  # fmt: skip


def _way(run: Run, body: int, a: int, b: int) -> float:
    """Length of a body's path between two steps."""
    return float(np.hypot(*np.diff(run.uv[a : b + 1, body], axis=0).T).sum())


def stands(run: Run) -> Iterator[Seen]:
    """Men who stay in one named place."""
    steps = min(run.live, len(run.uv))
    for k in OFFENCE_BODIES:
        names = np.array(place_names(run.uv[:steps, k], run.book))
        speed = run.speed[:steps, k]
        slow = (speed <= STAND_SPEED_FT_S[0]) & (names != "")
        for a, b in spells(slow, STAND_S[0]):
            for name in (n for n in PLACES if n in set(names[a:b].tolist())):
                for s, e in spells(
                    (names == name) & (speed <= STAND_SPEED_FT_S[0]) & _between(a, b, steps), STAND_S[0]
                ):
                    sure = spells((speed <= STAND_SPEED_FT_S[1])[s:e], STAND_S[1])
                    yield Seen(
                        "stand", s * DT_S, s * DT_S, e * DT_S, (("player", k),), run.at(k, s),
                        {"lasted_s": (e - s) * DT_S, "ring_distance_ft": float(run.ring(k)[s:e].mean())},
                        {"place": name}, certain=bool(sure),
                    )  # fmt: skip


def _between(a: int, b: int, steps: int) -> np.ndarray:
    at = np.arange(steps)
    return (at >= a) & (at < b)
