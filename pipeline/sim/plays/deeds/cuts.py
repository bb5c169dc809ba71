"""Cuts: those that scripts meant, measured on the exact paths, and what runs by accident may be called."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pipeline.sim.plays.deeds.floor_names import place_of, places_of
from pipeline.sim.plays.deeds.run import OFFENCE_BODIES, Run, Seen
from pipeline.sim.plays.deeds.spells import angle_deg, spells
from pipeline.sim.plays.script import Deed
from pipeline.sim.plays.stage import DT_S

MOVING_FT_S, PAUSE_S = 4.0, 0.4
"""A cut lasts while its man is faster than this; shorter pauses (a turn) do not end it."""
RUN_FT = 6.0
CURL_RIGHT_DEG = 30.0


def cuts(run: Run, screens: list[Seen], denials: tuple[Seen, ...]) -> Iterator[Seen]:
    """Cuts that were meant and doubtful ones."""
    meant = [d for d in run.deeds if d.kind.endswith("_cut")]
    spans: list[tuple[int, int, int]] = []
    for deed in meant:
        seen = _meant(run, deed, screens)
        if seen is not None:
            yield seen
            spans.append((deed.roles[0][1], run.step(seen.start_s), run.step(seen.end_s)))
    for k in OFFENCE_BODIES:
        told: set[tuple[str, int]] = set()
        for slow, pause in ((0.75 * MOVING_FT_S, PAUSE_S), (MOVING_FT_S, 0.0), (1.5 * MOVING_FT_S, 0.0)):
            fast = (run.speed[: run.live, k] > slow) & (run.holder[: run.live] != k)
            for a, b in spells(fast, 0.4, bridge_s=pause):
                path = run.uv[a:b, k]
                if float(np.hypot(*np.diff(path, axis=0).T).sum()) < RUN_FT:
                    continue
                for kind in _loose_kinds(run, k, a, b, denials):
                    if any(d.kind == kind and d.roles[0][1] == k and _overlap(run, d, a, b) for d in meant):
                        continue
                    if (kind, a // 25) not in told:
                        told.add((kind, a // 25))
                        yield _cut(run, kind, k, a, b, screens, {}, certain=False)


def _overlap(run: Run, deed: Deed, a: int, b: int) -> bool:
    return run.step(deed.start_s) < b + 15 and run.step(deed.end_s) > a - 15


def _meant(run: Run, deed: Deed, screens: list[Seen]) -> Seen | None:
    k = deed.roles[0][1]
    a, b = run.step(deed.start_s - 0.4), run.step(deed.end_s + 0.4)
    held = run.holder == k
    moving = spells((run.speed[:, k] > MOVING_FT_S) & ~held, 0.2, bridge_s=PAUSE_S)
    inside = [(s, e) for s, e in moving if s < b and e > a]
    if not inside:
        return None
    s, e = max(inside, key=lambda se: min(se[1], b) - max(se[0], a))
    s, e = max(s, run.step(deed.start_s - 0.5)), min(e, run.step(deed.end_s + 0.5))
    said = dict(deed.traits)
    return _cut(run, deed.kind, k, s, e, screens, said, certain=_holds(run, deed.kind, k, s, e))


def _cut(
    run: Run, kind: str, k: int, a: int, b: int, screens: list[Seen], said: dict[str, str], *, certain: bool
) -> Seen:
    b = min(max(b, a + 2), len(run.uv) - 1)
    path = run.uv[a : b + 1, k]
    screen = next(
        (s for s in screens if s.body("cutter") == k and a * DT_S - 0.8 <= s.t_s <= b * DT_S + 0.3 and s.certain), None
    )
    maybe = any(s.body("cutter") == k and a * DT_S - 0.8 <= s.t_s <= b * DT_S + 0.3 for s in screens)
    guard = int(run.guard[a, k])
    roles = [("cutter", k), ("cutter_defender", guard)]
    if screen is not None:
        roles.append(("screener", dict(screen.roles)["screener"]))
    measures = {
        "length_ft": float(np.hypot(*np.diff(path, axis=0).T).sum()),
        "top_speed_ft_s": float(run.speed[a : b + 1, k].max()),
        "start_u_ft": float(path[0, 0]),
        "start_v_ft": float(path[0, 1]),
        "end_u_ft": float(path[-1, 0]),
        "end_v_ft": float(path[-1, 1]),
        "end_separation_ft": float(run.gap(k, int(run.guard[b, k]))[b]),
    }
    traits = {
        "from_place": place_of(run, k, a),
        "to_place": place_of(run, k, b),
        "off_screen": "yes" if screen is not None else ("unknown" if maybe else "no"),
    }
    if kind == "zipper_cut":
        measures |= zipper_measures(run, k, a, b)
        traits |= _zipper_traits(said, screen)
    middle = (a + b) // 2
    return Seen(
        kind, a * DT_S, middle * DT_S, b * DT_S, tuple(roles), run.at(k, middle), measures,
        traits, certain,
    )  # fmt: skip


def zipper_measures(run: Run, k: int, a: int, b: int) -> dict[str, float]:
    """Rise, angle of the end of the cut to the ring, and radius of its tightest turn."""
    path = run.uv[a : b + 1, k]
    velocity, speed = run.velocity[a : b + 1, k], run.speed[a : b + 1, k]
    last = np.flatnonzero(speed > 6.0)
    end = int(last[-1]) if len(last) else len(path) - 1
    end = max(end - 8, 1)
    heading = np.unwrap(np.arctan2(velocity[:, 1], velocity[:, 0]))
    turn = np.gradient(heading, DT_S)
    usable = speed > 5.0
    radius = np.where(usable, speed / np.maximum(np.abs(turn), 1e-3), np.inf)
    turned = abs(float(heading[end] - heading[max(end // 4, 0)]))
    return {
        "rise_ft": float(path[:, 0].max() - path[0, 0]),
        "turn_off_ring_deg": angle_deg(velocity[end], -path[end]),
        "turn_radius_ft": float(radius.min()) if turned > np.deg2rad(40) else float("nan"),
    }


def _zipper_traits(said: dict[str, str], screen: Seen | None) -> dict[str, str]:
    end = said.get("end", "unknown")
    way = screen.traits["route"] if screen is not None else "unknown"
    seen = "unknown" if way == "unknown" else ("yes" if way == "trails" else "no")
    trails = said.get("defender_trails", seen) if screen is None else seen
    right = "unknown"
    if end != "unknown" and trails != "unknown":
        right = "yes" if (end == "curl") == (trails == "yes") else "no"
    return {"end": end, "defender_trails": trails, "end_right": right}


def _holds(run: Run, kind: str, k: int, a: int, b: int) -> bool:
    """Whether the path of a meant cut has the shape of its kind, by the glossary."""
    start, end = run.uv[a, k], run.uv[min(b, len(run.uv) - 1), k]
    path = run.uv[a : b + 1, k]
    ring = np.hypot(*path.T)
    line, lane = run.floor.line_u_ft, run.floor.half_lane_ft
    across = start[1] * end[1] < 0
    if kind == "zipper_cut":
        return bool(abs(start[1]) < 12 and start[0] < 9.5 and path[:, 0].max() - start[0] > 10.3)
    if kind == "loop_cut":
        return bool(across and abs(end[1]) > 11 and path[:, 0].min() < line + 6.5)
    if kind in ("back_cut", "basket_cut"):
        return bool(ring[0] - ring.min() > 8 and ring.min() < 11)
    if kind == "deep_cut":
        low = int(np.argmin(path[:, 0]))
        return bool(start[0] - path[low, 0] > 5 and end[0] - path[low, 0] > 4)
    if kind == "flash_cut":
        return bool(float(np.hypot(*(end - start))) > 7 and places_of(run, k, min(b, len(run.uv) - 1)) != set())
    if kind == "ucla_cut":
        return bool(start[0] > line and ring[-1] < 11) and _by_high_post(run, k, a, b)
    if kind == "iverson_cut":
        return bool(across and min(abs(start[1]), abs(end[1])) > lane and abs(end[1] - start[1]) > 22)
    return bool(abs(end[1] - start[1]) > 8 and path[:, 0].min() > line - 3)


def _by_high_post(run: Run, k: int, a: int, b: int) -> bool:
    """Whether the cut passes a teammate near the free-throw line."""
    for mate in OFFENCE_BODIES:
        near = run.gap(k, mate)[a : b + 1] < 6.0
        there = np.abs(run.uv[a : b + 1, mate, 0] - run.floor.line_u_ft - 2.0) < 6.5
        if mate != k and bool((near & there).any()):
            return True
    return False


def _loose_kinds(run: Run, k: int, a: int, b: int, denials: tuple[Seen, ...]) -> Iterator[str]:
    """What a run may be called on a loose reading."""
    start, end, path = run.uv[a, k], run.uv[b - 1, k], run.uv[a:b, k]
    ring = np.hypot(*path.T)
    line = run.floor.line_u_ft
    across = start[1] * end[1] < 0
    rise = float(path[:, 0].max() - path[:, 0].min())
    length = float(np.hypot(*(end - start)))
    if np.abs(path[:, 1]).min() < 13 and rise > 7 and int(np.argmax(path[:, 0])) > int(np.argmin(path[:, 0])):
        yield "zipper_cut"
    passed = any(
        s.kind in ("pass", "handoff") and s.by == k and a * DT_S - 5.0 <= s.start_s <= b * DT_S for s in run.spans
    )
    if passed and (across or abs(end[1] - start[1]) > 9):
        yield "loop_cut"
    gain = float(ring[0] - ring.min())
    if gain > 6:
        if any(d.body("receiver") == k and d.end_s > a * DT_S - 2.0 and d.start_s < b * DT_S for d in denials):
            yield "back_cut"
        if ring.min() < 14:
            yield "basket_cut"
            if start[0] > line - 4:
                yield "ucla_cut"
    low = int(np.argmin(path[:, 0]))
    if start[0] - path[low, 0] > 2.5 and end[0] - path[low, 0] > 2.5:
        yield "deep_cut"
    ball = _ball_way(run, k, a, b)
    if length > 5 and ball > 2.5 and np.hypot(*end) < 24:
        yield "flash_cut"
    if abs(end[1] - start[1]) > 14 and path[:, 0].max() > line - 6:
        yield "iverson_cut"
    if abs(end[1] - start[1]) > 6 and path[:, 0].max() > line - 2:
        yield "shallow_cut"


def _ball_way(run: Run, k: int, a: int, b: int) -> float:
    """How much nearer to the ball a run brings its man, feet."""
    h, g = _ball_of(run, a), _ball_of(run, b - 1)
    if not (0 <= h < 5 or 0 <= g < 5):
        return 0.0
    h, g = (h if 0 <= h < 5 else g), (g if 0 <= g < 5 else h)
    return float(np.hypot(*(run.uv[a, h] - run.uv[a, k])) - np.hypot(*(run.uv[b - 1, g] - run.uv[b - 1, k])))


def _ball_of(run: Run, step: int) -> int:
    """Who has the ball, or is about to get it."""
    held = np.flatnonzero(run.holder[step:] >= 0)
    return int(run.holder[step + held[0]]) if len(held) else -1
