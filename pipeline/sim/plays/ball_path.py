"""The ball's path in space, from who had it when and where they were."""

from __future__ import annotations

import numpy as np

from pipeline.sim.plays.stage import DT_S, BallSpan, Stage

GRAVITY_FT_S2 = 32.17
BALL_RADIUS_FT = 0.39
HOLD_HEIGHT_FT, HOLD_REACH_FT = 3.9, 1.15
_RELEASE_FT = {"chest_pass": 4.4, "overhead_pass": 7.0, "jump_shot": 8.1, "lay_up": 8.4, "free_throw": 7.6, "": 3.6}


def ball_path(
    stage: Stage, uv: np.ndarray, facing_rad: np.ndarray, hand: np.ndarray, jump_ft: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Ball centre (T, 3) in the attack frame, and whether it is held between the hands (T,).

    Parameters
    ----------
    stage : Stage
        After its run.
    uv : ndarray of shape (T, 13, 2)
    facing_rad : ndarray of shape (T, 13)
    hand : ndarray of shape (T,)
        +1 dribbles with the right hand, -1 with the left.
    jump_ft : ndarray of shape (T, 13)
    """
    steps = len(uv)
    path = np.full((steps, 3), np.nan)
    in_hands = np.zeros(steps, dtype=bool)
    ahead = np.stack([np.cos(facing_rad), np.sin(facing_rad)], -1)
    right = np.stack([np.sin(facing_rad), -np.cos(facing_rad)], -1)

    def hands(body: int, k: int, height: float = HOLD_HEIGHT_FT) -> np.ndarray:
        k = min(k, steps - 1)
        return np.array([*(uv[k, body] + HOLD_REACH_FT * ahead[k, body]), height + jump_ft[k, body]])

    for number, span in enumerate(stage.spans):
        a, b = round(span.start_s / DT_S), min(round(span.end_s / DT_S), steps - 1)
        if b <= a:
            continue
        ks = np.arange(a, b + 1)
        t = (ks - a) * DT_S
        total = span.end_s - span.start_s
        if span.kind == "hold":
            held = np.array([hands(span.by, int(k)) for k in ks])
            if a > 0 and not np.isnan(path[a, 0]):
                # what was caught high or far out comes to the chest
                held = held + (path[a] - held[0]) * np.clip(1 - t / 0.3, 0.0, 1.0)[:, None] ** 2
            after = stage.spans[number + 1] if number + 1 < len(stage.spans) else None
            if after is not None and after.kind in ("pass", "stolen", "shot") and after.by == span.by:
                # it rises to where it will leave the hands
                rise = 0.42 if after.kind == "shot" else 0.2
                share = np.clip((t - (total - rise)) / rise, 0.0, 1.0) ** 1.5
                held[:, 2] += (_RELEASE_FT[after.style] - HOLD_HEIGHT_FT) * share
            path[ks] = held
            in_hands[ks] = True
        elif span.kind == "dribble":
            path[ks] = _dribble(span, ks, t, total, uv, ahead, right, hand)
        elif span.kind in ("pass", "handoff", "stolen"):
            assert span.to is not None
            start = hands(span.by, a, _RELEASE_FT[span.style])
            end = hands(span.to, b, 4.3 if span.kind != "handoff" else 3.6)
            path[ks] = flight(start, end, t, total)
            in_hands[ks] = False
        elif span.kind == "shot":
            start = hands(span.by, a, _RELEASE_FT[span.style])
            ring = np.array([0.0, 0.0, stage.floor.ring_height_ft + 0.05])
            if not span.made:
                ring = ring + _rim_hit(span)
            path[ks] = flight(start, ring, t, total)
            in_hands[ks] = False
        elif span.kind == "loose":
            assert span.to is not None
            end = hands(span.to, b, 4.0 if span.made else 7.2)
            if span.made:
                path[ks] = _through_net(stage.floor.ring_height_ft, end, t, total)
            else:
                previous = path[a] if not np.isnan(path[a, 0]) else np.array([0, 0, stage.floor.ring_height_ft])
                path[ks] = flight(previous, end, t, total)
            in_hands[ks] = False
    return _filled(path), in_hands


def flight(start: np.ndarray, end: np.ndarray, t_s: np.ndarray, total_s: float) -> np.ndarray:
    """Free flight from start to end in ``total_s``; points (N, 3) at ``t_s``."""
    lift = (end[2] - start[2]) / total_s + 0.5 * GRAVITY_FT_S2 * total_s
    share = (t_s / total_s)[:, None]
    flat = start[:2] + (end[:2] - start[:2]) * share
    return np.column_stack([flat, start[2] + lift * t_s - 0.5 * GRAVITY_FT_S2 * t_s**2])


def _dribble(
    span: BallSpan,
    ks: np.ndarray,
    t: np.ndarray,
    total: float,
    uv: np.ndarray,
    ahead: np.ndarray,
    right: np.ndarray,
    hand: np.ndarray,
) -> np.ndarray:
    bounces = max(round(total / 0.56), 1)
    beat = t / total * bounces
    top = 2.75
    height = BALL_RADIUS_FT + (top - BALL_RADIUS_FT) * np.abs(np.cos(np.pi * beat)) ** 0.85
    ease = np.clip(np.minimum(t, total - t) / 0.16, 0.0, 1.0)
    side = np.convolve(np.pad(hand[ks], 9, mode="edge"), np.ones(19) / 19, mode="valid")
    lateral = (0.95 * side * ease)[:, None]
    forward = (HOLD_REACH_FT * (1 - ease) + 0.85 * ease)[:, None]
    at = uv[ks, span.by] + forward * ahead[ks, span.by] + lateral * right[ks, span.by]
    lifted = HOLD_HEIGHT_FT * (1 - ease) + height * ease
    return np.column_stack([at, lifted])


def _rim_hit(span: BallSpan) -> np.ndarray:
    """Where on the rim a miss strikes, fixed by the moment of release."""
    angle = (span.start_s * 7.3) % (2 * np.pi)
    return np.array([0.72 * np.cos(angle), 0.72 * np.sin(angle), 0.35])


def _through_net(ring_ft: float, end: np.ndarray, t: np.ndarray, total: float) -> np.ndarray:
    """Through the net, down, a bounce, into the hands."""
    height = np.empty(len(t))
    z, v = ring_ft, -6.5
    for k in range(len(t)):
        height[k] = z
        falls = GRAVITY_FT_S2 if z < ring_ft - 1.5 else 3.0
        v -= falls * DT_S
        z += v * DT_S
        if z < BALL_RADIUS_FT:
            z, v = BALL_RADIUS_FT, -v * 0.62
    share = np.clip((t - 0.3) / max(total - 0.3, 1e-6), 0.0, 1.0)
    flat = end[:2] * share[:, None]
    ease = np.clip((t - (total - 0.25)) / 0.25, 0.0, 1.0)
    return np.column_stack([flat, height * (1 - ease) + end[2] * ease])


def _filled(path: np.ndarray) -> np.ndarray:
    """Steps without a story keep the last known place."""
    known = np.flatnonzero(~np.isnan(path[:, 0]))
    if not len(known):
        return np.nan_to_num(path)
    steps = np.arange(len(path))
    return np.column_stack([np.interp(steps, known, path[known, c]) for c in range(3)])
