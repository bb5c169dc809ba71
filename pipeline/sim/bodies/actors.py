"""From what an actor does to a placed body: the one call the renderer needs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Protocol

import numpy as np

from pipeline.errors import ShapeError
from pipeline.sim.bodies.body import Body
from pipeline.sim.bodies.poses import ball_bounce, pose_targets
from pipeline.sim.bodies.skinning import PosedBody, place, skin
from pipeline.sim.bodies.solve import BALL_RADIUS_FT, frame_of, solve
from pipeline.sim.bodies.targets import FIELD, PoseTargets, blend

_DRIBBLES = ("dribble_left", "dribble_right", "drive")


class Acting(Protocol):
    """What a body needs to know of an actor (`sim.scene.ActorState` has it)."""

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


def actor_targets(body: Body, state: Acting) -> PoseTargets:
    """Pose targets of an actor: pose, stride in the direction of travel, blend, and hanging feet in the air."""
    speed = float(state.speed_ft_s)
    velocity = np.asarray(state.velocity_ft_s, dtype=np.float64)
    size = float(np.hypot(velocity[0], velocity[1]))
    direction = None
    if size > 1e-6:
        c, s = np.cos(state.facing_rad), np.sin(state.facing_rad)
        direction = np.array([c * velocity[0] + s * velocity[1], -s * velocity[0] + c * velocity[1]]) / size
    leg_ft = frame_of(body).leg_ft

    def named(name: str) -> PoseTargets:
        return pose_targets(name, state.phase, speed_ft_s=speed, direction=direction, leg_ft=leg_ft)

    targets = named(state.pose)
    if state.blend_from is not None and state.blend < 1:
        targets = blend(named(state.blend_from), targets, state.blend)
    airborne = min(max(state.height_off_floor_ft / 0.5, 0.0), 1.0)
    if airborne > 0:
        values = targets.values.copy()
        for side in ("left", "right"):
            turn = values[FIELD[f"foot_turn_{side}"]]
            turn[1] = turn[1] * (1 - airborne) + max(turn[1], 0.65) * airborne
        targets = PoseTargets(values)
    return targets


def pose_actors(bodies: Sequence[Body], states: Sequence[Acting]) -> tuple[PosedBody, ...]:
    """Pose and place many actors at once, in the court frame.

    Parameters
    ----------
    bodies, states : sequences of the same length
        The body each actor wears, and what it does.
    """
    if len(bodies) != len(states):
        raise ShapeError(f"Got {len(bodies)} bodies for {len(states)} actors; give one body an actor.")
    if not bodies:
        return ()
    values = np.stack([actor_targets(body, state).values for body, state in zip(bodies, states, strict=True)])
    placed = []
    for posed, state in zip(skin(bodies, solve(bodies, values)), states, strict=True):
        if state.pose in _DRIBBLES:
            posed = replace(posed, ball_ft=_dribbled_ball(posed, state.pose, state.phase))
        placed.append(place(posed, state.position_ft, state.facing_rad, state.height_off_floor_ft))
    return tuple(placed)


def pose_actor(body: Body, state: Acting) -> PosedBody:
    """Pose and place one actor in the court frame."""
    return pose_actors([body], [state])[0]


def _dribbled_ball(posed: PosedBody, pose: str, phase: float) -> np.ndarray:
    """Ball under the dribbling hand, facing frame: on the palm around phase 0, on the floor at 0.5."""
    palm = posed.palms_ft[0 if pose == "dribble_left" else 1]
    top = max(float(palm[2]) - BALL_RADIUS_FT, BALL_RADIUS_FT)
    return np.array([palm[0] + 0.05, palm[1], BALL_RADIUS_FT + (top - BALL_RADIUS_FT) * ball_bounce(phase)])
