"""The pose library: what a body does, by name and phase.

A pose is one set of targets, or a few keys over its progress 0..1. Upper and lower body are written together, standing
still; `gait.with_gait` gives moving bodies a stride under the same upper body.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from typing import Final

import numpy as np

from pipeline.errors import SettingsError
from pipeline.sim.bodies.gait import arm_swing, with_gait
from pipeline.sim.bodies.targets import TARGET_COUNT, PoseTargets, blend, both, left, right

Key = tuple[float, PoseTargets]

_NEUTRAL = PoseTargets(np.zeros(TARGET_COUNT)).with_targets(
    hip=(0.0, 0.0, 0.985),
    pelvis=(0.0, 0.02, 0.0),
    chest=(0.0, 0.0, 0.0),
    **both(
        foot=(0.0, 0.115, 0.0),
        foot_turn=(0.18, 0.0),
        knee=0.05,
        wrist=(0.07, 0.15, -0.95),
        elbow=(-1.0, 0.5, -0.1),
        palm=(-0.15, -1.0, 0.0),
        curl=0.45,
    ),
)


def _pose(base: PoseTargets, *parts: Mapping[str, object], **fields: object) -> PoseTargets:
    merged: dict[str, object] = {}
    for part in parts:
        merged.update(part)
    merged.update(fields)
    return base.with_targets(**merged)  # type: ignore[arg-type]


# Two palms on the ball's sides, fingers ahead; thumbs up.
HANDS_ON_BALL = both(hold=1.0, palm=(0.15, -1.0, 0.1), fingers=(1.6, 0.3, 0.5), elbow=(-0.6, 0.7, -0.8), curl=0.18)

_STAND = _NEUTRAL
_READY = _pose(
    _NEUTRAL,
    both(
        foot=(0.0, 0.27, 0.0),
        foot_turn=(0.25, 0.0),
        knee=0.10,
        wrist=(0.38, 0.10, -0.62),
        elbow=(-0.8, 0.8, -0.5),
        palm=(0.3, -1.0, 0.3),
        curl=0.3,
    ),
    hip=(-0.06, 0.0, 0.88),
    pelvis=(0.0, 0.28, 0.0),
    chest=(0.0, 0.10, 0.0),
)
_STANCE = _pose(
    _NEUTRAL,
    both(
        foot=(0.03, 0.36, 0.0),
        foot_turn=(0.30, 0.0),
        knee=0.18,
        wrist=(0.50, 0.48, -0.42),
        elbow=(-0.5, 0.8, -0.9),
        palm=(0.7, -0.5, 0.6),
        fingers=(0.2, 0.1, 0.1),
        curl=0.15,
    ),
    hip=(-0.16, 0.0, 0.76),
    pelvis=(0.0, 0.48, 0.0),
    chest=(0.0, 0.12, 0.0),
    head=(0.0, 0.05, 0.0),
)
_STANCE_ONE_UP = _pose(
    _STANCE,
    left(wrist=(0.55, 0.30, 0.42), elbow=(-0.2, 0.7, -0.9), palm=(1.0, -0.2, 0.2), fingers=(0.0, 0.0, 0.8)),
    right(wrist=(0.25, 0.75, -0.35)),
)
_DENY = _pose(
    _STANCE,
    left(
        foot=(0.16, 0.36, 0.0),
        wrist=(0.80, 0.48, 0.05),
        elbow=(-0.4, 0.6, -0.9),
        palm=(0.4, -0.4, -0.9),
        fingers=(0.0, 0.1, 0.0),
        curl=0.05,
    ),
    right(foot=(-0.10, 0.34, 0.0), wrist=(0.35, 0.28, -0.42), palm=(0.2, -0.9, 0.3), elbow=(-0.9, 0.7, -0.3)),
    hip=(-0.10, 0.0, 0.80),
    pelvis=(-0.25, 0.32, 0.0),
    chest=(-0.20, 0.06, 0.0),
    head=(0.55, 0.05, 0.0),
)
_SCREEN = _pose(
    _NEUTRAL,
    both(foot=(0.0, 0.30, 0.0), foot_turn=(0.22, 0.0), knee=0.12, curl=0.85, fingers=(0.0, 0.0, 0.0)),
    left(wrist=(0.34, -0.30, -0.50), elbow=(-0.1, 1.0, -0.5), palm=(-1.0, -0.3, 0.1)),
    right(wrist=(0.40, -0.28, -0.60), elbow=(-0.1, 1.0, -0.5), palm=(-1.0, -0.3, 0.1)),
    hip=(-0.04, 0.0, 0.91),
    pelvis=(0.0, 0.12, 0.0),
)
_USE_SCREEN = _pose(
    _NEUTRAL,
    both(foot=(0.0, 0.20, 0.0), wrist=(0.40, 0.02, -0.50), elbow=(-0.9, 0.7, -0.5), palm=(0.3, -1.0, 0.2), curl=0.4),
    left(wrist=(0.30, -0.10, -0.42)),
    hip=(-0.05, 0.0, 0.84),
    pelvis=(0.0, 0.30, 0.10),
    chest=(-0.25, 0.15, 0.14),
    head=(-0.35, 0.05, 0.0),
)
_POST_UP = _pose(
    _NEUTRAL,
    both(foot=(0.02, 0.36, 0.0), foot_turn=(0.28, 0.0), knee=0.15),
    right(wrist=(0.52, 0.48, 0.50), elbow=(-0.3, 0.7, -0.9), palm=(1.0, -0.1, 0.2), fingers=(0.0, 0.1, 0.7), curl=0.05),
    left(wrist=(0.18, 0.62, -0.28), elbow=(-0.8, 1.0, -0.2), palm=(0.3, -0.6, -0.6), curl=0.3),
    hip=(-0.13, 0.0, 0.78),
    pelvis=(0.0, 0.25, 0.0),
    chest=(0.10, -0.02, 0.0),
    head=(0.0, 0.05, 0.0),
)
_POST_DEFEND = _pose(
    _NEUTRAL,
    left(
        foot=(0.16, 0.28, 0.0),
        foot_turn=(0.2, 0.0),
        wrist=(0.46, -0.20, -0.18),
        elbow=(0.2, 1.0, -0.4),
        palm=(0.3, -0.4, -0.9),
        curl=0.8,
    ),
    right(
        foot=(-0.18, 0.30, 0.0),
        foot_turn=(0.4, 0.0),
        wrist=(0.45, 0.42, 0.35),
        elbow=(-0.2, 0.8, -0.9),
        palm=(1.0, -0.2, 0.0),
        fingers=(0.0, 0.0, 0.6),
        curl=0.1,
    ),
    hip=(-0.02, 0.0, 0.80),
    pelvis=(-0.10, 0.28, 0.0),
    chest=(-0.10, 0.05, 0.0),
)
_BOX_OUT = _pose(
    _NEUTRAL,
    both(
        foot=(0.02, 0.40, 0.0),
        foot_turn=(0.30, 0.0),
        knee=0.20,
        wrist=(0.22, 0.66, -0.12),
        elbow=(-0.8, 0.9, -0.3),
        palm=(0.9, -0.2, 0.0),
        fingers=(0.3, 0.0, 0.9),
        curl=0.1,
    ),
    hip=(-0.18, 0.0, 0.72),
    pelvis=(0.0, 0.34, 0.0),
    chest=(0.0, -0.05, 0.0),
    head=(0.0, 0.30, 0.0),
)
_HANDS_ON_HIPS = _pose(
    _NEUTRAL,
    both(
        foot=(0.0, 0.15, 0.0),
        foot_turn=(0.25, 0.0),
        wrist=(0.10, 0.10, -0.74),
        elbow=(-0.45, 1.0, 0.1),
        palm=(0.1, -1.0, -0.2),
        fingers=(0.5, -0.6, -0.3),
        curl=0.4,
    ),
)
_SIGNAL = _pose(
    _NEUTRAL,
    right(wrist=(0.08, 0.10, 0.97), elbow=(0.1, 1.0, 0.2), palm=(1.0, 0.0, 0.0), fingers=(0.0, 0.0, 0.3), curl=0.05),
)
_SIT = _pose(
    _NEUTRAL,
    both(
        foot=(0.0, 0.16, 0.0),
        foot_turn=(0.15, 0.0),
        knee=0.10,
        wrist=(0.52, 0.06, -0.72),
        elbow=(-0.6, 0.8, -0.3),
        palm=(0.0, -0.3, -1.0),
        curl=0.3,
    ),
    hip=(-0.48, 0.0, 0.46),
    pelvis=(0.0, 0.05, 0.0),
    chest=(0.0, 0.12, 0.0),
    head=(0.0, 0.0, 0.0),
)

_HOLD_CHEST = _pose(_READY, HANDS_ON_BALL, ball=(0.46, 0.0, -0.38), hip=(-0.04, 0.0, 0.90))
_CATCH_REACH = _pose(_READY, HANDS_ON_BALL, both(palm=(0.55, -0.85, 0.1)), ball=(0.88, 0.0, -0.12))

_PASS_WIND = _pose(
    _READY, HANDS_ON_BALL, both(elbow=(-0.4, 1.0, -0.4)), ball=(0.36, 0.0, -0.22), hip=(-0.06, 0.0, 0.88)
)
_PASS_RELEASE = _pose(
    _PASS_WIND,
    both(palm=(0.75, -0.65, 0.1)),
    left(foot=(0.30, 0.14, 0.0)),
    right(foot=(-0.12, 0.14, 0.0), foot_turn=(0.2, 0.35)),
    ball=(0.92, 0.0, -0.12),
    hip=(0.10, 0.0, 0.90),
    pelvis=(0.0, 0.34, 0.0),
)
_PASS_FOLLOW = _pose(
    _PASS_RELEASE,
    both(hold=0.0, wrist=(0.93, 0.02, -0.08), palm=(0.3, 0.5, -0.9), fingers=(0.4, 0.25, 0.0), curl=0.05),
)
_HIGH_PASS = _pose(
    _READY,
    HANDS_ON_BALL,
    both(palm=(0.25, -0.95, 0.25), fingers=(0.2, 0.2, 1.6), elbow=(0.5, 0.9, -0.3)),
    ball=(0.24, 0.0, 0.78),
    hip=(0.0, 0.0, 0.93),
    pelvis=(0.0, 0.02, 0.0),
    chest=(0.0, -0.08, 0.0),
)
_HIGH_PASS_BACK = _pose(_HIGH_PASS, ball=(0.06, 0.0, 0.74), chest=(0.0, -0.16, 0.0))
_HIGH_PASS_RELEASE = _pose(
    _HIGH_PASS,
    left(foot=(0.28, 0.14, 0.0)),
    right(foot=(-0.12, 0.14, 0.0), foot_turn=(0.2, 0.4)),
    ball=(0.66, 0.0, 0.70),
    hip=(0.10, 0.0, 0.92),
    pelvis=(0.0, 0.18, 0.0),
)
_HIGH_PASS_FOLLOW = _pose(
    _HIGH_PASS_RELEASE,
    both(hold=0.0, wrist=(0.88, 0.05, 0.30), palm=(0.4, 0.3, -0.9), fingers=(0.6, 0.1, -0.3), curl=0.05),
)
_HANDOFF_SHOW = _pose(
    _STANCE,
    HANDS_ON_BALL,
    both(foot=(0.0, 0.34, 0.0)),
    left(palm=(0.1, -0.2, 1.0), fingers=(1.2, 0.0, 0.2)),
    right(palm=(0.2, -0.2, -1.0), fingers=(1.2, 0.0, 0.2)),
    ball=(0.55, 0.18, -0.55),
    hip=(-0.12, 0.0, 0.80),
    pelvis=(0.15, 0.36, 0.0),
)
_HANDOFF_GIVE = _pose(_HANDOFF_SHOW, right(hold=0.0, wrist=(0.40, 0.20, -0.55)), ball=(0.72, 0.25, -0.52))
_HANDOFF_DONE = _pose(_HANDOFF_GIVE, left(hold=0.0, wrist=(0.45, 0.25, -0.58), palm=(0.1, -0.8, 0.6)))

_SHOT_DIP = _pose(
    _READY,
    HANDS_ON_BALL,
    both(foot=(0.0, 0.17, 0.0), foot_turn=(0.08, 0.0), palm=(0.2, -0.9, 0.45)),
    ball=(0.46, -0.06, -0.40),
    hip=(-0.10, 0.0, 0.80),
    pelvis=(0.0, 0.34, 0.0),
)
_SHOT_SET = _pose(
    _SHOT_DIP,
    right(palm=(0.35, 0.1, 0.85), fingers=(-0.6, 0.0, 1.2), elbow=(0.5, 0.25, -1.0)),
    left(palm=(0.2, -1.0, 0.0), fingers=(0.3, 0.0, 1.5), elbow=(0.4, 0.8, -0.6)),
    both(foot_turn=(0.08, 0.30)),
    ball=(0.36, -0.12, 0.42),
    hip=(-0.03, 0.0, 0.90),
    pelvis=(0.0, 0.14, 0.0),
    head=(0.0, 0.25, 0.0),
)
_SHOT_RELEASE = _pose(
    _SHOT_SET,
    right(palm=(0.75, 0.0, 0.55), fingers=(-0.1, 0.0, 1.2), elbow=(0.5, 0.3, -1.0)),
    both(foot_turn=(0.08, 0.75)),
    ball=(0.44, -0.20, 0.98),
    hip=(0.0, 0.0, 0.99),
    pelvis=(0.0, 0.02, 0.0),
    chest=(0.10, -0.02, 0.0),
)
_SHOT_FOLLOW = _pose(
    _SHOT_RELEASE,
    right(hold=0.0, wrist=(0.55, -0.02, 0.80), palm=(0.3, 0.0, -1.0), fingers=(0.9, 0.0, -0.9), curl=0.15),
    left(hold=0.0, wrist=(0.45, 0.22, 0.62), palm=(0.1, -1.0, 0.0), fingers=(0.0, 0.0, 0.8)),
)
_SHOT_LAND = _pose(
    _READY,
    both(foot=(0.0, 0.18, 0.0), wrist=(0.50, 0.20, -0.10), palm=(0.6, -0.4, -0.6)),
    right(wrist=(0.55, 0.10, 0.25), palm=(0.5, 0.0, -0.9)),
    hip=(-0.05, 0.0, 0.86),
    head=(0.0, 0.20, 0.0),
)
_LAY_UP_GATHER = _pose(
    _READY,
    HANDS_ON_BALL,
    left(foot=(-0.42, 0.08, 0.06), foot_turn=(0.05, 0.9)),
    right(foot=(0.40, 0.08, 0.0), foot_turn=(0.05, -0.10)),
    ball=(0.40, -0.22, -0.45),
    hip=(0.0, 0.0, 0.86),
    pelvis=(0.15, 0.24, 0.0),
)
_LAY_UP_STEP = _pose(
    _LAY_UP_GATHER,
    left(foot=(0.28, 0.06, 0.0), foot_turn=(0.0, 0.0)),
    right(foot=(-0.30, 0.08, 0.22), foot_turn=(0.0, 1.0)),
    ball=(0.42, -0.12, -0.05),
    hip=(-0.02, 0.0, 0.85),
    head=(0.0, 0.25, 0.0),
)
_LAY_UP_RISE = _pose(
    _LAY_UP_STEP,
    left(foot=(-0.06, 0.05, 0.0), foot_turn=(0.0, 0.85), wrist=(0.50, 0.15, 0.15), hold=0.0, palm=(0.3, -0.9, 0.0)),
    right(
        foot=(0.26, 0.09, 0.44),
        foot_turn=(0.0, 0.25),
        palm=(0.35, 0.1, 0.9),
        fingers=(-0.2, 0.0, 1.2),
        elbow=(0.5, 0.5, -1.0),
    ),
    ball=(0.40, -0.26, 0.80),
    hip=(0.04, 0.0, 0.98),
    pelvis=(0.0, 0.08, 0.06),
    chest=(0.15, -0.02, 0.08),
    head=(0.0, 0.40, 0.0),
)
_LAY_UP_RELEASE = _pose(
    _LAY_UP_RISE, right(palm=(0.65, 0.1, 0.7), fingers=(0.1, 0.0, 1.2)), ball=(0.46, -0.28, 1.06), hip=(0.06, 0.0, 1.0)
)
_LAY_UP_FOLLOW = _pose(
    _LAY_UP_RELEASE, right(hold=0.0, wrist=(0.40, 0.05, 0.92), palm=(0.8, 0.0, -0.5), fingers=(0.5, 0.0, 0.2))
)
_CONTEST_UP = _pose(
    _NEUTRAL,
    right(wrist=(0.42, 0.02, 0.90), elbow=(0.2, 0.8, -0.5), palm=(1.0, 0.1, 0.0), fingers=(0.0, 0.0, 0.5), curl=0.0),
    left(wrist=(0.55, 0.35, -0.20), elbow=(-0.5, 0.9, -0.6), palm=(0.6, -0.6, 0.2), curl=0.2),
    both(foot=(0.0, 0.18, 0.0), foot_turn=(0.12, 0.6)),
    hip=(0.0, 0.0, 0.985),
    pelvis=(0.12, 0.04, 0.0),
    chest=(0.12, 0.0, 0.05),
    head=(0.0, 0.3, 0.0),
)
_CONTEST_DOWN = _pose(
    _READY, right(wrist=(0.55, 0.10, 0.45), palm=(1.0, 0.0, -0.2), elbow=(-0.1, 0.8, -0.8)), head=(0.0, 0.2, 0.0)
)
_REBOUND_CROUCH = _pose(
    _READY,
    both(foot=(0.0, 0.22, 0.0), wrist=(0.30, 0.40, -0.15), elbow=(-0.6, 0.9, -0.5), palm=(0.8, -0.4, 0.2), curl=0.1),
    hip=(-0.12, 0.0, 0.76),
    pelvis=(0.0, 0.38, 0.0),
    head=(0.0, 0.45, 0.0),
)
_REBOUND_REACH = _pose(
    _NEUTRAL,
    HANDS_ON_BALL,
    both(
        foot=(-0.02, 0.15, 0.0),
        foot_turn=(0.12, 0.8),
        palm=(0.5, -0.8, 0.1),
        fingers=(0.1, 0.0, 1.5),
        elbow=(0.4, 1.0, -0.2),
    ),
    ball=(0.32, 0.0, 1.04),
    hip=(0.0, 0.0, 0.99),
    pelvis=(0.0, 0.02, 0.0),
    chest=(0.0, -0.08, 0.0),
    head=(0.0, 0.55, 0.0),
)
_REBOUND_SECURE = _pose(
    _READY,
    HANDS_ON_BALL,
    both(foot=(0.0, 0.32, 0.0), elbow=(-0.2, 1.0, -0.1), palm=(0.1, -1.0, 0.0), fingers=(1.0, 0.0, 1.0)),
    ball=(0.42, 0.0, -0.05),
    hip=(-0.10, 0.0, 0.78),
    pelvis=(0.0, 0.30, 0.0),
    head=(0.0, 0.0, 0.0),
)

_DRIBBLE_DOWN = _pose(
    _READY,
    right(
        wrist=(0.42, 0.20, -0.78),
        elbow=(-1.0, 0.5, -0.1),
        palm=(0.1, 0.0, -1.0),
        fingers=(0.6, 0.0, 0.1),
        curl=0.15,
    ),
    left(wrist=(0.48, 0.05, -0.42), elbow=(-0.2, 1.0, -0.4), palm=(0.2, -0.8, -0.3), curl=0.4),
    hip=(-0.07, 0.0, 0.85),
    pelvis=(0.0, 0.30, 0.0),
)
_DRIBBLE_UP = _pose(_DRIBBLE_DOWN, right(wrist=(0.50, 0.24, -0.42), fingers=(0.6, 0.0, 0.25), elbow=(-1.0, 0.7, -0.1)))
_DRIVE_DOWN = _pose(
    _DRIBBLE_DOWN,
    right(wrist=(0.45, 0.25, -0.82)),
    left(wrist=(0.50, 0.15, -0.38), elbow=(-0.1, 1.0, -0.5)),
    hip=(-0.06, 0.0, 0.80),
    pelvis=(0.0, 0.46, 0.0),
    chest=(0.10, 0.12, 0.0),
)
_DRIVE_UP = _pose(_DRIVE_DOWN, right(wrist=(0.55, 0.28, -0.52), fingers=(0.6, 0.0, 0.25)))

_STILL: Final[Mapping[str, PoseTargets]] = {
    "stand": _STAND,
    "walk": _STAND,
    "jog": _STAND,
    "run": _STAND,
    "backpedal": _READY,
    "slide": _STANCE,
    "stance": _STANCE,
    "deny": _DENY,
    "screen": _SCREEN,
    "use_screen": _USE_SCREEN,
    "post_up": _POST_UP,
    "post_defend": _POST_DEFEND,
    "box_out": _BOX_OUT,
    "hands_on_hips": _HANDS_ON_HIPS,
    "signal": _SIGNAL,
    "sit": _SIT,
}

_PROGRESS: Final[Mapping[str, tuple[Key, ...]]] = {
    "catch": ((0.0, _CATCH_REACH), (0.35, _CATCH_REACH), (0.8, _HOLD_CHEST), (1.0, _HOLD_CHEST)),
    "chest_pass": (
        (0.0, _HOLD_CHEST),
        (0.35, _PASS_WIND),
        (0.6, _PASS_RELEASE),
        (0.7, _PASS_FOLLOW),
        (0.85, _PASS_FOLLOW),
        (1.0, _READY),
    ),
    "overhead_pass": (
        (0.0, _HOLD_CHEST),
        (0.25, _HIGH_PASS),
        (0.4, _HIGH_PASS_BACK),
        (0.6, _HIGH_PASS_RELEASE),
        (0.7, _HIGH_PASS_FOLLOW),
        (0.85, _HIGH_PASS_FOLLOW),
        (1.0, _READY),
    ),
    "handoff": (
        (0.0, _HANDOFF_SHOW),
        (0.45, _HANDOFF_SHOW),
        (0.6, _HANDOFF_GIVE),
        (0.75, _HANDOFF_DONE),
        (1.0, _READY),
    ),
    "jump_shot": (
        (0.0, _HOLD_CHEST),
        (0.2, _SHOT_DIP),
        (0.42, _SHOT_SET),
        (0.6, _SHOT_RELEASE),
        (0.66, _SHOT_FOLLOW),
        (0.82, _SHOT_FOLLOW),
        (1.0, _SHOT_LAND),
    ),
    "free_throw": (
        (0.0, _HOLD_CHEST),
        (0.3, _SHOT_DIP),
        (0.48, _SHOT_SET),
        (0.6, _pose(_SHOT_RELEASE, both(foot_turn=(0.08, 0.35)))),
        (0.66, _pose(_SHOT_FOLLOW, both(foot_turn=(0.08, 0.35)))),
        (0.85, _pose(_SHOT_FOLLOW, both(foot_turn=(0.08, 0.1)))),
        (1.0, _SHOT_LAND),
    ),
    "lay_up": (
        (0.0, _LAY_UP_GATHER),
        (0.25, _LAY_UP_STEP),
        (0.5, _LAY_UP_RISE),
        (0.62, _LAY_UP_RELEASE),
        (0.68, _LAY_UP_FOLLOW),
        (0.8, _LAY_UP_FOLLOW),
        (1.0, _SHOT_LAND),
    ),
    "contest": ((0.0, _STANCE), (0.35, _CONTEST_UP), (0.7, _CONTEST_UP), (1.0, _CONTEST_DOWN)),
    "rebound": (
        (0.0, _REBOUND_CROUCH),
        (0.4, _REBOUND_REACH),
        (0.55, _REBOUND_REACH),
        (0.85, _REBOUND_SECURE),
        (1.0, _REBOUND_SECURE),
    ),
}

POSES: Final[tuple[str, ...]] = (*_STILL, *_PROGRESS, "dribble_left", "dribble_right", "drive")
"""Every pose name."""

ONE_SHOT: Final[frozenset[str]] = frozenset(_PROGRESS)
"""Poses whose phase is their progress."""

EMPTY_HANDED: Final[frozenset[str]] = frozenset(_STILL)
"""Poses that have no ball of their own; who holds one all the same holds it before the chest, `HELD_BALL`."""

HELD_BALL: Final[Mapping[str, object]] = {**HANDS_ON_BALL, "ball": (0.46, 0.0, -0.38)}
"""Targets of two hands around a ball before the chest."""

MOVING_POSES: Final[frozenset[str]] = frozenset(
    {*_STILL, "dribble_left", "dribble_right", "drive", "catch", "chest_pass", "overhead_pass", "handoff", "contest"}
) - {"sit"}
"""Poses that take a stride when the body moves; the others place their feet themselves."""

_ARM_SWING: Final[frozenset[str]] = frozenset({"stand", "walk", "jog", "run", "signal", "use_screen"})

_USUAL_SPEED_FT_S: Final[Mapping[str, float]] = {
    "walk": 4.5,
    "jog": 9.0,
    "run": 17.0,
    "backpedal": 7.0,
    "slide": 7.0,
    "drive": 14.0,
}
"""Speed at which a travelling pose is shown when none is given."""


def usual_speed_ft_s(pose: str) -> float:
    """Speed that suits a pose: 0 for standing ones."""
    return _USUAL_SPEED_FT_S.get(pose, 0.0)


def _progress(keys: tuple[Key, ...], phase: float) -> PoseTargets:
    """Ease from key to key."""
    at = min(max(phase, 0.0), 1.0)
    for (start, first), (end, second) in pairwise(keys):
        if at <= end:
            t = (at - start) / (end - start)
            return blend(first, second, t * t * (3 - 2 * t))
    return keys[-1][1]


def ball_bounce(phase: float) -> float:
    """Height of a dribbled ball as a share of the hand's, over one dribble: 1 in the hand (phase 0), 0 on the floor."""
    at = phase % 1.0
    contact = 0.18
    if at < contact or at > 1 - contact:
        return 1.0
    t = (at - contact) / (1 - 2 * contact)
    # Pushed down: nearly straight to the floor, up again slowing like a thrown ball.
    return (1 - 2 * t) ** 2 if t >= 0.5 else (1 - 2 * t) * (1 - 0.6 * t)


def pose_targets(
    name: str,
    phase: float = 0.0,
    *,
    speed_ft_s: float = 0.0,
    direction: np.ndarray | None = None,
    leg_ft: float = 3.0,
) -> PoseTargets:
    """Targets of a named pose.

    Parameters
    ----------
    name : str
        One of `POSES`.
    phase : float
        Stride phase of a travelling or dribbling pose, progress 0..1 of a one-shot one.
    speed_ft_s : float
        Floor speed; gives poses of `MOVING_POSES` a stride.
    direction : ndarray of shape (2,) or None
        Unit direction of travel in the facing frame; None is straight ahead.
    leg_ft : float
        Leg length of the body, so that feet don't slide.
    """
    if name in _STILL:
        targets = _STILL[name]
    elif name in _PROGRESS:
        targets = _progress(_PROGRESS[name], phase)
    elif name in ("dribble_left", "dribble_right", "drive"):
        low, high = (_DRIVE_DOWN, _DRIVE_UP) if name == "drive" else (_DRIBBLE_DOWN, _DRIBBLE_UP)
        targets = blend(low, high, 0.5 + 0.5 * float(np.cos(2 * np.pi * (phase + 0.05))))
        targets = targets.mirrored() if name == "dribble_left" else targets
    else:
        raise SettingsError(f"Pose {name!r} is unknown; use one of {', '.join(sorted(POSES))}.")
    if name == "backpedal" and speed_ft_s > 0 and direction is None:
        direction = np.array([-1.0, 0.0])
    if name == "slide" and direction is None:
        direction = np.array([0.0, 1.0])
    if name not in MOVING_POSES or speed_ft_s <= 0:
        return targets
    way = np.array([1.0, 0.0]) if direction is None else np.asarray(direction, dtype=np.float64)
    stride_phase = phase if name not in _PROGRESS else phase * 0.999
    if name in _ARM_SWING:
        swung = arm_swing(targets, phase=stride_phase, speed_ft_s=speed_ft_s)
        if name == "signal":
            keep = {f: targets[f] for f in ("wrist_right", "elbow_right", "palm_right", "fingers_right", "curl_right")}
            swung = swung.with_targets(**keep)
        if name == "use_screen":
            swung = blend(targets, swung, 0.5)
        targets = swung
    return with_gait(name, targets, phase=stride_phase, speed_ft_s=speed_ft_s, direction=way, leg_ft=leg_ft)
