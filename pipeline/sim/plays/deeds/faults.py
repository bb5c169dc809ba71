"""The glossary's faults on exact paths, written apart from ``pipeline.spacing``.

Each has two sets of limits round the glossary's: what keeps the strict one is certain, what keeps only the loose one is
doubtful.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from pipeline.sim.plays.deeds.ball import holds
from pipeline.sim.plays.deeds.floor_names import in_place, place_of
from pipeline.sim.plays.deeds.run import OFFENCE_BODIES, Run, Seen
from pipeline.sim.plays.deeds.spells import spells
from pipeline.sim.plays.paint_count import CROWD, PaintCount
from pipeline.sim.plays.stage import DT_S

CLEAR_EDGE_FT = 0.8
WAY_FT, STANDS_FT_S, ON_THE_WAY = (9.5, 7.0), (7.5, 5.0), 3
PUSHED_FT = (27.5, 28.2)
STALLED_S = (2.3, 2.65)
POST_S, STILL_FT = (1.8, 2.3), (8.0, 4.8)
WASTED_AFTER_S = 3.0
TWINS_FT, TWINS_S, PERIMETER_FT = (9.0, 7.5), (1.2, 1.75), (14.5, 17.0)
LEFT_EARLY_FT_S, THEN_STANDS_S, THEN_STANDS_FT_S = (3.0, 4.6), 0.6, 3.9
CURL_DEG, CURL_FT = (20.0, 38.0), (4.5, 7.5)
SIDE_V_FT, OVERLOAD_S = (1.2, 4.2), (1.5, 2.3)
HULL = (1.08, 0.92)
BALL_INSIDE_FT = 28.0
AFTER_STEPS = 40
"""So far beyond the shot a spell may be seen to last, doubtfully."""


def observe_faults(run: Run, seen: Sequence[Seen] = ()) -> tuple[Seen, ...]:
    """Faults of a run, in order of time; ``seen`` are its actions."""
    screens = [s for s in seen if s.kind == "on_ball_screen"]
    off_ball = [s for s in seen if s.kind == "off_ball_screen"]
    found = [
        *crowded_paint(run, seen), *screen_into_traffic(run, screens, off_ball, seen), *pushed_out_catch(run, seen),
        *stalled_ball(run), *still_post_up(run, seen), *wasted_cutter(run, off_ball, seen), *twins(run, seen),
        *dead_dribble_early(run, screens), *left_early(run, screens), *wide_curl(seen), *overloaded_side(run),
        *shrunk_spacing(run),
    ]  # fmt: skip
    return tuple(sorted(found, key=lambda s: (s.t_s, s.kind, s.roles)))


def _live(run: Run) -> int:
    return min(run.live, len(run.uv))


def crowded_paint(run: Run, seen: Sequence[Seen] = ()) -> Iterator[Seen]:
    """The worst judged moment of every drive into a crowd; doubtful ones where drive or corner is doubtful."""
    yield from _maybe_crowded(run, seen)
    for drive in run.drives:
        counts = [c for c in run.counts if c.drive == drive]
        crowded = [c for c in counts if c.count >= CROWD]
        if crowded:
            yield _crowd(run, max(crowded, key=lambda c: (c.edge_ft >= CLEAR_EDGE_FT, c.count, -c.moment)))
        elif any(c.most >= CROWD or (c.count >= CROWD - 2 and c.edge_ft < CLEAR_EDGE_FT) for c in counts):
            yield replace(_crowd(run, max(counts, key=lambda c: c.most)), certain=False)


def _maybe_crowded(run: Run, seen: Sequence[Seen]) -> Iterator[Seen]:
    """Crowds in ways to the ring that are hardly drives, and as a corner is turned without a drive."""
    for s in seen:
        if s.kind != "corner_turned" and (s.kind != "drive" or s.certain):
            continue
        handler = dict(s.roles)["handler"]
        a, b = run.step(s.start_s), run.step(max(s.end_s, s.t_s)) + 1
        if any(
            d.handler == handler and d.start <= run.step(s.t_s) < d.end and d.corner is not None for d in run.drives
        ):
            continue
        others = [k for k in range(10) if k != handler]
        counts = run.floor.in_paint(run.uv[a:b][:, others], margin_ft=CLEAR_EDGE_FT).sum(1)
        if counts.max() >= CROWD:
            k = a + int(counts.argmax())
            yield Seen(
                "crowded_paint", s.start_s, k * DT_S, s.end_s, (("handler", handler),), run.at(handler, k),
                {"count": float(counts.max())}, certain=False,
            )  # fmt: skip


def _crowd(run: Run, count: PaintCount) -> Seen:
    drive = count.drive
    roles = [("handler", drive.handler)]
    roles += [("attacker_in_paint" if o < 5 else "defender_in_paint", o) for o in count.others]
    attack = sum(1 for o in count.others if o < 5)
    measures = {
        "count": float(count.count),
        "peak_count": float(count.most),
        "attackers": float(attack),
        "defenders": float(len(count.others) - attack),
        "at_corner": float(count.kind == "corner"),
        "edge_ft": count.edge_ft,
    }
    return Seen(
        "crowded_paint", drive.start * DT_S, count.moment * DT_S, drive.end * DT_S, tuple(roles),
        run.at(drive.handler, count.moment), measures, certain=count.edge_ft >= CLEAR_EDGE_FT,
    )  # fmt: skip


def screen_into_traffic(
    run: Run, screens: Sequence[Seen], off_ball: Sequence[Seen], seen: Sequence[Seen]
) -> Iterator[Seen]:
    """Three or more who stand in the handler's way as he turns the corner, or a screen in the paint meanwhile."""
    for corner in (s for s in seen if s.kind == "corner_turned"):
        handler, screener = dict(corner.roles)["handler"], dict(corner.roles)["screener"]
        counts = [_on_the_way(run, handler, screener, run.step(corner.t_s), k) for k in (0, 1)]
        if counts[0] >= ON_THE_WAY:
            yield Seen(
                "screen_into_traffic", corner.t_s, corner.t_s, corner.t_s + 0.2,
                (("handler", handler), ("screener", screener)), corner.place_uv,
                {"bodies_on_the_way": float(counts[1])}, certain=counts[1] >= ON_THE_WAY and corner.certain,
            )  # fmt: skip
    for screen in screens:
        for other in off_ball:
            u, v = other.place_uv
            inside = bool(run.floor.in_paint(np.array([u, v]), margin_ft=3.0))
            overlaps = other.start_s < screen.end_s and other.end_s > screen.t_s - 0.6
            if not inside or not overlaps:
                continue
            sure = bool(run.floor.in_paint(np.array([u, v]), margin_ft=1.0)) and abs(other.t_s - screen.t_s) < 0.8
            yield Seen(
                "screen_into_traffic", screen.start_s, screen.t_s, screen.end_s,
                (("handler", dict(screen.roles)["handler"]), ("screener", dict(screen.roles)["screener"])),
                screen.place_uv, {"overlap_s": min(screen.end_s, other.end_s) - max(screen.start_s, other.start_s)},
                certain=sure and screen.certain and other.certain,
            )  # fmt: skip


def _on_the_way(run: Run, handler: int, screener: int, k: int, sure: int) -> int:
    p = run.uv[k, handler]
    ring = float(np.hypot(*p))
    count = 0
    for body in range(10):
        if body in (handler, screener):
            continue
        q = run.uv[k, body]
        along = float(q @ p) / max(ring, 1e-6)
        aside = abs(float(q[0] * p[1] - q[1] * p[0])) / max(ring, 1e-6)
        ahead = -1.0 < along < ring - (1.0 if sure else -1.0)
        count += int(ahead and aside <= WAY_FT[sure] and run.speed[k, body] <= STANDS_FT_S[sure])
    return count


def pushed_out_catch(run: Run, seen: Sequence[Seen]) -> Iterator[Seen]:
    """A return or wing catch too far out."""
    for p in (s for s in seen if s.kind == "pass"):
        far, u, v = p.measures["catch_ring_ft"], p.measures["catch_u_ft"], p.measures["catch_v_ft"]
        passer = dict(p.roles)["passer"]
        from_v = float(run.uv[run.step(p.start_s), passer, 1])
        wing = abs(v) >= 14 and not (from_v * v > 0 and abs(from_v) >= 14)
        maybe_wing = abs(v) >= 12
        returned = p.traits["returned"] == "yes"
        if far < PUSHED_FT[0] or not (returned or maybe_wing) or u <= run.floor.line_u_ft - 1:
            continue
        if run.step(p.t_s) < run.half_court or u > run.floor.half_court_u_ft:
            continue
        sure = far >= PUSHED_FT[1] and (returned or (wing and abs(v) > 15)) and u > run.floor.line_u_ft + 1
        yield Seen(
            "pushed_out_catch", p.start_s, p.t_s, p.end_s,
            (("receiver", dict(p.roles)["receiver"]), ("passer", passer)), p.place_uv,
            {"catch_ring_ft": far, "catch_above_line_ft": p.measures["catch_above_line_ft"]}, certain=sure,
        )  # fmt: skip


def stalled_ball(run: Run) -> Iterator[Seen]:
    """Held at the top or a slot without a dribble, then passed."""
    middle = [in_place(run, k, ("top", "slot")) for k in OFFENCE_BODIES]
    for hold in holds(run):
        after = next((s for s in run.spans if abs(s.start_s - hold.end_s) < 1e-6 and s.by == hold.body), None)
        if after is None or after.kind not in ("pass", "handoff"):
            continue
        for part in hold.parts:
            start = max(part.start_s, run.half_court * DT_S)
            still = part.end_s - start
            if part.kind != "hold" or still < STALLED_S[0]:
                continue
            a, b = run.step(start), run.step(part.end_s)
            share = float(middle[hold.body][a:b].mean())
            near = abs(run.uv[a, hold.body, 1]) < 16 and run.uv[a, hold.body, 0] > 17
            if share < 0.5 and not near:
                continue
            yield Seen(
                "stalled_ball", start, start, part.end_s, (("handler", hold.body),),
                run.at(hold.body, a), {"held_s": still},
                certain=still >= STALLED_S[1] and share > 0.95 and after.kind == "pass",
            )  # fmt: skip


def still_post_up(run: Run, seen: Sequence[Seen]) -> Iterator[Seen]:
    """A post-up in which the four others stand."""
    busy = [s for s in seen if s.kind == "off_ball_screen" or s.kind.endswith("_cut")]
    for p in (s for s in seen if s.kind == "post_up"):
        poster = dict(p.roles)["poster"]
        held = p.end_s - p.start_s
        if held < POST_S[0]:
            continue
        shot = next((x.start_s for x in run.spans if x.kind == "shot" and x.by == poster), p.end_s)
        a, b = run.step(p.start_s), run.step(min(p.end_s, shot))
        ways = [_way(run, k, a, b) for k in OFFENCE_BODIES if k != poster]
        two = round(2.0 / DT_S)
        calmest = min(
            max(_way(run, k, c, min(c + two, b)) for k in OFFENCE_BODIES if k != poster)
            for c in range(a, max(b - two, a) + 1, 5)
        )
        if calmest > STILL_FT[0]:
            continue
        moves = any(s.certain and s.start_s < p.end_s and s.end_s > p.start_s for s in busy)
        yield Seen(
            "post_up_without_movement", p.start_s, p.start_s, p.end_s, (("poster", poster),), p.place_uv,
            {"longest_way_ft": max(ways), "held_s": held},
            certain=p.certain and held >= POST_S[1] and max(ways) <= STILL_FT[1] and not moves,
        )  # fmt: skip


def _way(run: Run, body: int, a: int, b: int) -> float:
    """Length of a body's path between two steps."""
    return float(np.hypot(*np.diff(run.uv[a : b + 1, body], axis=0).T).sum())


def wasted_cutter(run: Run, off_ball: Sequence[Seen], seen: Sequence[Seen]) -> Iterator[Seen]:
    """A screener who then only goes to the corner."""
    for s in off_ball:
        screener = dict(s.roles)["screener"]
        k = run.step(s.t_s + WASTED_AFTER_S)
        if k >= _live(run) - 1:
            continue
        until = s.t_s + WASTED_AFTER_S
        corner = place_of(run, screener, k) == "corner"
        p = run.uv[k, screener]
        if not corner and not (abs(p[1]) > 16 and p[0] < 11):
            continue
        used = [
            o for o in seen
            if s.t_s + 0.4 < o.t_s < until + 0.6 and (
                (o.kind in ("on_ball_screen", "off_ball_screen") and screener in (o.body("screener"), o.body("cutter")))
                or (o.kind in ("pass", "handoff") and o.body("receiver") == screener)
            )
        ]  # fmt: skip
        if any(o.certain and o.t_s < until - 0.2 for o in used):
            continue
        deep = corner and run.floor.corner_v_ft - abs(p[1]) < 2.5 and p[0] < 7.5
        yield Seen(
            "wasted_cutter", s.t_s, s.t_s, until, (("screener", screener),), s.place_uv,
            {"way_ft": float(np.hypot(*np.diff(run.uv[run.step(s.t_s) : k + 1, screener], axis=0).T).sum())},
            certain=s.certain and deep and not used,
        )  # fmt: skip


def twins(run: Run, seen: Sequence[Seen]) -> Iterator[Seen]:
    """Two perimeter men too near to each other for too long."""
    steps = min(_live(run) + AFTER_STEPS, len(run.uv))
    for a, b in combinations(OFFENCE_BODIES, 2):
        gap = run.gap(a, b)[:steps]
        ring = np.minimum(run.ring(a), run.ring(b))[:steps]
        on = np.arange(steps) >= run.half_court
        loose = (gap <= TWINS_FT[0]) & (ring >= PERIMETER_FT[0]) & on
        sure = (gap <= TWINS_FT[1]) & (ring >= PERIMETER_FT[1]) & on & (np.arange(steps) < _live(run))
        for s, e in spells(loose, TWINS_S[0], bridge_s=0.2):
            inside = spells(sure[s:e], TWINS_S[1], bridge_s=0.1)
            reasons = [o for o in seen if _together(o, a, b)]
            busy = any(o.start_s - 1.0 < e * DT_S and o.end_s + 0.5 > s * DT_S for o in reasons)
            c, d = (s, e) if not inside else (s + inside[0][0], s + inside[-1][1])
            yield Seen(
                "twins", c * DT_S, c * DT_S, d * DT_S, (("player", a), ("player", b)), run.at(a, c),
                {"distance_ft": float(gap[c:d].mean()), "lasted_s": (d - c) * DT_S},
                certain=bool(inside) and not busy,
            )  # fmt: skip


def _together(seen: Seen, a: int, b: int) -> bool:
    """Whether an action explains why two stand near: a screen, handoff or cut with one of them."""
    bodies = {body for _, body in seen.roles if body < 5}
    if seen.kind in ("on_ball_screen", "off_ball_screen", "handoff"):
        return bodies >= {a, b}
    return seen.kind.endswith("_cut") and seen.certain and bool(bodies & {a, b})


def dead_dribble_early(run: Run, screens: Sequence[Seen]) -> Iterator[Seen]:
    """A ball screen for a man whose dribble is dead before the screener is set."""
    for s in screens:
        handler = dict(s.roles)["handler"]
        hold = next((h for h in holds(run) if h.body == handler and h.start_s <= s.t_s <= h.end_s + 0.1), None)
        if hold is None or not hold.dribbled:
            continue
        last, held = hold.after_dribble()
        if last >= s.t_s + 0.1 or held < 0.2:
            continue
        screener = dict(s.roles)["screener"]
        a = run.step(last - 0.3)
        b = run.step(s.t_s) + 25
        there = (run.speed[a:b, screener] <= 4.0) & (run.gap(screener, handler)[a:b] < 8.0)
        still = spells(there, 0.15)
        if not still:
            continue
        early = (a + still[0][0]) * DT_S - last
        if early < -0.1:
            continue
        yield Seen(
            "dead_dribble_early", last, s.t_s, s.end_s, (("handler", handler), ("screener", screener)), s.place_uv,
            {"early_s": max(early, 0.0)}, certain=s.certain and early > 0.35 and s.t_s - last > 0.8,
        )  # fmt: skip


def left_early(run: Run, screens: Sequence[Seen]) -> Iterator[Seen]:
    """The handler comes off the screen while the screener still moves; surely so where he stands just after."""
    for s in screens:
        screener = dict(s.roles)["screener"]
        speed = float(run.speed[run.step(s.t_s), screener])
        at_go = s.measures["screener_speed_ft_s"]
        slipped = s.traits["slipped"] == "yes"
        if min(speed, at_go) < LEFT_EARLY_FT_S[0]:
            continue
        after = run.speed[run.step(s.t_s) : run.step(s.t_s + THEN_STANDS_S) + 1, screener]
        stands = bool(spells(after <= THEN_STANDS_FT_S, 0.12))
        yield Seen(
            "left_early", s.start_s, s.t_s, s.end_s, (("handler", dict(s.roles)["handler"]), ("screener", screener)),
            s.place_uv, {"screener_speed_ft_s": speed},
            certain=s.certain and not slipped and stands and min(speed, at_go) >= LEFT_EARLY_FT_S[1],
        )  # fmt: skip


def wide_curl(seen: Sequence[Seen]) -> Iterator[Seen]:
    """A curl off a trailing defender that is wide or does not point at the ring."""
    for z in (s for s in seen if s.kind == "zipper_cut" and s.traits["end"] in ("curl", "unknown")):
        off, radius = z.measures["turn_off_ring_deg"], z.measures["turn_radius_ft"]
        wide = [off > CURL_DEG[k] or (not np.isnan(radius) and radius > CURL_FT[k]) for k in (0, 1)]
        if not wide[0] or z.traits["defender_trails"] == "no":
            continue
        if not z.certain and (z.traits["off_screen"] == "no" or np.isnan(radius)):
            continue
        sure = z.certain and wide[1] and z.traits["end"] == "curl" and z.traits["defender_trails"] == "yes"
        yield Seen(
            "wide_curl", z.start_s, z.t_s, z.end_s, (("cutter", dict(z.roles)["cutter"]),), z.place_uv,
            {"off_ring_deg": off, "radius_ft": radius}, certain=sure,
        )  # fmt: skip


def overloaded_side(run: Run) -> Iterator[Seen]:
    """Four or more attackers on the ball's side."""
    steps = _live(run)
    side = _ball_side(run, steps)
    v = run.uv[:steps, :5, 1] * side[:, None]
    on = (np.arange(steps) >= run.half_court) & (side != 0)
    loose = on & ((v >= SIDE_V_FT[0]).sum(1) >= 4)
    sure = on & ((v >= SIDE_V_FT[1]).sum(1) >= 4)
    for s, e in spells(loose, OVERLOAD_S[0], bridge_s=0.2):
        inside = spells(sure[s:e], OVERLOAD_S[1])
        a, b = (s, e) if not inside else (s + inside[0][0], s + inside[-1][1])
        held = [int(h) for h in run.holder[a:b] if 0 <= h < 5]
        h = max(dict.fromkeys(held), key=held.count) if held else -1  # who has the ball longest
        yield Seen(
            "overloaded_side", a * DT_S, a * DT_S, b * DT_S, (("handler", h),) if held else (),
            run.at(max(h, 0), a), {"count": float((v[a:b] >= SIDE_V_FT[0]).sum(1).max()), "lasted_s": (b - a) * DT_S},
            certain=bool(inside),
        )  # fmt: skip


def _ball_side(run: Run, steps: int) -> np.ndarray:
    """(T,) sign of the ball's side: beyond 6 ft its own, in the middle the one it last left."""
    side, now = np.zeros(steps), 0.0
    for k in range(steps):
        h = run.holder[k]
        if 0 <= h < 5 and abs(run.uv[k, h, 1]) > 6:
            now = float(np.sign(run.uv[k, h, 1]))
        side[k] = now
    return side


def shrunk_spacing(run: Run) -> Iterator[Seen]:
    """Less floor between the attackers than between the defenders as the ball first comes inside 28 ft."""
    steps = _live(run)
    for k in range(max(run.half_court, 0), steps):
        h = run.holder[k]
        if 0 <= h < 5 and float(np.hypot(*run.uv[k, h])) < BALL_INSIDE_FT:
            attack, defence = _hull(run.uv[k, :5]), _hull(run.uv[k, 5:10])
            ratio = attack / max(defence, 1.0)
            if ratio < HULL[0]:
                yield Seen(
                    "shrunk_spacing", k * DT_S, k * DT_S, k * DT_S + 0.2, (("handler", int(h)),), run.at(int(h), k),
                    {"attack_hull_ft2": attack, "defence_hull_ft2": defence}, certain=ratio < HULL[1],
                )  # fmt: skip
            return


def _hull(points: np.ndarray) -> float:
    try:
        return float(ConvexHull(points).volume)
    except QhullError:
        return 0.0
