"""From targets to bones: a closed-form solver for many bodies at once.

The trunk follows its angles; each limb is two-bone inverse kinematics (law of cosines) towards its target with the
middle joint pointing along a pole vector; a foot turns about its ball or heel; a hand takes its place on the ball or
in the air. Lengths of limbs never change: a target out of reach is approached along its line, and the hips come down
when a standing foot could not reach the floor.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from pipeline.errors import ShapeError
from pipeline.sim.bodies.body import Body
from pipeline.sim.bodies.parts import PARTS
from pipeline.sim.bodies.skeleton import BONE, BONES
from pipeline.sim.bodies.targets import FIELD, TARGET_COUNT

BALL_RADIUS_FT: Final[float] = 0.39
"""Radius of a size 7 ball: circumference 75–77 cm (FIBA Official Basketball Rules 2024, equipment)."""

_REACH: Final[float] = 0.998
"""Longest distance a two-bone limb is stretched to, as a share of its length."""

_SIDES: Final[tuple[tuple[str, float], ...]] = (("left", 1.0), ("right", -1.0))


@dataclass(frozen=True, eq=False)
class Frame:
    """Measures of one body the solver needs, all at rest, feet. Points are (3,), from `Body.bone_heads_ft`."""

    heads: np.ndarray
    leg_ft: float
    arm_ft: float
    ankle_ft: float
    heel: np.ndarray
    ball_of_foot: np.ndarray
    toe_tip: np.ndarray
    fingers: np.ndarray
    palm: np.ndarray
    palm_centre: np.ndarray


@lru_cache(maxsize=256)
def frame_of(body: Body) -> Frame:
    """Measure a body. Per-side points have shape (2, 3): left, right, relative to ankle or wrist."""
    heads = body.bone_heads_ft
    vertices = body.vertices_ft.astype(np.float64)
    shoes = body.part == PARTS.index("shoes")
    strongest = body.wardrobe.bone_indices[:, 0]
    heel, ball, tip, fingers, palm, centre = [], [], [], [], [], []
    for side, sign in _SIDES:
        ankle = heads[BONE[f"foot_{side}"]]
        shoe = vertices[shoes & (vertices[:, 1] * sign > 0)]
        y = float(shoe[:, 1].mean())
        heel.append(np.array([shoe[:, 0].min() + 0.06, y, 0.0]) - ankle)
        ball.append(heads[BONE[f"toes_{side}"]] - ankle)
        tip.append(np.array([shoe[:, 0].max() - 0.05, y, 0.0]) - ankle)
        wrist, knuckles = heads[BONE[f"hand_{side}"]], heads[BONE[f"fingers_{side}"]]
        ahead = (knuckles - wrist) / np.linalg.norm(knuckles - wrist)
        tips = vertices[strongest == BONE[f"fingers_{side}"]].mean(axis=0) - knuckles
        inside = tips - ahead * (tips @ ahead)
        inside /= np.linalg.norm(inside)
        fingers.append(ahead)
        palm.append(inside)
        centre.append((knuckles - wrist) * 0.75 + inside * 0.09)
    return Frame(
        heads=heads,
        leg_ft=body.leg_ft,
        arm_ft=body.arm_ft,
        ankle_ft=float(heads[BONE["foot_left"], 2]),
        heel=np.stack(heel),
        ball_of_foot=np.stack(ball),
        toe_tip=np.stack(tip),
        fingers=np.stack(fingers),
        palm=np.stack(palm),
        palm_centre=np.stack(centre),
    )


@dataclass(frozen=True, slots=True, eq=False)
class Bones:
    """Posed skeletons of B bodies in the facing frame.

    Attributes
    ----------
    positions_ft : ndarray of shape (B, 29, 3)
        Bone heads.
    rotations : ndarray of shape (B, 29, 3, 3)
        Turn of each bone from its rest direction.
    ball_ft : ndarray of shape (B, 3)
        Centre of the held ball; NaN where no hand holds one.
    palms_ft : ndarray of shape (B, 2, 3)
        Palm centres, left and right.
    """

    positions_ft: np.ndarray
    rotations: np.ndarray
    ball_ft: np.ndarray
    palms_ft: np.ndarray


def _unit(vectors: np.ndarray) -> np.ndarray:
    return vectors / np.maximum(np.sqrt((vectors * vectors).sum(axis=-1, keepdims=True)), 1e-12)


def _cross(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    x = a[..., 1] * b[..., 2] - a[..., 2] * b[..., 1]
    y = a[..., 2] * b[..., 0] - a[..., 0] * b[..., 2]
    z = a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]
    return np.stack([x, y, z], axis=-1)


def _dot(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return (a * b).sum(axis=-1, keepdims=True)


def _turn(matrix: np.ndarray, vector: np.ndarray) -> np.ndarray:
    return (matrix @ vector[..., None])[..., 0]


def _about(axis: str, angle: np.ndarray) -> np.ndarray:
    """Rotation matrices (..., 3, 3) about a coordinate axis."""
    c, s = np.cos(angle), np.sin(angle)
    matrix = np.zeros((*np.shape(angle), 3, 3))
    i, j, k = {"x": (0, 1, 2), "y": (1, 2, 0), "z": (2, 0, 1)}[axis]
    matrix[..., i, i] = 1.0
    matrix[..., j, j] = c
    matrix[..., k, k] = c
    matrix[..., k, j] = s
    matrix[..., j, k] = -s
    return matrix


def _about_vector(axis: np.ndarray, angle: np.ndarray) -> np.ndarray:
    """Rotation matrices about unit vectors (..., 3) by angles (...,), by Rodrigues' formula."""
    x, y, z = axis[..., 0], axis[..., 1], axis[..., 2]
    zero = np.zeros_like(x)
    k = np.stack([zero, -z, y, z, zero, -x, -y, x, zero], axis=-1).reshape(*x.shape, 3, 3)
    s = np.sin(angle)[..., None, None]
    c = np.cos(angle)[..., None, None]
    return np.eye(3) + s * k + (1 - c) * (k @ k)


def _trunk(angles: np.ndarray) -> np.ndarray:
    """Yaw left, lean forward, tilt left, (..., 3) to rotations."""
    return _about("z", angles[..., 0]) @ _about("y", angles[..., 1]) @ _about("x", -angles[..., 2])


def _frame(along: np.ndarray, normal: np.ndarray) -> np.ndarray:
    """Orthonormal frames (..., 3, 3) with columns along, normal made orthogonal, and their cross product."""
    a = _unit(along)
    n = _unit(normal - a * _dot(normal, a))
    return np.stack([a, n, _cross(a, n)], axis=-1)


def _between(first: np.ndarray, second: np.ndarray, share: float) -> np.ndarray:
    """Rotation part-way between two rotations, by blending columns and making them orthonormal."""
    mixed = first * (1 - share) + second * share
    return _frame(mixed[..., :, 0], mixed[..., :, 1])


def _swing(rotation: np.ndarray, rest: np.ndarray, direction: np.ndarray) -> np.ndarray:
    """The smallest further turn of `rotation` that brings a bone's rest direction to `direction`."""
    now = _turn(rotation, rest)
    axis = _cross(now, direction)
    sine = np.sqrt((axis * axis).sum(axis=-1))
    angle = np.arctan2(sine, (now * direction).sum(axis=-1))
    safe = np.where(sine[..., None] > 1e-9, axis / np.maximum(sine[..., None], 1e-12), np.array([0.0, 0.0, 1.0]))
    return _about_vector(safe, np.where(sine > 1e-9, angle, 0.0)) @ rotation


def two_bone(
    root: np.ndarray, target: np.ndarray, upper_ft: np.ndarray, lower_ft: np.ndarray, pole: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Two-bone inverse kinematics by the law of cosines.

    Parameters
    ----------
    root, target, pole : ndarray of shape (B, 3)
        First joint, wanted place of the last, and the direction the middle joint should point.
    upper_ft, lower_ft : ndarray of shape (B,)

    Returns
    -------
    middle, end : ndarray of shape (B, 3)
        Places of the middle and last joint; the end is the target where it is within reach.
    normal : ndarray of shape (B, 3)
        Unit normal of the limb's plane.
    """
    reach = target - root
    distance = np.sqrt((reach * reach).sum(axis=-1))
    direction = np.where(
        distance[:, None] > 1e-9, reach / np.maximum(distance[:, None], 1e-12), np.array([0.0, 0.0, -1.0])
    )
    length = np.clip(
        distance, np.abs(upper_ft - lower_ft) + 1e-3 * (upper_ft + lower_ft), _REACH * (upper_ft + lower_ft)
    )
    bend = pole - direction * _dot(pole, direction)
    size = np.sqrt((bend * bend).sum(axis=-1, keepdims=True))
    least = np.eye(3)[np.argmin(np.abs(direction), axis=-1)]
    spare = least - direction * _dot(least, direction)
    bend = _unit(np.where(size > 1e-6, bend, spare))
    cosine = np.clip((upper_ft**2 + length**2 - lower_ft**2) / (2 * upper_ft * length), -1, 1)
    sine = np.sqrt(1 - cosine**2)
    middle = root + (upper_ft * cosine)[:, None] * direction + (upper_ft * sine)[:, None] * bend
    return middle, root + length[:, None] * direction, _unit(_cross(direction, bend))


def solve(bodies: Sequence[Body], values: np.ndarray) -> Bones:
    """Pose the skeletons of B bodies.

    Parameters
    ----------
    bodies : sequence of B Body
    values : ndarray of shape (B, TARGET_COUNT)
        Pose targets.

    Returns
    -------
    Bones
        In the facing frame, the floor at z = 0.
    """
    if values.shape != (len(bodies), TARGET_COUNT):
        raise ShapeError(f"Targets must be ({len(bodies)}, {TARGET_COUNT}), got {values.shape}; give one row a body.")
    frames = [frame_of(body) for body in bodies]
    count = len(frames)
    rest = np.stack([frame.heads for frame in frames]) if frames else np.zeros((0, len(BONES), 3))
    leg = np.array([frame.leg_ft for frame in frames])
    arm = np.array([frame.arm_ft for frame in frames])
    ankle = np.array([frame.ankle_ft for frame in frames])

    def stacked(name: str) -> np.ndarray:
        rows = [getattr(frame, name) for frame in frames]
        return np.stack(rows) if rows else np.zeros((0, 2, 3))

    heel, ball_of_foot, toe_tip = stacked("heel"), stacked("ball_of_foot"), stacked("toe_tip")
    rest_fingers, rest_palm, palm_centre = stacked("fingers"), stacked("palm"), stacked("palm_centre")

    position = np.zeros((count, len(BONES), 3))
    rotation = np.zeros((count, len(BONES), 3, 3))

    def field(name: str) -> np.ndarray:
        return values[:, FIELD[name]]

    def offset(child: str, parent: str) -> np.ndarray:
        return rest[:, BONE[child]] - rest[:, BONE[parent]]

    def hang(child: str, parent: str) -> np.ndarray:
        """Head of a bone carried by another."""
        p = BONE[parent]
        return position[:, p] + _turn(rotation[:, p], offset(child, parent))

    pelvis = _trunk(field("pelvis"))
    chest_angles = field("chest")
    chest = pelvis @ _trunk(chest_angles)
    abdomen = pelvis @ _trunk(chest_angles * 0.5)
    head_angles = field("head") * np.array([1.0, -1.0, 1.0])
    head = _trunk(head_angles)

    feet: dict[str, tuple[np.ndarray, np.ndarray, np.ndarray]] = {}
    for row, (side, _) in enumerate(_SIDES):
        place, turn = field(f"foot_{side}"), field(f"foot_turn_{side}")
        yaw, pitch = turn[:, 0], turn[:, 1]
        foot = _about("z", yaw) @ _about("y", pitch)
        flat = _about("z", yaw)
        on_floor = np.clip(1 - place[:, 2] / 0.04, 0, 1)
        toe_bend = np.clip(pitch, 0, 1.0) * on_floor
        pivot = np.where((pitch > 0)[:, None], ball_of_foot[:, row], heel[:, row])
        spot = np.column_stack([place[:, :2] * leg[:, None], ankle])
        at = spot + _turn(flat, pivot) - _turn(foot, pivot)
        tip = _turn(foot, ball_of_foot[:, row]) + _turn(
            foot @ _about("y", -toe_bend), toe_tip[:, row] - ball_of_foot[:, row]
        )
        lowest = np.minimum.reduce(
            [_turn(foot, heel[:, row])[:, 2], _turn(foot, ball_of_foot[:, row])[:, 2], tip[:, 2]]
        )
        at[:, 2] = place[:, 2] * leg - lowest
        feet[side] = (at, foot, toe_bend)

    middle = 0.5 * (rest[:, BONE["thigh_left"]] + rest[:, BONE["thigh_right"]])
    hip = field("hip") * leg[:, None]
    hip[:, 2] += ankle
    for side, _ in _SIDES:
        joint = hip + _turn(pelvis, rest[:, BONE[f"thigh_{side}"]] - middle)
        at = feet[side][0]
        across = np.minimum(np.hypot(*(joint - at)[:, :2].T), 0.97 * leg)
        highest = at[:, 2] + np.sqrt((0.995 * leg) ** 2 - across**2)
        standing = np.clip(1 - field(f"foot_{side}")[:, 2] / 0.05, 0, 1)
        hip[:, 2] -= np.maximum(joint[:, 2] - highest, 0) * standing
    position[:, BONE["pelvis"]] = hip + _turn(pelvis, rest[:, BONE["pelvis"]] - middle)
    rotation[:, BONE["pelvis"]] = pelvis
    for bone, turn_of, parent in (
        ("abdomen", abdomen, "pelvis"),
        ("chest", chest, "abdomen"),
        ("neck", _between(chest, head, 0.5), "chest"),
        ("head", head, "neck"),
    ):
        position[:, BONE[bone]] = hang(bone, parent)
        rotation[:, BONE[bone]] = turn_of

    forward = np.broadcast_to(np.array([1.0, 0.0, 0.0]), (count, 3))
    for side, sign in _SIDES:
        at, foot, toe_bend = feet[side]
        thigh, twist, shin, foot_bone = (f"{bone}_{side}" for bone in ("thigh", "thigh_twist", "shin", "foot"))
        position[:, BONE[thigh]] = hang(thigh, "pelvis")
        upper = np.linalg.norm(offset(shin, thigh), axis=1)
        lower = np.linalg.norm(offset(foot_bone, shin), axis=1)
        yaw = field(f"foot_turn_{side}")[:, 0] + sign * field(f"knee_{side}")[:, 0]
        pole = np.stack([np.cos(yaw), np.sin(yaw), np.zeros(count)], axis=-1)
        # A thigh lifted high or folded back still bends the knee forwards: lean the pole with the pelvis.
        pole = pole + 0.5 * _turn(pelvis, forward) + np.array([0.0, 0.0, 0.3])
        knee, end, normal = two_bone(position[:, BONE[thigh]], at, upper, lower, pole)
        rest_reach = offset(foot_bone, thigh)
        rest_normal = _unit(_cross(_unit(rest_reach), forward))
        thigh_turn = _frame(knee - position[:, BONE[thigh]], normal) @ np.swapaxes(
            _frame(offset(shin, thigh), rest_normal), -1, -2
        )
        shin_turn = _frame(end - knee, normal) @ np.swapaxes(_frame(offset(foot_bone, shin), rest_normal), -1, -2)
        near = _swing(pelvis, _unit(offset(shin, thigh)), _unit(knee - position[:, BONE[thigh]]))
        rotation[:, BONE[thigh]] = _between(near, thigh_turn, 0.5)
        # The split bones share one axis, so their heads stay on the straight line of the thigh.
        position[:, BONE[twist]] = position[:, BONE[thigh]] + _turn(thigh_turn, offset(twist, thigh))
        rotation[:, BONE[twist]] = thigh_turn
        position[:, BONE[shin]], rotation[:, BONE[shin]] = knee, shin_turn
        position[:, BONE[foot_bone]], rotation[:, BONE[foot_bone]] = end, foot
        toes = f"toes_{side}"
        position[:, BONE[toes]] = hang(toes, foot_bone)
        rotation[:, BONE[toes]] = foot @ _about("y", -toe_bend)

    shoulders = 0.5 * (rest[:, BONE["upper_arm_left"]] + rest[:, BONE["upper_arm_right"]]) - rest[:, BONE["chest"]]
    ball = position[:, BONE["chest"]] + _turn(chest, shoulders + field("ball") * arm[:, None])
    palms = np.zeros((count, 2, 3))
    for row, (side, sign) in enumerate(_SIDES):
        clavicle, upper_arm, arm_twist, forearm, fore_twist, hand, fingers = (
            f"{bone}_{side}"
            for bone in ("clavicle", "upper_arm", "upper_arm_twist", "forearm", "forearm_twist", "hand", "fingers")
        )
        hold = field(f"hold_{side}")
        palm_target = _turn(chest, field(f"palm_{side}"))
        finger_target = _turn(chest, field(f"fingers_{side}"))
        anchor = position[:, BONE["chest"]] + _turn(chest, offset(upper_arm, "chest"))
        free = anchor + _turn(chest, field(f"wrist_{side}") * arm[:, None])
        held = ball - _unit(palm_target) * BALL_RADIUS_FT - _unit(finger_target) * 0.15
        wrist = free * (1 - hold) + held * hold

        inside = _turn(np.swapaxes(chest, -1, -2), _unit(wrist - anchor))
        raised = 0.5 * np.clip(inside[:, 2] + 0.15, 0, 1.2)
        ahead = 0.28 * np.clip(inside[:, 0], -0.3, 1)
        shrug = chest @ _about("x", sign * raised) @ _about("z", -sign * ahead)
        position[:, BONE[clavicle]], rotation[:, BONE[clavicle]] = hang(clavicle, "chest"), shrug
        shoulder = hang(upper_arm, clavicle)
        upper = np.linalg.norm(offset(forearm, upper_arm), axis=1)
        lower = np.linalg.norm(offset(hand, forearm), axis=1)
        pole = _turn(chest, field(f"elbow_{side}"))
        rest_hand = _frame(rest_fingers[:, row], rest_palm[:, row])
        for _ in range(2):
            elbow, end, normal = two_bone(shoulder, wrist, upper, lower, pole)
            along = _unit(end - elbow)
            pointing = _unit(along + finger_target)
            # A wrist bends by about 75 degrees at most.
            lacking = np.clip(0.26 - _dot(pointing, along), 0, None)
            pointing = _unit(pointing + along * lacking * 1.1)
            hand_turn = _frame(pointing, palm_target + 0.02 * normal) @ np.swapaxes(rest_hand, -1, -2)
            held = ball - _unit(palm_target) * BALL_RADIUS_FT - _turn(hand_turn, palm_centre[:, row])
            wrist = free * (1 - hold) + held * hold
        rest_reach = _unit(offset(hand, upper_arm))
        rest_bend = offset(forearm, upper_arm)
        rest_normal = _unit(_cross(rest_reach, rest_bend - rest_reach * _dot(rest_bend, rest_reach)))
        arm_turn = _frame(elbow - shoulder, normal) @ np.swapaxes(_frame(rest_bend, rest_normal), -1, -2)
        fore_turn = _frame(end - elbow, normal) @ np.swapaxes(_frame(offset(hand, forearm), rest_normal), -1, -2)
        near = _swing(shrug, _unit(rest_bend), _unit(elbow - shoulder))
        position[:, BONE[upper_arm]], rotation[:, BONE[upper_arm]] = shoulder, _between(near, arm_turn, 0.35)
        position[:, BONE[arm_twist]] = shoulder + _turn(arm_turn, offset(arm_twist, upper_arm))
        rotation[:, BONE[arm_twist]] = arm_turn
        relative = hand_turn @ np.swapaxes(fore_turn, -1, -2)
        turned = _turn(relative, normal)
        turned = turned - along * _dot(turned, along)
        roll = np.arctan2((_cross(normal, turned) * along).sum(axis=-1), (normal * turned).sum(axis=-1))
        position[:, BONE[forearm]] = elbow
        rotation[:, BONE[forearm]] = _about_vector(along, 0.25 * roll) @ fore_turn
        position[:, BONE[fore_twist]] = elbow + _turn(fore_turn, offset(fore_twist, forearm))
        rotation[:, BONE[fore_twist]] = _about_vector(along, 0.75 * roll) @ fore_turn
        position[:, BONE[hand]], rotation[:, BONE[hand]] = end, hand_turn
        position[:, BONE[fingers]] = hang(fingers, hand)
        hinge = _cross(_turn(hand_turn, rest_fingers[:, row]), _turn(hand_turn, rest_palm[:, row]))
        rotation[:, BONE[fingers]] = _about_vector(_unit(hinge), 1.5 * field(f"curl_{side}")[:, 0] - 0.35) @ hand_turn
        palms[:, row] = end + _turn(hand_turn, palm_centre[:, row])

    held_at_all = np.maximum(field("hold_left"), field("hold_right")) > 0.5
    return Bones(position, rotation, np.where(held_at_all, ball, np.nan), palms)
