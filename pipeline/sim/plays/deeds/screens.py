"""Screens on and off the ball, and turning the corner."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from pipeline.sim.plays.deeds.floor_names import place_of
from pipeline.sim.plays.deeds.judged import coverage, read, route, screen_type
from pipeline.sim.plays.deeds.run import OFFENCE_BODIES, Run, Seen
from pipeline.sim.plays.deeds.spells import angle_deg, spells
from pipeline.sim.plays.script import Deed
from pipeline.sim.plays.stage import DT_S

NEAR_FT, NEAR_S, CLOSEST_FT, FARTHER_FT = (11.0, 9.7), (0.4, 0.56), (7.0, 5.8), (3.5, 2.0)
"""Teammate to handler, how long, closest approach, farther from the ring than he: doubtful and certain."""
CONTACT_FT, LEFT_EARLY_FT_S, SIDE_V_FT, AGAIN_S = 3.0, 4.0, 12.0, 3.0
CORNER_DEG, CORNER_AFTER_S = (42.0, 30.0), 3.0
TOLD_OF_BALL_SCREENS = ("slipped", "again", "live_dribble", "left_early", "coverage", "sent")
JUDGED_COVERAGES = frozenset({"over", "under", "switch"})
CUTTER_FT, STILL_FT_S, DEFENDER_FT = (6.0, 4.8), (7.0, 4.9), (6.0, 3.5)


def on_ball_screens(run: Run) -> list[Seen]:
    """Screens for the handler: those meant, and doubtful ones by geometry, in order of time."""
    found = [s for d in run.deeds if d.kind == "on_ball_screen" for s in _meant_on_ball(run, d)]
    taken = [(s.body("handler"), s.body("screener"), s.t_s) for s in found]
    for a, b, handler in _holds(run):
        for mate in OFFENCE_BODIES:
            if mate == handler:
                continue
            near = _may_screen(run, handler, mate, 0)[a:b]
            for s, e in spells(near, NEAR_S[0], bridge_s=0.1):
                gap = run.gap(handler, mate)[a + s : a + e]
                k = a + s + int(np.argmin(gap))
                if gap.min() > CLOSEST_FT[0]:
                    continue
                if any(h == handler and m == mate and abs(t - k * DT_S) < 1.6 for h, m, t in taken):
                    continue
                found.append(_on_ball(run, handler, mate, k, None, certain=False))
    return _linked(sorted(found, key=lambda s: s.t_s))


def _holds(run: Run) -> Iterator[tuple[int, int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[-2], run.holder[: run.live], [-2]])))
    for a, b in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        if 0 <= run.holder[a] < 5:
            yield a, b, int(run.holder[a])


def _may_screen(run: Run, handler: int, mate: int, sure: int) -> np.ndarray:
    """(T,) the glossary's conditions of place, loosely (0) or by a margin (1)."""
    margin = (-0.7, 0.4)[sure]
    rel = run.uv[:, 5:10] - run.uv[:, handler][:, None]
    guard = np.hypot(rel[..., 0], rel[..., 1]).min(1)
    return np.asarray(
        (run.gap(handler, mate) <= NEAR_FT[sure])
        & ~run.floor.in_paint(run.uv[:, mate], margin_ft=margin)
        & (run.ring(mate) - run.ring(handler) <= FARTHER_FT[sure])
        & (guard <= 12.0)
        & ~run.floor.in_paint(run.uv[:, handler], margin_ft=margin)
    )


def _meant_on_ball(run: Run, deed: Deed) -> Iterator[Seen]:
    roles = dict(deed.roles)
    handler, screener = roles["handler"], roles["screener"]
    a, b = run.step(deed.t_s - 1.2), run.step(deed.t_s + 0.8)
    held = (run.holder[a : b + 1] == handler) & (run.uv[a : b + 1, handler, 0] < run.floor.half_court_u_ft)
    if not held.any():
        return
    gap = np.where(held, run.gap(handler, screener)[a : b + 1], np.inf)
    k = a + int(np.argmin(gap))
    window = slice(max(k - 60, 0), k + 61)
    closest = CLOSEST_FT[0] if dict(deed.traits).get("slipped") == "yes" else CLOSEST_FT[1]
    sure = bool(spells(_may_screen(run, handler, screener, 1)[window], NEAR_S[1])) and gap.min() <= closest
    seen = _on_ball(run, handler, screener, k, deed, certain=sure)
    slip_touched = seen.traits["slipped"] == "yes" and seen.measures["contact_ft"] < CONTACT_FT + 0.2
    yield replace(seen, certain=False) if slip_touched else seen


def _on_ball(run: Run, handler: int, screener: int, k: int, deed: Deed | None, *, certain: bool) -> Seen:
    before = run.step(deed.start_s) if deed is not None else max(k - 50, 0)
    guard, big_guard = int(run.guard[before, handler]), int(run.guard[before, screener])
    window = slice(max(k - 50, 0), min(k + 26, len(run.uv)))
    contact = float(run.gap(screener, guard)[window].min())
    go = _goes(run, handler, k)
    stood = _stood(run, screener, k)
    speed_at_go = float(run.speed[go, screener])
    early = (stood - go) * DT_S if stood is not None else float("nan")
    v = float(run.uv[k, screener, 1])
    said = _told(deed, TOLD_OF_BALL_SCREENS) if deed is not None else {}
    if said.get("coverage") in JUDGED_COVERAGES:
        del said["coverage"]
    traits = {
        "side": "side" if abs(v) > SIDE_V_FT else "middle",
        "sent": _sent(run, handler, k),
        "contact": "yes" if contact <= CONTACT_FT else "no",
        "slipped": "no",
        "again": "no",
        "live_dribble": "yes" if _dribble_alive(run, handler, go) else "no",
        "left_early": "yes" if speed_at_go > LEFT_EARLY_FT_S else "no",
        "coverage": coverage(run, handler, screener, guard, k),
        "phase": "half_court" if k >= run.half_court else "transition",
    } | said
    start = deed.start_s if deed is not None else k * DT_S - 0.5
    return Seen(
        "on_ball_screen", min(start, k * DT_S), k * DT_S, max(k, go) * DT_S + 0.3,
        (("handler", handler), ("screener", screener), ("on_ball_defender", guard), ("screener_defender", big_guard)),
        run.at(screener, k),
        {
            "closest_ft": float(run.gap(handler, screener)[k]),
            "contact_ft": contact,
            "handler_ring_distance_ft": float(run.ring(handler)[k]),
            "screener_speed_ft_s": speed_at_go,
            "early_s": max(early, 0.0) if not np.isnan(early) else early,
            "since_last_s": float("nan"),
            "since_half_court_s": _since_half_court_s(run, k),
        },
        traits,
        certain=certain,
    )  # fmt: skip


def _since_half_court_s(run: Run, k: int) -> float:
    """Time since the ball last came over half court in somebody's hands; NaN where it did not."""
    held = np.flatnonzero(run.holder[: k + 1] >= 0)
    u = run.uv[held, run.holder[held], 0]
    over = np.flatnonzero((u[:-1] > run.floor.half_court_u_ft) & (u[1:] <= run.floor.half_court_u_ft))
    return (k - int(held[over[-1] + 1])) * DT_S if len(over) else float("nan")


def _told(deed: Deed, names: Sequence[str]) -> dict[str, str]:
    """What a script says of its deed and the paths need not show; the rest is judged on the paths."""
    return {name: word for name, word in deed.traits if name in names}


def _sent(run: Run, handler: int, k: int) -> str:
    """To the middle or to the sideline, by the handler's way across from just before the screen to just after."""
    before, after = abs(run.uv[max(k - 15, 0), handler, 1]), abs(run.uv[min(k + 40, len(run.uv) - 1), handler, 1])
    return "middle" if after < before - 1.5 else ("sideline" if after > before + 1.5 else "unknown")


def _goes(run: Run, handler: int, k: int) -> int:
    """When the handler sets off past the screen: his last slow moment before he is fast, near the closest approach."""
    a, b = max(k - 50, 0), min(k + 26, len(run.uv) - 1)
    fast = np.flatnonzero(run.speed[k : b + 1, handler] > 8.0)
    top = k + int(fast[0]) if len(fast) else k
    slow = np.flatnonzero(run.speed[a : top + 1, handler] < 5.0)
    return a + int(slow[-1]) if len(slow) else a


def _stood(run: Run, screener: int, k: int) -> int | None:
    """When the screener came to stand, near the closest approach."""
    a, b = max(k - 75, 0), min(k + 51, len(run.uv))
    found = spells(run.speed[a:b, screener] <= LEFT_EARLY_FT_S, 0.2)
    return a + found[0][0] if found else None


def _dribble_alive(run: Run, handler: int, k: int) -> bool:
    """Whether the handler may still dribble at a step: he is dribbling, or has not dribbled in this hold."""
    now = k * DT_S
    touched = [s for s in run.spans if s.kind in ("hold", "dribble") and s.by == handler and s.start_s <= now + 1e-6]
    if not touched:
        return False
    if touched[-1].kind == "dribble":
        return True
    before = [s for s in run.spans if s.start_s < touched[-1].start_s]
    return not (before and before[-1].kind == "dribble" and before[-1].by == handler)


def _linked(screens: list[Seen]) -> list[Seen]:
    """Fill in ``again`` and ``since_last_s`` from the same pair's screen before."""
    out: list[Seen] = []
    for s in screens:
        pair = (s.body("handler"), s.body("screener"))
        last = next((o for o in reversed(out) if (o.body("handler"), o.body("screener")) == pair), None)
        since = s.t_s - last.t_s if last is not None else float("nan")
        again = "yes" if last is not None and since <= AGAIN_S else "no"
        out.append(
            Seen(
                s.kind, s.start_s, s.t_s, s.end_s, s.roles, s.place_uv, dict(s.measures) | {"since_last_s": since},
                {"again": again} | {k: v for k, v in s.traits.items() if k != "again"}, s.certain,
            )
        )  # fmt: skip
    return out


def corners_turned(run: Run, screens: list[Seen]) -> Iterator[Seen]:
    """After a ball screen: the handler past the screener, his way pointing at the ring."""
    for n, screen in enumerate(screens):
        handler, screener = screen.body("handler"), screen.body("screener")
        assert handler is not None
        assert screener is not None
        later = [s.t_s for s in screens[n + 1 :] if s.body("handler") == handler]
        stop = min([screen.t_s + CORNER_AFTER_S, *later])
        k0, best = run.step(screen.t_s), None
        for k in range(k0, min(run.step(stop), run.live - 1)):
            if run.holder[k] != handler:
                break
            p, v = run.uv[k, handler], run.velocity[k, handler]
            if float((run.uv[k, screener] - p) @ v) > 0.0 or float(np.hypot(*v)) < 5.0:
                continue
            off = angle_deg(v, -p)
            if off <= CORNER_DEG[1]:
                best = (k, off, True)
                break
            if off <= CORNER_DEG[0] and best is None:
                best = (k, off, False)
        if best is None:
            continue
        k, off, sure = best
        lasts = sure and bool((run.holder[k : k + 15] == handler).all()) and float(run.speed[k, handler]) > 6.5
        yield Seen(
            "corner_turned", k * DT_S, k * DT_S, k * DT_S + 0.2,
            (("handler", handler), ("screener", screener), ("on_ball_defender", int(run.guard[k, handler]))),
            run.at(handler, k),
            {
                "off_ring_deg": off,
                "speed_ft_s": float(run.speed[k, handler]),
                "after_screen_s": k * DT_S - screen.t_s,
                "ring_distance_ft": float(run.ring(handler)[k]),
            },
            certain=lasts and screen.certain,
        )  # fmt: skip


# ---- off the ball ----------------------------------------------------------------------------------------------------


def off_ball_screens(run: Run) -> list[Seen]:
    """Screens for a man without the ball: those meant, and doubtful ones by geometry, in order of time."""
    found = [s for d in run.deeds if d.kind == "off_ball_screen" for s in _meant_off_ball(run, d)]
    taken = [(s.body("screener"), s.body("cutter"), s.t_s) for s in found]
    steps = min(run.live, len(run.uv))
    at = np.arange(steps)
    for screener in OFFENCE_BODIES:
        for cutter in OFFENCE_BODIES:
            if cutter == screener:
                continue
            gap = run.gap(screener, cutter)[:steps]
            guard = run.uv[at, run.guard[:steps, cutter]]
            near = np.hypot(*(guard - run.uv[:steps, screener]).T)
            passes = (gap <= CUTTER_FT[0]) & (run.holder[:steps] != cutter) & (run.holder[:steps] != screener)
            passes &= run.speed[:steps, screener] <= STILL_FT_S[0]
            passes &= near <= DEFENDER_FT[0]
            for a, b in spells(passes, 0.1, bridge_s=0.3):
                k = a + int(np.argmin(gap[a:b]))
                if run.speed[max(k - 15, 0) : k + 16, cutter].max() < 5.0:
                    continue
                if any(s == screener and c == cutter and abs(t - k * DT_S) < 1.5 for s, c, t in taken):
                    continue
                found.append(_off_ball(run, screener, cutter, k, None, certain=False))
    return sorted(found, key=lambda s: s.t_s)


def _meant_off_ball(run: Run, deed: Deed) -> Iterator[Seen]:
    roles = dict(deed.roles)
    screener, cutter = roles["screener"], roles["cutter"]
    a, b = run.step(deed.t_s - 0.8), run.step(deed.t_s + 1.0)
    gap = run.gap(screener, cutter)[a : b + 1]
    k = a + int(np.argmin(gap))
    still = spells(run.speed[max(k - 40, 0) : k + 16, screener] <= STILL_FT_S[1], 0.3)
    guard = int(run.guard[run.step(deed.start_s), cutter])
    near = float(run.gap(screener, guard)[max(k - 40, 0) : k + 41].min())
    sure = bool(still) and gap.min() <= CUTTER_FT[1] and near <= DEFENDER_FT[1]
    sure &= bool(run.speed[max(k - 15, 0) : k + 26, cutter].max() > 7.0)
    yield _off_ball(run, screener, cutter, k, deed, certain=sure)


def _off_ball(run: Run, screener: int, cutter: int, k: int, deed: Deed | None, *, certain: bool) -> Seen:
    before = run.step(deed.start_s) if deed is not None else max(k - 25, 0)
    guard, big_guard = int(run.guard[before, cutter]), int(run.guard[before, screener])
    window = slice(max(k - 40, 0), min(k + 41, len(run.uv)))
    separation = run.gap(cutter, guard)
    last = len(run.uv) - 1
    set_up = _set_up(run, cutter, k)
    taken = route(run, screener, cutter, guard, k)
    traits = {
        "type": screen_type(run, screener, cutter, k),
        "group": "single",
        "route": taken,
        "read": read(run, screener, cutter, guard, k, taken),
        "set_up": "yes" if set_up >= 1.5 else "no",
        "place": place_of(run, screener, k),
    } | (_told(deed, ("type", "group")) if deed is not None else {})
    return Seen(
        "off_ball_screen", min(deed.start_s, k * DT_S) if deed is not None else k * DT_S - 0.5, k * DT_S,
        k * DT_S + 0.7,
        (("screener", screener), ("cutter", cutter), ("cutter_defender", guard), ("screener_defender", big_guard)),
        run.at(screener, k),
        {
            "contact_ft": float(run.gap(screener, guard)[window].min()),
            "closest_ft": float(run.gap(screener, cutter)[k]),
            "screener_speed_ft_s": float(run.speed[k, screener]),
            "set_up_ft": set_up,
            "separation_before_ft": float(separation[max(k - 15, 0)]),
            "separation_at_ft": float(separation[k]),
            "separation_after_ft": float(separation[min(k + 35, last)]),
        },
        traits,
        certain=certain,
    )  # fmt: skip


def _set_up(run: Run, cutter: int, k: int) -> float:
    """How far the cutter first stepped against the way that he then took past the screen, feet."""
    a = max(k - 75, 0)
    way = run.uv[min(k + 15, len(run.uv) - 1), cutter] - run.uv[max(k - 15, 0), cutter]
    size = float(np.hypot(*way))
    if size < 1.0:
        return 0.0
    along = (run.uv[a : k + 1, cutter] - run.uv[a, cutter]) @ (way / size)
    return float(np.max(np.maximum.accumulate(along) - along))
