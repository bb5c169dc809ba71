"""Legs in motion: walking, jogging, running, back-pedalling and sliding, with feet that stay where they land.

A stride is two steps; phase 0 is the left foot's landing. The phase is tied to the distance travelled: it advances by
distance / `stride_ft(speed)`. In stance the foot moves backwards in the facing frame exactly as fast as the body
moves forwards; in swing it follows a cubic that leaves and lands with that same velocity. Everything else of a leg is
keyed at eight phases and interpolated periodically. The other leg is half a stride later.

Cadence and stance shares follow the usual picture of human gait (stance 62 % of the stride in walking, under 40 % in
running): M. W. Whittle, Gait Analysis, and T. F. Novacheck, The biomechanics of running, Gait & Posture 7 (1998).
"""

from __future__ import annotations

from typing import Final

import numpy as np

from pipeline.sim.bodies.targets import FIELD, PoseTargets

SIDEWAYS_POSES: Final[frozenset[str]] = frozenset(
    {"slide", "stance", "deny", "post_up", "post_defend", "box_out", "screen", "contest", "backpedal"}
)
"""Poses that move with short, quick, uncrossed steps."""

_STRIDE_FT = ((0.0, 4.0, 9.0, 16.0, 22.0), (2.6, 4.2, 6.6, 9.4, 11.2))
"""Floor speed ft/s to stride length: about 4 ft walking, 11 ft sprinting."""

_STANCE_SHARE = ((0.0, 4.5, 7.0, 9.0, 18.0), (0.64, 0.62, 0.50, 0.42, 0.32))


def stride_ft(speed_ft_s: float | np.ndarray) -> np.ndarray:
    """Distance covered in one turn of the phase at floor speeds of any shape: a stride of two steps.

    Poses of `SIDEWAYS_POSES` step short and quick: two small strides in one turn.
    """
    return np.asarray(np.interp(speed_ft_s, *_STRIDE_FT))


def _periodic(keys: tuple[float, ...], phase: float) -> float:
    """Periodic Catmull-Rom through evenly spaced keys."""
    count = len(keys)
    at = (phase % 1.0) * count
    i = int(at) % count
    t = at - int(at)
    a, b, c, d = (keys[(i + k - 1) % count] for k in range(4))
    return 0.5 * (2 * b + (c - a) * t + (2 * a - 5 * b + 4 * c - d) * t**2 + (3 * b - a - 3 * c + d) * t**3)


# Eight keys: landing, loading, mid-stance, heel off; toe off, mid-swing, reach, just before landing.
_WALK_PITCH = (-0.30, 0.0, 0.0, 0.10, 0.50, 0.75, 0.10, -0.30)
_WALK_LIFT = (0.0, 0.0, 0.0, 0.0, 0.0, 0.05, 0.03, 0.03)
_RUN_PITCH = (-0.06, 0.02, 0.30, 0.80, 1.15, 1.05, 0.35, -0.10)
_RUN_LIFT = (0.0, 0.0, 0.0, 0.16, 0.40, 0.38, 0.20, 0.06)
_SHORT_PITCH = (0.05, 0.05, 0.10, 0.25, 0.30, 0.20, 0.10, 0.05)
_SHORT_LIFT = (0.0, 0.0, 0.0, 0.0, 0.05, 0.07, 0.05, 0.02)


def _smooth(value: float, low: float, high: float) -> float:
    t = min(max((value - low) / (high - low), 0.0), 1.0)
    return t * t * (3 - 2 * t)


def with_gait(
    pose: str,
    base: PoseTargets,
    *,
    phase: float,
    speed_ft_s: float,
    direction: np.ndarray,
    leg_ft: float,
) -> PoseTargets:
    """Replace the legs of a pose by a stride, as far as the body moves.

    Parameters
    ----------
    pose : str
        Pose name; chooses the way of stepping.
    base : PoseTargets
        The pose standing still.
    phase : float
        Stride phase, 0..1.
    speed_ft_s : float
        Floor speed; below 0.3 ft/s the base is returned as it is, from 2.5 ft/s on the legs are all stride.
    direction : ndarray of shape (2,)
        Unit direction of travel in the facing frame.
    leg_ft : float
        Leg length of the body.
    """
    moving = _smooth(speed_ft_s, 0.3, 2.5)
    if moving == 0.0:
        return base
    short = pose in SIDEWAYS_POSES
    running = 0.0 if short else _smooth(speed_ft_s, 6.5, 9.5)
    share = 0.5 if short else float(np.interp(speed_ft_s, *_STANCE_SHARE))
    stride = float(stride_ft(speed_ft_s)) / leg_ft
    if short:
        stride, phase = 0.5 * stride, 2 * phase
    travel = direction * stride
    heading = float(np.arctan2(direction[1], direction[0]))
    backwards = abs(heading) > 1.9
    turn = heading if not backwards else float(np.arctan2(-direction[1], -direction[0]))
    turn = 0.0 if short else float(np.clip(turn, -1.2, 1.2))
    sideways = abs(float(direction[1])) if short else abs(float(np.sin(heading - turn)))

    values = base.values.copy()
    hip, pelvis, chest = (values[FIELD[name]] for name in ("hip", "pelvis", "chest"))
    base_height = float(hip[2])
    half_width = (0.075 + 0.03 * (1 - running)) * (1 - sideways) + 0.24 * sideways
    if short:
        wanted = 0.5 * abs(float(base["foot_left"][1] - base["foot_right"][1]))
        # Feet may come close but not cross while sliding.
        half_width = max(min(wanted, 0.40), 0.14 + 0.25 * stride * abs(float(direction[1])))
    for side, sign, lag in (("left", 1.0, 0.0), ("right", -1.0, 0.5)):
        foot, foot_turn = values[FIELD[f"foot_{side}"]], values[FIELD[f"foot_turn_{side}"]]
        own = (phase - lag) % 1.0
        amplitude = 0.5 * share
        if own < share:
            along = amplitude - own
            eight = own / share * 0.5
        else:
            q = (own - share) / (1 - share)
            # Leave with the body's speed, land with little of it left.
            leave, land = -(1 - share), -0.3 * (1 - share)
            along = (
                -amplitude * (2 * q**3 - 3 * q**2 + 1)
                + amplitude * (3 * q**2 - 2 * q**3)
                + leave * (q**3 - 2 * q**2 + q)
                + land * (q**3 - q**2)
            )
            eight = 0.5 + 0.5 * q
        side_offset = np.array([-np.sin(turn), np.cos(turn)]) * sign * half_width
        centre = np.array([0.0, 0.0]) if not short else 0.5 * (base["foot_left"][:2] + base["foot_right"][:2])
        place = centre * (1 - min(1.0, speed_ft_s / 12)) + side_offset + travel * along
        if short:
            lift, pitch = _periodic(_SHORT_LIFT, eight), _periodic(_SHORT_PITCH, eight)
        else:
            vigour = min(speed_ft_s / 18.0, 1.25)
            walk = _periodic(_WALK_LIFT, eight), _periodic(_WALK_PITCH, eight) * min(1.0, speed_ft_s / 4.0)
            run = _periodic(_RUN_LIFT, eight) * vigour, _periodic(_RUN_PITCH, eight)
            lift = walk[0] * (1 - running) + run[0] * running
            pitch = walk[1] * (1 - running) + run[1] * running
            if backwards:
                pitch = 0.25 * abs(pitch) + 0.15
                lift *= 0.5
        lift = 0.0 if own < share else max(lift, 0.0) * min(1.0, 8 * (own - share), 10 * (1 - own))
        foot[:2] = foot[:2] * (1 - moving) + place * moving
        foot[2] = foot[2] * (1 - moving) + lift * moving
        toe_out = sign * (0.20 if short else 0.10)
        foot_turn[0] = foot_turn[0] * (1 - moving) + (turn + toe_out) * moving
        foot_turn[1] = foot_turn[1] * (1 - moving) + pitch * moving

    swing = np.cos(2 * np.pi * phase)
    bob = np.cos(4 * np.pi * (phase - 0.5 * share))
    if short:
        height = base_height - 0.01 * bob
        hip[:2] = hip[:2] * (1 - moving)
    else:
        height_walk = min(base_height, 0.975) - 0.012 * bob
        height_run = min(base_height, 0.93) - 0.025 * bob
        height = height_walk * (1 - running) + height_run * running
        yaw = 0.10 * (1 - running) + 0.20 * running
        pelvis[0] = pelvis[0] * (1 - moving) + (0.7 * turn - yaw * swing) * moving
        chest[0] = chest[0] * (1 - moving) + (-0.7 * turn + 1.7 * yaw * swing + chest[0]) * moving
        lean = 0.03 + running * (0.10 + 0.12 * min(speed_ft_s / 24.0, 1.0))
        pelvis[1] = pelvis[1] * (1 - moving) + max(pelvis[1] * 0.8, lean if not backwards else 0.05) * moving
        pelvis[2] += 0.04 * moving * np.sin(2 * np.pi * phase)
        hip[:2] = hip[:2] * (1 - moving)
        hip[0] += 0.02 * running * moving
    hip[2] = base_height * (1 - moving) + height * moving
    return PoseTargets(values)


def arm_swing(base: PoseTargets, *, phase: float, speed_ft_s: float) -> PoseTargets:
    """Arms that swing against the legs: nearly straight in walking, bent and driving in running."""
    moving = _smooth(speed_ft_s, 0.5, 3.0)
    if moving == 0.0:
        return base
    running = _smooth(speed_ft_s, 6.0, 10.0)
    vigour = min(max((speed_ft_s - 6) / 14, 0.0), 1.0)
    values = base.values.copy()
    for side, sign, lag in (("left", 1.0, 0.5), ("right", -1.0, 0.0)):
        forward = np.cos(2 * np.pi * (phase - lag))
        ahead, behind = 0.5 + 0.5 * forward, 0.5 - 0.5 * forward
        walk = np.array([0.07 + 0.24 * forward, 0.14, -0.93 + 0.05 * abs(forward)])
        reach = np.array([0.50, -0.10, -0.36 + 0.10 * vigour])
        back = np.array([-0.12 - 0.16 * vigour, 0.20, -0.62 + 0.06 * vigour])
        run = reach * ahead + back * behind
        target = walk * (1 - running) + run * running
        pole = np.array([-1.0, 0.45, -0.25 - 0.4 * running])
        palm = np.array([-0.1, -1.0, 0.1 + 0.2 * running])
        out = np.array([1.0, sign, 1.0])
        wrist = values[FIELD[f"wrist_{side}"]]
        wrist[:] = wrist * (1 - moving) + target * out * moving
        elbow, palm_now = values[FIELD[f"elbow_{side}"]], values[FIELD[f"palm_{side}"]]
        elbow[:] = elbow * (1 - moving) + pole * out * moving
        palm_now[:] = palm_now * (1 - moving) + palm * out * moving
        values[FIELD[f"curl_{side}"]] = 0.45 + 0.15 * running
    return PoseTargets(values)
