"""Ball events and what a man does with the ball, from the ball's own story and exact paths."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from pipeline.sim.plays.deeds.floor_names import place_of, places_of
from pipeline.sim.plays.deeds.run import OFFENCE_BODIES, Run, Seen
from pipeline.sim.plays.stage import DT_S, BallSpan

DEAD_S = (0.6, 0.8)
"""A dribble is dead when the ball is held so long after it: doubtful from the first, certain from the second."""
HANDOFF_FT = 6.0
"""Farther apart it may as well be called a short pass."""
SKIP_FT = 25.0
KICK_FROM_FT, KICK_TO_FT = 14.0, 19.0
DRIVE_LENGTH_FT = (7.0, 9.0)
ISOLATION_S = (2.2, 3.0)
ISOLATION_MATE_FT = (11.0, 13.0)


@dataclass(frozen=True, slots=True)
class Hold:
    """One attacker's hold with the dribbles in it."""

    body: int
    start_s: float
    end_s: float
    parts: tuple[BallSpan, ...]

    @property
    def dribbled(self) -> bool:
        """Whether he put the ball on the floor."""
        return any(p.kind == "dribble" for p in self.parts)

    def still_s(self) -> float:
        """Longest time without a dribble."""
        return max((p.end_s - p.start_s for p in self.parts if p.kind == "hold"), default=0.0)

    def after_dribble(self) -> tuple[float, float]:
        """When the last dribble ended, and how long the ball was held after it."""
        last = max((p.end_s for p in self.parts if p.kind == "dribble"), default=self.end_s)
        return last, self.end_s - last


def holds(run: Run) -> list[Hold]:
    """The attackers' holds in order, until the ball is dead."""
    found: list[Hold] = []
    for span in run.spans:
        if span.kind not in ("hold", "dribble") or span.by not in OFFENCE_BODIES or span.start_s >= run.live * DT_S:
            continue
        joined = found and found[-1].body == span.by and abs(found[-1].end_s - span.start_s) < 1e-6
        if joined:
            last = found.pop()
            found.append(Hold(span.by, last.start_s, span.end_s, (*last.parts, span)))
        else:
            found.append(Hold(span.by, span.start_s, span.end_s, (span,)))
    return found


def ball_events(run: Run, denials: tuple[Seen, ...]) -> Iterator[Seen]:
    """Touches, dead dribbles, passes, handoffs, shots, rebounds and turnovers."""
    story = holds(run)
    for hold in story:
        yield _touch(run, hold)
        dead = _dead_dribble(run, hold)
        if dead is not None:
            yield dead
    passers: set[int] = set()
    for span in run.spans:
        if span.kind == "pass" and span.to in OFFENCE_BODIES and span.by in OFFENCE_BODIES and _live(run, span):
            yield _pass(run, span, passers, denials)
            passers.add(span.by)
        elif span.kind == "handoff" and _live(run, span):
            given = _handoff(run, span)
            yield given
            if not given.certain:
                yield replace(_pass(run, span, passers, denials), certain=False)
        elif span.kind == "shot":
            yield _shot(run, span)
        elif span.kind == "loose" and span.to is not None and not span.made:
            yield _rebound(run, span)
        elif span.kind == "stolen" and span.to is not None:
            yield _turnover(run, span)


def _live(run: Run, span: BallSpan) -> bool:
    return span.end_s <= run.live * DT_S + 1e-6


def _guard_role(run: Run, body: int, step: int, role: str) -> tuple[tuple[str, int], ...]:
    return ((role, int(run.guard[min(step, len(run.guard) - 1), body])),)


def _touch(run: Run, hold: Hold) -> Seen:
    a = run.step(hold.start_s)
    return Seen(
        "touch", hold.start_s, hold.start_s, hold.end_s,
        (("handler", hold.body), *_guard_role(run, hold.body, a, "on_ball_defender")),
        run.at(hold.body, a),
        {
            "held_s": hold.end_s - hold.start_s,
            "still_s": hold.still_s(),
            "ring_distance_ft": float(run.ring(hold.body)[a]),
            "catch_speed_ft_s": float(run.speed[a, hold.body]),
        },
        {"place": place_of(run, hold.body, a), "dribbled": "yes" if hold.dribbled else "no"},
        certain=hold.end_s - hold.start_s >= 0.3,
    )  # fmt: skip


def _dead_dribble(run: Run, hold: Hold) -> Seen | None:
    last, held = hold.after_dribble()
    if not hold.dribbled or held < DEAD_S[0]:
        return None
    k = run.step(last)
    return Seen(
        "dead_dribble", last, last, hold.end_s,
        (("handler", hold.body), *_guard_role(run, hold.body, k, "on_ball_defender")),
        run.at(hold.body, k),
        {"held_s": held, "ring_distance_ft": float(run.ring(hold.body)[k])},
        {"place": place_of(run, hold.body, k)},
        certain=held >= DEAD_S[1],
    )  # fmt: skip


def _pass(run: Run, span: BallSpan, passers: set[int], denials: tuple[Seen, ...]) -> Seen:
    assert span.to is not None
    a, b = run.step(span.start_s), run.step(span.end_s)
    start, end = run.uv[a, span.by], run.uv[b, span.to]
    denied = any(
        d.body("receiver") == span.to and d.start_s <= span.start_s and d.end_s >= span.start_s - 1.0 and d.certain
        for d in denials
    )
    maybe = any(d.body("receiver") == span.to and d.end_s >= span.start_s - 2.0 for d in denials)
    return Seen(
        "pass", span.start_s, span.end_s, span.end_s, (("passer", span.by), ("receiver", span.to)),
        run.at(span.to, b),
        {
            "length_ft": float(np.hypot(*(end - start))),
            "flight_s": span.end_s - span.start_s,
            "from_ring_ft": float(np.hypot(*start)),
            "catch_ring_ft": float(np.hypot(*end)),
            "catch_above_line_ft": float(end[0]) - run.floor.line_u_ft,
            "catch_u_ft": float(end[0]),
            "catch_v_ft": float(end[1]),
            "receiver_gap_ft": run.nearest_defender(span.to, b)[1],
        },
        {
            "type": _pass_type(run, span, a, b),
            "returned": "yes" if span.to in passers else "no",
            "denied": "yes" if denied else ("unknown" if maybe else "no"),
            "from_place": place_of(run, span.by, a),
            "to_place": place_of(run, span.to, b),
        },
    )  # fmt: skip


def _pass_type(run: Run, span: BallSpan, a: int, b: int) -> str:
    """By geometry; the most telling name first."""
    assert span.to is not None
    start, end = run.uv[a, span.by], run.uv[b, span.to]
    from_places, to_places = places_of(run, span.by, a), places_of(run, span.to, b)
    from_ring, to_ring = float(np.hypot(*start)), float(np.hypot(*end))
    edge = run.floor.half_lane_ft
    beside = abs(abs(end[1]) - run.floor.half_lane_ft) <= 4.0 and -1 < end[0] < run.floor.line_u_ft - 1.5
    if (beside or to_places & {"block", "short_corner"}) and from_ring > 12 and run.speed[b, span.to] < 7:
        return "post_entry"
    crosses = start[1] * end[1] < 0 and min(abs(start[1]), abs(end[1])) > edge
    if crosses and float(np.hypot(*(end - start))) > SKIP_FT:
        return "skip"
    if from_ring < KICK_FROM_FT and to_ring > KICK_TO_FT:
        return "kick_out"
    if to_places & {"top", "slot"} and from_places & {"wing", "corner", "short_corner"}:
        return "reversal"
    side = _side_before(run, a)
    if from_places & {"top", "slot"} and side * end[1] < 0 and abs(end[1]) > 14 and side != 0:
        return "reversal"
    if to_places & {"wing"} and from_places & {"top", "slot"}:
        return "wing_entry"
    return "other"


def _side_before(run: Run, step: int) -> float:
    """The side (sign of v) on which the ball last was beyond 14 ft from the middle, 0 for none."""
    for k in range(step, -1, -1):
        h = run.holder[k]
        if 0 <= h < 5 and abs(run.uv[k, h, 1]) > 14 and run.uv[k, h, 0] < run.floor.half_court_u_ft:
            return float(np.sign(run.uv[k, h, 1]))
    return 0.0


def _handoff(run: Run, span: BallSpan) -> Seen:
    assert span.to is not None
    a, b = run.step(span.start_s), run.step(span.end_s)
    dribbled = any(
        s.kind == "dribble" and s.by == span.by and span.start_s - 0.6 <= s.end_s <= span.start_s + 1e-6
        for s in run.spans
    )
    return Seen(
        "handoff", span.start_s, span.end_s, span.end_s,
        (
            ("giver", span.by), ("receiver", span.to), *_guard_role(run, span.by, a, "giver_defender"),
            *_guard_role(run, span.to, a, "receiver_defender"),
        ),
        run.at(span.to, b),
        {
            "gap_ft": float(run.gap(span.by, span.to)[b]),
            "flight_s": span.end_s - span.start_s,
            "giver_speed_ft_s": float(run.speed[a, span.by]),
            "receiver_speed_ft_s": float(run.speed[b, span.to]),
            "ring_distance_ft": float(run.ring(span.to)[b]),
        },
        {"place": place_of(run, span.to, b), "giver_dribbled": "yes" if dribbled else "no"},
        certain=float(run.gap(span.by, span.to)[b]) <= HANDOFF_FT,
    )  # fmt: skip


def _shot(run: Run, span: BallSpan) -> Seen:
    a = run.step(span.start_s)
    defender, gap = run.nearest_defender(span.by, a)
    return Seen(
        "shot", span.start_s, span.start_s, span.end_s, (("shooter", span.by), ("shooter_defender", defender)),
        run.at(span.by, a),
        {"ring_distance_ft": float(run.ring(span.by)[a]), "shooter_gap_ft": gap},
        {"place": place_of(run, span.by, a), "made": "yes" if span.made else "no"},
    )  # fmt: skip


def _rebound(run: Run, span: BallSpan) -> Seen:
    assert span.to is not None
    b = run.step(span.end_s)
    return Seen(
        "rebound", span.start_s, span.end_s, span.end_s, (("rebounder", span.to),), run.at(span.to, b),
        {"ring_distance_ft": float(run.ring(span.to)[b])}, {"by": "attack" if span.to < 5 else "defence"},
    )  # fmt: skip


def _turnover(run: Run, span: BallSpan) -> Seen:
    assert span.to is not None
    a = run.step(span.start_s)
    return Seen(
        "turnover", span.start_s, span.start_s, span.end_s, (("loser", span.by), ("taker", span.to)),
        run.at(span.by, a), {}, {"place": place_of(run, span.by, a)},
    )  # fmt: skip


# ---- with the ball ---------------------------------------------------------------------------------------------------


def drives(run: Run, screens: tuple[Seen, ...]) -> Iterator[Seen]:
    """Drives of ``paint_count.find_drives`` with their measures."""
    for d in run.drives:
        if d.start >= run.live or d.end <= run.half_court:
            continue
        if d.start < run.half_court:
            d = replace(d, start=run.half_court)
        end = _comes_nearer_until(run, d.handler, d.end)
        ring = run.ring(d.handler)[d.start : end]
        low = int(np.argmin(ring))
        speed = run.speed[d.start : d.start + max(low, 1) + 1, d.handler]
        started = d.start * DT_S
        off = [s for s in screens if s.body("handler") == d.handler and -1.0 <= started - s.t_s <= 2.0]
        word = "no" if not off else ("yes" if any(s.certain for s in off) else "unknown")
        gain = float(ring[0] - ring.min())
        moment = d.entry if d.entry is not None else min(end, len(run.uv) - 1)
        yield Seen(
            "drive", started, started, end * DT_S,
            (("handler", d.handler), *_guard_role(run, d.handler, d.start, "on_ball_defender")),
            run.at(d.handler, moment),
            {
                "gain_ft": gain,
                "mean_speed_ft_s": float(speed.mean()),
                "top_speed_ft_s": float(speed.max()),
                "starts_at_ft": float(ring[0]),
                "ends_at_ft": float(ring.min()),
                "paint_entry_s": d.entry * DT_S if d.entry is not None else float("nan"),
            },
            {"off_screen": word},
            certain=gain >= DRIVE_LENGTH_FT[1] and float(ring.min()) <= 13.0,
        )  # fmt: skip


def _goes_himself(run: Run, hold: Hold) -> bool:
    """Whether a hold ends with his own shot or drive."""
    shoots = any(s.kind == "shot" and s.by == hold.body and abs(s.start_s - hold.end_s) < 1.5 for s in run.spans)
    return shoots or any(d.handler == hold.body and hold.start_s <= d.start * DT_S <= hold.end_s for d in run.drives)


def loose_drives(run: Run, found: list[Seen]) -> Iterator[Seen]:
    """Ways to the ring with the ball that are slower or more crooked than a drive: doubtful."""
    for hold in holds(run):
        a, b = max(run.step(hold.start_s), run.half_court), run.step(min(hold.end_s, run.live * DT_S))
        if b - a < 15:
            continue
        ring = run.ring(hold.body)
        low = a + int(np.argmin(ring[a : b + 1]))
        high = a + int(np.argmax(ring[a : low + 1]))
        if ring[high] - ring[low] < 6.5 or ring[low] > 15.5:
            continue
        # from its last moment without a way to the ring
        slow = np.flatnonzero(np.gradient(ring, DT_S)[high : low + 1] > -2.0)
        start = high + int(slow[slow < max(low - high - 20, 1)][-1]) if (slow < max(low - high - 20, 1)).any() else high
        told = any(f.body("handler") == hold.body and f.start_s < low * DT_S and f.end_s > high * DT_S for f in found)
        if told:
            continue
        yield Seen(
            "drive", start * DT_S, start * DT_S, low * DT_S,
            (("handler", hold.body), *_guard_role(run, hold.body, start, "on_ball_defender")),
            run.at(hold.body, low),
            {
                "gain_ft": float(ring[start] - ring[low]),
                "starts_at_ft": float(ring[start]),
                "ends_at_ft": float(ring[low]),
            },
            {"off_screen": "unknown"}, certain=False,
        )  # fmt: skip


def _comes_nearer_until(run: Run, handler: int, step: int) -> int:
    """From a drive's last fast step on: until he has the ball no longer or comes no nearer to the ring (2 ft/s)."""
    ring = run.ring(handler)
    while step < run.live - 1 and run.holder[step] == handler and ring[step - 1] - ring[step] > 2.0 * DT_S:
        step += 1
    return step


def isolations(run: Run) -> Iterator[Seen]:
    """A man alone with the ball and his defender for some time, mates well away."""
    meant = [d for d in run.deeds if d.kind == "isolation"]
    for hold in holds(run):
        a, b = run.step(hold.start_s), run.step(min(hold.end_s, run.live * DT_S))
        if (b - a) * DT_S < ISOLATION_S[0] or run.half_court >= b:
            continue
        a = max(a, run.half_court)
        first, last = a, b
        said = next((d for d in meant if d.roles[0][1] == hold.body and d.start_s < hold.end_s), None)
        if said is not None:
            a, b = max(a, run.step(said.start_s)), min(b, run.step(said.end_s))
        mates = [k for k in OFFENCE_BODIES if k != hold.body]
        nearest = np.min([run.gap(hold.body, k)[a:b] for k in mates], axis=0)
        clear = np.flatnonzero(nearest >= ISOLATION_MATE_FT[0])
        if len(clear) * DT_S < ISOLATION_S[0]:
            continue
        if said is None and not _goes_himself(run, hold):
            continue
        sure = said is not None
        sure &= float(np.quantile(nearest, 0.05)) >= ISOLATION_MATE_FT[1] and (b - a) * DT_S >= ISOLATION_S[1]
        yield Seen(
            "isolation", first * DT_S, first * DT_S, last * DT_S,
            (("handler", hold.body), *_guard_role(run, hold.body, a, "on_ball_defender")),
            run.at(hold.body, a),
            {"held_s": (last - first) * DT_S, "nearest_teammate_ft": float(nearest.min())},
            {"place": place_of(run, hold.body, a)},
            certain=sure,
        )  # fmt: skip
