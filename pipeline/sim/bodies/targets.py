"""What a pose is: targets in the body's own measure, so that one pose fits every body.

Lengths below the waist are in leg lengths (hip to ankle), above it in arm lengths (shoulder to wrist); angles in
radians. The facing frame stands at the actor's floor point: x forward, y left, z up. The chest frame is turned with
the chest; its x, y, z are the chest's forward, left, up. All targets of a pose are one vector, so poses blend by
linear blending and mirror by a signed permutation.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from pipeline.errors import SettingsError, ShapeError

_FIELDS: Final[tuple[tuple[str, int], ...]] = (
    ("hip", 3),
    ("pelvis", 3),
    ("chest", 3),
    ("head", 3),
    ("ball", 3),
    ("foot_left", 3),
    ("foot_right", 3),
    ("foot_turn_left", 2),
    ("foot_turn_right", 2),
    ("knee_left", 1),
    ("knee_right", 1),
    ("wrist_left", 3),
    ("wrist_right", 3),
    ("elbow_left", 3),
    ("elbow_right", 3),
    ("fingers_left", 3),
    ("fingers_right", 3),
    ("palm_left", 3),
    ("palm_right", 3),
    ("curl_left", 1),
    ("curl_right", 1),
    ("hold_left", 1),
    ("hold_right", 1),
)


def _slices() -> dict[str, slice]:
    slices, start = {}, 0
    for name, size in _FIELDS:
        slices[name] = slice(start, start + size)
        start += size
    return slices


FIELD: Final[Mapping[str, slice]] = _slices()
"""Where each target sits in the vector.

- hip: middle of the hip joints; x forward, y left, z height above a flat foot's ankle, leg lengths (1 = legs straight).
- pelvis: yaw (left positive), lean (forward), tilt (towards the left), facing frame.
- chest: twist (left), lean (forward), side bend (left), relative to the pelvis.
- head: yaw (left), pitch (up), tilt (left), in the facing frame: the gaze stays when the trunk leans.
- ball: centre of a held ball from the middle of the shoulders, chest frame, arm lengths.
- foot_*: place of the flat foot's ankle, facing frame, leg lengths; z is the clearance of the foot's lowest point.
- foot_turn_*: yaw (left) and pitch (heel up positive) of the foot. Feet pivot about the ball, or the heel when the
  toes are up.
- knee_*: how far outward the knee points from the foot's direction.
- wrist_*: from the shoulder, chest frame, arm lengths.
- elbow_*: direction in which the elbow points (pole vector), chest frame.
- fingers_*: added to the forearm's direction to give the fingers' direction, chest frame; zero keeps the wrist
  straight.
- palm_*: where the palm looks, chest frame.
- curl_*: 0 open, 1 fist.
- hold_*: 1 puts the palm on the held ball (overrides the wrist), 0 leaves it.
"""

TARGET_COUNT: Final[int] = sum(size for _, size in _FIELDS)
"""Length of the vector."""


def _mirror_rule() -> tuple[np.ndarray, np.ndarray]:
    source, sign = np.zeros(TARGET_COUNT, dtype=np.int64), np.ones(TARGET_COUNT)
    for name, size in _FIELDS:
        stem, _, side = name.rpartition("_")
        other = f"{stem}_{'right' if side == 'left' else 'left'}" if side in ("left", "right") else name
        source[FIELD[name]] = np.arange(FIELD[other].start, FIELD[other].stop)
        if name in ("pelvis", "chest", "head"):
            sign[FIELD[name]] = (-1.0, 1.0, -1.0)
        elif stem == "foot_turn":
            sign[FIELD[name]] = (-1.0, 1.0)
        elif size == 3:
            sign[FIELD[name]] = (1.0, -1.0, 1.0)
    return source, sign


_MIRROR_SOURCE, _MIRROR_SIGN = _mirror_rule()


@dataclass(frozen=True, slots=True, eq=False)
class PoseTargets:
    """One pose: `values` (TARGET_COUNT,) float64, laid out by `FIELD`."""

    values: np.ndarray

    def __post_init__(self) -> None:
        values = np.array(self.values, dtype=np.float64)
        if values.shape != (TARGET_COUNT,):
            raise ShapeError(f"Pose targets must be ({TARGET_COUNT},), got {values.shape}; build them with `targets`.")
        values.setflags(write=False)
        object.__setattr__(self, "values", values)

    def __getitem__(self, field: str) -> np.ndarray:
        """The named target, (size,)."""
        if field not in FIELD:
            raise SettingsError(f"Pose target {field!r} is unknown; use one of {', '.join(FIELD)}.")
        return self.values[FIELD[field]]

    def with_targets(self, **fields: Sequence[float] | float | np.ndarray) -> PoseTargets:
        """A copy with some targets replaced."""
        values = self.values.copy()
        for name, value in fields.items():
            if name not in FIELD:
                raise SettingsError(f"Pose target {name!r} is unknown; use one of {', '.join(FIELD)}.")
            values[FIELD[name]] = value
        return PoseTargets(values)

    def mirrored(self) -> PoseTargets:
        """The pose as seen in a mirror: left and right exchanged."""
        return PoseTargets(self.values[_MIRROR_SOURCE] * _MIRROR_SIGN)


def blend(first: PoseTargets, second: PoseTargets, share: float) -> PoseTargets:
    """Linear blend: `first` at share 0, `second` at 1."""
    if share <= 0:
        return first
    if share >= 1:
        return second
    return PoseTargets(first.values * (1 - share) + second.values * share)


def both(**fields: Sequence[float] | float) -> dict[str, Sequence[float] | float]:
    """Write a symmetric pair once: sideways components are given outward and get each side's sign."""
    pair: dict[str, Sequence[float] | float] = {}
    for name, value in fields.items():
        pair.update(left(**{name: value}))
        pair.update(right(**{name: value}))
    return pair


def left(**fields: Sequence[float] | float) -> dict[str, Sequence[float] | float]:
    """Targets of the left side, sideways components and turns given outward."""
    return {f"{name}_left": value for name, value in fields.items()}


def right(**fields: Sequence[float] | float) -> dict[str, Sequence[float] | float]:
    """Targets of the right side, sideways components and turns given outward."""
    out: dict[str, Sequence[float] | float] = {}
    for name, value in fields.items():
        if isinstance(value, (int, float)):
            out[f"{name}_right"] = value
        elif name == "foot_turn":
            out[f"{name}_right"] = (-value[0], value[1])
        else:
            out[f"{name}_right"] = (value[0], -value[1], value[2])
    return out
