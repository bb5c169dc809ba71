"""From what an actor does to a placed body: the one call the renderer needs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Protocol

import numpy as np

from pipeline.errors import ShapeError
from pipeline.sim.bodies.body import Body
from pipeline.sim.bodies.poses import EMPTY_HANDED, HANDS_ON_BALL, HELD_BALL, ONE_SHOT, ball_bounce, pose_targets
from pipeline.sim.bodies.skeleton import BONE
from pipeline.sim.bodies.skinning import PosedBody, place, skin
from pipeline.sim.bodies.solve import BALL_RADIUS_FT, Bones, frame_of, solve
from pipeline.sim.bodies.targets import FIELD, TARGET_COUNT, PoseTargets, blend

_DRIBBLES = ("dribble_left", "dribble_right", "drive")

_EITHER_HAND = frozenset(
    {"deny", "screen", "use_screen", "post_up", "post_defend", "contest", "signal", "stance", "slide"}
)
"""Poses that some people strike the other way round, for life."""

_LOWEST_PUSH = 0.70
"""How far down a dribbling hand follows the ball: its lowest ball height, in leg lengths."""


class Acting(Protocol):
    """What a body needs to know of an actor (`sim.scene.ActorState` has it)."""

    @property
    def actor(self) -> int: ...

    @property
    def position_ft(self) -> np.ndarray: ...

    @property
    def facing_rad(self) -> float: ...

    @property
    def velocity_ft_s(self) -> np.ndarray: ...

    @property
    def speed_ft_s(self) -> float: ...

    @property
    def pose(self) -> str: ...

    @property
    def phase(self) -> float: ...

    @property
    def height_off_floor_ft(self) -> float: ...

    @property
    def blend_from(self) -> str | None: ...

    @property
    def blend(self) -> float: ...


@lru_cache(maxsize=4096)
def _manner(actor: int) -> tuple[np.ndarray, bool]:
    """How one person differs from the library, the same all game: added targets (TARGET_COUNT,), and handedness."""
    rng = np.random.default_rng([29, abs(int(actor))])
    added = np.zeros(TARGET_COUNT)
    added[FIELD["hip"]] = (0.0, 0.0, -abs(rng.normal(0, 0.018)))
    added[FIELD["pelvis"]] = rng.normal(0, (0.05, 0.03, 0.015))
    added[FIELD["chest"]] = rng.normal(0, (0.05, 0.04, 0.02))
    added[FIELD["head"]] = rng.normal(0, (0.15, 0.07, 0.03))
    for side in ("left", "right"):
        added[FIELD[f"foot_{side}"]] = (*rng.normal(0, (0.03, 0.015)), 0.0)
        added[FIELD[f"foot_turn_{side}"]] = (rng.normal(0, 0.08), 0.0)
        added[FIELD[f"wrist_{side}"]] = rng.normal(0, (0.05, 0.04, 0.03))
        added[FIELD[f"elbow_{side}"]] = rng.normal(0, 0.15, 3)
        added[FIELD[f"curl_{side}"]] = rng.normal(0, 0.08)
    added.setflags(write=False)
    return added, bool(rng.random() < 0.5)


def actor_targets(body: Body, state: Acting) -> PoseTargets:
    """Pose targets of an actor: pose, stride in the direction of travel, blend, own manner, hanging feet in the air."""
    speed = float(state.speed_ft_s)
    velocity = np.asarray(state.velocity_ft_s, dtype=np.float64)
    size = float(np.hypot(velocity[0], velocity[1]))
    direction = None
    if size > 1e-6:
        c, s = np.cos(state.facing_rad), np.sin(state.facing_rad)
        direction = np.array([c * velocity[0] + s * velocity[1], -s * velocity[0] + c * velocity[1]]) / size
    leg_ft = frame_of(body).leg_ft

    added, other_hand = _manner(state.actor)

    def named(name: str, at: float) -> PoseTargets:
        if not (other_hand and name in _EITHER_HAND):
            return pose_targets(name, at, speed_ft_s=speed, direction=direction, leg_ft=leg_ft)
        # Mirrored, the same foot still lands at phase 0: half a stride is added to what travels.
        phase = at if name == "contest" else (at + 0.5) % 1.0
        way = None if direction is None else direction * np.array([1.0, -1.0])
        return pose_targets(name, phase, speed_ft_s=speed, direction=way, leg_ft=leg_ft).mirrored()

    targets = named(state.pose, state.phase)
    if state.blend_from is not None and state.blend < 1:
        # A one-shot pose that is being left has run its course; the phase is the new pose's.
        left_at = 1.0 if state.blend_from in ONE_SHOT else state.phase
        targets = blend(named(state.blend_from, left_at), targets, state.blend)
    targets = PoseTargets(targets.values + added)
    airborne = min(max(state.height_off_floor_ft / 0.5, 0.0), 1.0)
    if airborne > 0:
        values = targets.values.copy()
        for side in ("left", "right"):
            turn = values[FIELD[f"foot_turn_{side}"]]
            turn[1] = turn[1] * (1 - airborne) + max(turn[1], 0.65) * airborne
        targets = PoseTargets(values)
    return targets


def pose_actors(
    bodies: Sequence[Body],
    states: Sequence[Acting],
    balls_ft: Sequence[np.ndarray | None] | None = None,
) -> tuple[PosedBody, ...]:
    """Pose and place many actors at once, in the court frame.

    Parameters
    ----------
    bodies, states : sequences of the same length
        The body each actor wears, and what it does.
    balls_ft : sequence of ndarray (3,) or None, one an actor, or None
        Where the ball is that an actor holds or dribbles, court frame: the hands go to it. NaN: the actor has the ball
        and the pose says where (in front of the chest, if the pose has no ball of its own); `PosedBody.ball_ft` tells.
        None: no ball, or the pose's own.
    """
    if len(bodies) != len(states):
        raise ShapeError(f"Got {len(bodies)} bodies for {len(states)} actors; give one body an actor.")
    if balls_ft is not None and len(balls_ft) != len(states):
        raise ShapeError(f"Got {len(balls_ft)} balls for {len(states)} actors; give one ball (or None) an actor.")
    if not bodies:
        return ()
    values = np.stack([actor_targets(body, state).values for body, state in zip(bodies, states, strict=True)])
    for row, (ball, state) in enumerate(zip(balls_ft or (), states, strict=False)):
        if ball is not None and not np.isfinite(ball).all() and state.pose in EMPTY_HANDED:
            values[row] = PoseTargets(values[row]).with_targets(**HELD_BALL).values  # type: ignore[arg-type]
    bones = solve(bodies, values)
    local: dict[int, np.ndarray] = {}
    for row, ball in enumerate(balls_ft or ()):
        if ball is not None and np.isfinite(ball).all():
            local[row] = _to_facing(np.asarray(ball, dtype=np.float64), states[row])
    if local:
        for row, ball in local.items():
            values[row] = _reaching(bodies[row], values[row], bones, row, ball, states[row].pose)
        bones = solve(bodies, values)
    placed = []
    for row, (posed, state) in enumerate(zip(skin(bodies, bones), states, strict=True)):
        if row in local:
            posed = replace(posed, ball_ft=local[row])
        elif state.pose in _DRIBBLES:
            posed = replace(posed, ball_ft=_dribbled_ball(posed, state.pose, state.phase))
        placed.append(place(posed, state.position_ft, state.facing_rad, state.height_off_floor_ft))
    return tuple(placed)


def pose_actor(body: Body, state: Acting, ball_ft: np.ndarray | None = None) -> PosedBody:
    """Pose and place one actor in the court frame; `ball_ft` as in `pose_actors`."""
    return pose_actors([body], [state], [ball_ft])[0]


def _to_facing(point_ft: np.ndarray, state: Acting) -> np.ndarray:
    """Court frame to facing frame, (3,)."""
    c, s = np.cos(state.facing_rad), np.sin(state.facing_rad)
    x, y = point_ft[:2] - state.position_ft
    return np.array([c * x + s * y, -s * x + c * y, point_ft[2] - state.height_off_floor_ft])


def _reaching(body: Body, values: np.ndarray, bones: Bones, row: int, ball: np.ndarray, pose: str) -> np.ndarray:
    """Pose targets with the hands on a given ball (facing frame), as far as they reach.

    A dribbling hand rides on the ball while it is above knee height and waits there when it is lower.
    """
    frame = frame_of(body)
    chest = BONE["chest"]
    turn = bones.rotations[row, chest]
    shoulders = 0.5 * (frame.heads[BONE["upper_arm_left"]] + frame.heads[BONE["upper_arm_right"]]) - frame.heads[chest]
    wanted = ball.copy()
    changed = PoseTargets(values)
    if pose in _DRIBBLES:
        side, sign = ("left", 1.0) if pose == "dribble_left" else ("right", -1.0)
        wanted[2] = max(wanted[2], _LOWEST_PUSH * frame.leg_ft)
        changed = changed.with_targets(
            **{
                f"hold_{side}": 1.0,
                f"palm_{side}": turn.T @ np.array([0.1, -0.15 * sign, -1.0]),
                f"fingers_{side}": turn.T @ np.array([1.0, -0.2 * sign, -0.25]),
            }
        )
    elif max(float(changed["hold_left"][0]), float(changed["hold_right"][0])) < 0.5:
        changed = changed.with_targets(**HANDS_ON_BALL)
    target = (turn.T @ (wanted - bones.positions_ft[row, chest]) - shoulders) / frame.arm_ft
    near = float(np.clip((1.7 - np.linalg.norm(target)) / 0.4, 0.0, 1.0))
    return changed.with_targets(
        ball=target, hold_left=near * changed["hold_left"], hold_right=near * changed["hold_right"]
    ).values


def _dribbled_ball(posed: PosedBody, pose: str, phase: float) -> np.ndarray:
    """Ball under the dribbling hand, facing frame: on the palm around phase 0, on the floor at 0.5."""
    palm = posed.palms_ft[0 if pose == "dribble_left" else 1]
    top = max(float(palm[2]) - BALL_RADIUS_FT, BALL_RADIUS_FT)
    return np.array([palm[0] + 0.05, palm[1], BALL_RADIUS_FT + (top - BALL_RADIUS_FT) * ball_bounce(phase)])
