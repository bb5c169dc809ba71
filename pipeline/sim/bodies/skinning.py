"""From bones to surfaces: linear blend skinning of many bodies at once, and placing them on the floor."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from pipeline.sim.bodies.body import Body, Wardrobe
from pipeline.sim.bodies.skeleton import BONE, BONES, JOINTS
from pipeline.sim.bodies.solve import Bones, frame_of, solve
from pipeline.sim.bodies.targets import PoseTargets


@dataclass(frozen=True, slots=True, eq=False)
class PosedBody:
    """A body in a pose.

    Attributes
    ----------
    body : Body
    vertices_ft, normals : ndarrays of shape (V, 3) of float32
        Facing frame (`pose_body`) or court frame (`place`, `pose_actor`).
    bone_positions_ft : ndarray of shape (29, 3)
    bone_rotations : ndarray of shape (29, 3, 3)
    palms_ft : ndarray of shape (2, 3)
        Palm centres, left and right.
    ball_ft : ndarray of shape (3,)
        Centre of the ball this pose holds or dribbles; NaN when it has none.
    """

    body: Body
    vertices_ft: np.ndarray
    normals: np.ndarray
    bone_positions_ft: np.ndarray
    bone_rotations: np.ndarray
    palms_ft: np.ndarray
    ball_ft: np.ndarray


@lru_cache(maxsize=8)
def _dense_weights(wardrobe: Wardrobe) -> np.ndarray:
    """Skin weights as a (V, 29) float32 matrix."""
    dense = np.zeros((len(wardrobe.part), len(BONES)), dtype=np.float32)
    rows = np.arange(len(dense))
    for slot in range(wardrobe.bone_indices.shape[1]):
        np.add.at(dense, (rows, wardrobe.bone_indices[:, slot]), wardrobe.bone_weights[:, slot])
    return dense


def skin(bodies: Sequence[Body], bones: Bones) -> tuple[PosedBody, ...]:
    """Skin B bodies with their posed bones; bodies of one outfit go through one matrix product."""
    out: list[PosedBody | None] = [None] * len(bodies)
    wardrobes = {id(body.wardrobe): body.wardrobe for body in bodies}
    for wardrobe in wardrobes.values():
        rows = [i for i, body in enumerate(bodies) if body.wardrobe is wardrobe]
        rest = np.stack([bodies[i].bone_heads_ft for i in rows])
        turn = bones.rotations[rows]
        shift = bones.positions_ft[rows] - np.einsum("bkij,bkj->bki", turn, rest)
        transforms = np.concatenate([turn, shift[..., None]], axis=-1).astype(np.float32)
        stacked = np.ascontiguousarray(transforms.transpose(1, 0, 2, 3)).reshape(len(BONES), -1)
        blended = (_dense_weights(wardrobe) @ stacked).reshape(-1, len(rows), 3, 4)
        for column, i in enumerate(rows):
            matrix = blended[:, column]
            points, directions = bodies[i].vertices_ft, bodies[i].normals
            vertices = np.empty_like(points)
            normals = np.empty_like(points)
            for axis in range(3):
                row = matrix[:, axis]
                vertices[:, axis] = (
                    row[:, 0] * points[:, 0] + row[:, 1] * points[:, 1] + row[:, 2] * points[:, 2] + row[:, 3]
                )
                normals[:, axis] = (
                    row[:, 0] * directions[:, 0] + row[:, 1] * directions[:, 1] + row[:, 2] * directions[:, 2]
                )
            normals /= np.maximum(np.sqrt((normals * normals).sum(axis=1, keepdims=True)), 1e-9)
            out[i] = PosedBody(
                body=bodies[i],
                vertices_ft=vertices,
                normals=normals,
                bone_positions_ft=bones.positions_ft[i],
                bone_rotations=bones.rotations[i],
                palms_ft=bones.palms_ft[i],
                ball_ft=bones.ball_ft[i],
            )
    return tuple(posed for posed in out if posed is not None)


def pose_body(body: Body, targets: PoseTargets) -> PosedBody:
    """Pose one body in the facing frame: standing at the origin, looking along +x, the floor at z = 0."""
    return skin([body], solve([body], targets.values[None]))[0]


def place(posed: PosedBody, position_ft: np.ndarray, facing_rad: float, height_off_floor_ft: float = 0.0) -> PosedBody:
    """Move a body from the facing frame to the court frame.

    Parameters
    ----------
    position_ft : ndarray of shape (2,)
        Floor point.
    facing_rad : float
        0 looks along +x, counter-clockwise seen from above.
    height_off_floor_ft : float
        How high the pose's floor lies above the court's.
    """
    c, s = np.cos(facing_rad), np.sin(facing_rad)
    turn = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    shift = np.array([position_ft[0], position_ft[1], height_off_floor_ft])
    small, small_shift = turn.T.astype(np.float32), shift.astype(np.float32)
    return replace(
        posed,
        vertices_ft=posed.vertices_ft @ small + small_shift,
        normals=posed.normals @ small,
        bone_positions_ft=posed.bone_positions_ft @ turn.T + shift,
        bone_rotations=turn @ posed.bone_rotations,
        palms_ft=posed.palms_ft @ turn.T + shift,
        ball_ft=posed.ball_ft @ turn.T + shift,
    )


def hand_points(posed: PosedBody) -> np.ndarray:
    """Palm centres, (2, 3): left, right; in the frame of `posed`."""
    return posed.palms_ft


def joints(posed: PosedBody) -> np.ndarray:
    """Named joints, (len(JOINTS), 3), in the order of `skeleton.JOINTS`; in the frame of `posed`."""
    at, turn = posed.bone_positions_ft, posed.bone_rotations
    rest = posed.body.bone_heads_ft
    frame = frame_of(posed.body)
    head, neck = BONE["head"], BONE["neck"]
    crown = posed.body.stature_ft - rest[head, 2]
    named = {
        "head_top": at[head] + turn[head] @ np.array([0.0, 0.0, crown]),
        "nose": at[head] + turn[head] @ np.array([0.42, 0.0, 0.35 * crown]),
        "neck": at[neck],
    }
    for row, side in enumerate(("left", "right")):
        foot, toes = BONE[f"foot_{side}"], BONE[f"toes_{side}"]
        ball = at[foot] + turn[foot] @ frame.ball_of_foot[row]
        named |= {
            f"shoulder_{side}": at[BONE[f"upper_arm_{side}"]],
            f"elbow_{side}": at[BONE[f"forearm_{side}"]],
            f"wrist_{side}": at[BONE[f"hand_{side}"]],
            f"hand_{side}": posed.palms_ft[row],
            f"hip_{side}": at[BONE[f"thigh_{side}"]],
            f"knee_{side}": at[BONE[f"shin_{side}"]],
            f"ankle_{side}": at[foot],
            f"heel_{side}": at[foot] + turn[foot] @ frame.heel[row],
            f"toe_{side}": ball + turn[toes] @ (frame.toe_tip[row] - frame.ball_of_foot[row]),
        }
    return np.stack([named[name] for name in JOINTS])
