"""Which way bodies face and which pose they are in, from how they move and what they do."""

from __future__ import annotations

from dataclasses import dataclass
from typing import get_args

import numpy as np

from pipeline.sim.bodies.gait import stride_ft
from pipeline.sim.plays.motion import smooth, turn_towards
from pipeline.sim.plays.stage import BODIES, DT_S, Stage
from pipeline.sim.scene import Pose

POSES: tuple[str, ...] = get_args(Pose)
_INDEX = {name: k for k, name in enumerate(POSES)}
SHORTEST_S = 0.26
BLEND_S = 0.2
_DENY, _POST = 1, 2


@dataclass(frozen=True, slots=True, eq=False)
class Posed:
    """Facing, poses and jumps of all bodies; arrays of shape (T, 13), ``hand`` (T,): +1 right, -1 left."""

    facing_rad: np.ndarray
    pose: np.ndarray
    pose_from: np.ndarray
    blend: np.ndarray
    phase: np.ndarray
    jump_ft: np.ndarray
    hand: np.ndarray

    def mirrored(self) -> tuple[np.ndarray, np.ndarray]:
        """Poses as seen in a mirror: the other hand dribbles."""
        table = np.arange(len(POSES), dtype=np.int8)
        left, right = _INDEX["dribble_left"], _INDEX["dribble_right"]
        table[left], table[right] = right, left
        return table[self.pose], table[self.pose_from]


def pose_paths(stage: Stage, uv: np.ndarray, holder: np.ndarray, start_facing: np.ndarray | None = None) -> Posed:
    """Work out facing and poses over a possession.

    Parameters
    ----------
    stage : Stage
        After its run.
    uv : ndarray of shape (T, 13, 2)
        Smoothed paths.
    holder : ndarray of int, shape (T,)
    start_facing : ndarray of shape (13,), optional
        Facing at the first step; else where they want to look.
    """
    steps = len(uv)
    velocity = np.gradient(uv, DT_S, axis=0)
    speed = np.hypot(velocity[..., 0], velocity[..., 1])
    slow = smooth(speed, 5.0)
    ball = np.array([_ball_at(stage, uv, holder, k) for k in range(steps)])
    looks = np.array(stage.looks)
    codes = np.array(stage.duty_path)
    facing = _facing(uv, velocity, slow, ball, looks, codes, holder, start_facing)
    hand = _hand(uv, facing, holder)
    pose = _base_poses(uv, velocity, slow, facing, ball, codes, holder, hand, stage)
    travelled = np.cumsum(speed * DT_S / stride_ft(slow), axis=0)
    phase = (travelled + np.arange(BODIES) * 0.31) % 1.0
    jump = np.zeros((steps, BODIES))
    pose = _debounced(pose)
    phase[pose == _INDEX["catch"]] = 1.0  # the end of a catch: ball at the chest
    for span in stage.poses:
        a, b = round(span.start_s / DT_S), min(round(span.end_s / DT_S), steps)
        if b <= a:
            continue
        progress = (np.arange(a, b) * DT_S - span.start_s) / (span.end_s - span.start_s)
        pose[a:b, span.body] = _INDEX[span.pose]
        phase[a:b, span.body] = np.clip(progress, 0.0, 1.0)
        if span.jump_ft > 0:
            at = np.arange(a, b) * DT_S - (span.start_s + span.jump_at * (span.end_s - span.start_s))
            jump[a:b, span.body] = span.jump_ft * np.maximum(1 - (2 * at / span.jump_s) ** 2, 0.0)
    pose_from, blend = _blends(pose)
    return Posed(facing, pose.astype(np.int8), pose_from.astype(np.int8), blend, phase, jump, hand)


def _ball_at(stage: Stage, uv: np.ndarray, holder: np.ndarray, k: int) -> np.ndarray:
    return uv[k, holder[k]] if holder[k] >= 0 else stage.ball_path[min(k, len(stage.ball_path) - 1)]


def _facing(
    uv: np.ndarray,
    velocity: np.ndarray,
    speed: np.ndarray,
    ball: np.ndarray,
    looks: np.ndarray,
    codes: np.ndarray,
    holder: np.ndarray,
    start: np.ndarray | None,
) -> np.ndarray:
    """Facing angles, shape (T, 13), in the attack frame (0 looks along +u)."""
    steps = len(uv)
    facing = np.empty((steps, BODIES))
    run_from = np.array([6.5] * 5 + [9.5] * 5 + [9.0] * 3)
    current = start
    for k in range(steps):
        at = uv[k]
        look = ball[k] - at
        for d in range(5, 10):
            man = uv[k, codes[k, 1, d - 5]] - at[d]
            here = np.hypot(*man)
            if codes[k, 0, d - 5] == _DENY or codes[k, 1, d - 5] == holder[k]:
                look[d] = man
            else:
                to_ball = look[d]
                look[d] = man / max(here, 1e-6) * 0.45 + to_ball / max(np.hypot(*to_ball), 1e-6) * 0.55
        if 0 <= holder[k] < 10:
            look[holder[k]] = -at[holder[k]]
        given = ~np.isnan(looks[min(k, len(looks) - 1), :, 0])
        look[given] = looks[min(k, len(looks) - 1)][given] - at[given]
        size = np.maximum(np.hypot(look[:, 0], look[:, 1]), 1e-6)[:, None]
        way = velocity[k] / np.maximum(speed[k], 1e-6)[:, None]
        share = np.clip((speed[k] - run_from) / 3.5, 0.0, 1.0)[:, None]
        share = np.where(given[:, None] & (speed[k][:, None] < 12), share * 0.3, share)
        both = look / size * (1 - share) + way * share
        wanted = np.arctan2(both[:, 1], both[:, 0])
        current = wanted if current is None else turn_towards(current, wanted, 7.5, DT_S)
        facing[k] = current
    return facing


def _hand(uv: np.ndarray, facing: np.ndarray, holder: np.ndarray) -> np.ndarray:
    """The dribbling hand: away from the nearest defender, changed seldom."""
    hand = np.ones(len(uv))
    current, since = 1.0, 0
    for k in range(len(uv)):
        h = holder[k]
        if 0 <= h < 5 and k - since > 45:
            rel = uv[k, 5:10] - uv[k, h]
            near = rel[np.argmin(np.hypot(rel[:, 0], rel[:, 1]))]
            right = np.array([np.sin(facing[k, h]), -np.cos(facing[k, h])])
            wanted = -1.0 if near @ right > 0.6 else (1.0 if near @ right < -0.6 else current)
            if wanted != current:
                current, since = wanted, k
        hand[k] = current
    return hand


def _base_poses(
    uv: np.ndarray, velocity: np.ndarray, speed: np.ndarray, facing: np.ndarray, ball: np.ndarray, codes: np.ndarray,
    holder: np.ndarray, hand: np.ndarray, stage: Stage,
) -> np.ndarray:  # fmt: skip
    steps = len(uv)
    way = np.arctan2(velocity[..., 1], velocity[..., 0])
    off = np.abs((way - facing + np.pi) % (2 * np.pi) - np.pi)
    pose = np.full((steps, BODIES), _INDEX["stand"])
    pose[speed > 1.4] = _INDEX["walk"]
    pose[speed > 5.2] = _INDEX["jog"]
    pose[speed > 11.5] = _INDEX["run"]
    back = (off > 2.2) & (speed > 1.4) & (speed < 11)
    pose[back] = _INDEX["backpedal"]
    defend = np.zeros_like(back)
    defend[:, 5:10] = uv[:, 5:10, 0] < 34
    side = (off > 0.8) & (off <= 2.2) & (speed > 1.4) & (speed < 11)
    pose[side & defend] = _INDEX["slide"]
    still = speed <= 1.4
    near_ball = np.hypot(*np.moveaxis(uv - ball[:, None], -1, 0)) < 22
    pose[still & defend & near_ball] = _INDEX["stance"]
    for d in range(5, 10):
        deny = (codes[:, 0, d - 5] == _DENY) & (speed[:, d] < 5)
        pose[deny, d] = _INDEX["deny"]
        post = (codes[:, 0, d - 5] == _POST) & (speed[:, d] < 4)
        pose[post, d] = _INDEX["post_defend"]
    dribbling = np.zeros(steps, dtype=bool)
    for span in stage.spans:
        if span.kind == "dribble":
            dribbling[round(span.start_s / DT_S) : round(span.end_s / DT_S) + 1] = True
    for k in np.flatnonzero(holder >= 0):
        h = holder[k]
        if dribbling[k]:
            name = "drive" if speed[k, h] > 11 else ("dribble_right" if hand[k] > 0 else "dribble_left")
            pose[k, h] = _INDEX[name]
        elif speed[k, h] < 3:
            pose[k, h] = _INDEX["catch"]
    return pose


def _debounced(pose: np.ndarray) -> np.ndarray:
    """Pose changes that last shorter than ``SHORTEST_S`` are left out."""
    out = pose.copy()
    shortest = round(SHORTEST_S / DT_S)
    for b in range(pose.shape[1]):
        column = out[:, b]
        k = 0
        while k < len(column):
            e = k
            while e < len(column) and column[e] == column[k]:
                e += 1
            if e - k < shortest and k > 0:
                column[k:e] = column[k - 1]
            k = e
    return out


def _blends(pose: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Previous pose and blend share of every step."""
    before, blend = pose.copy(), np.ones(pose.shape)
    length = round(BLEND_S / DT_S)
    for b in range(pose.shape[1]):
        for k in (np.flatnonzero(np.diff(pose[:, b])) + 1).tolist():
            e = min(k + length, len(pose))
            before[k:e, b] = pose[k - 1, b]
            blend[k:e, b] = (np.arange(e - k) + 1) / (length + 1)
            later = np.flatnonzero(pose[k:e, b] != pose[k, b])
            if len(later):
                before[k + later[0] : e, b] = pose[k + later[0] : e, b]
                blend[k + later[0] : e, b] = 1.0
    return before, blend
