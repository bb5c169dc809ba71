"""The small skeleton that carries every body: 29 bones, what they hang from, and the joints that labels name.

The parametric body the meshes are baked from has more than a hundred bones; at broadcast scale these suffice. Upper
arm, forearm and thigh are split in two so that their twist spreads along the limb instead of pinching the joint.
"""

from __future__ import annotations

from typing import Final

import numpy as np

_SIDE_BONES = (
    "clavicle",
    "upper_arm",
    "upper_arm_twist",
    "forearm",
    "forearm_twist",
    "hand",
    "fingers",
    "thigh",
    "thigh_twist",
    "shin",
    "foot",
    "toes",
)
BONES: Final[tuple[str, ...]] = (
    "pelvis",
    "abdomen",
    "chest",
    "neck",
    "head",
    *(f"{bone}_left" for bone in _SIDE_BONES),
    *(f"{bone}_right" for bone in _SIDE_BONES),
)
"""Bone names in the order of every bone array; a parent always precedes its children."""

BONE: Final[dict[str, int]] = {name: index for index, name in enumerate(BONES)}
"""Bone name to index."""

_PARENT_OF = {
    "pelvis": None,
    "abdomen": "pelvis",
    "chest": "abdomen",
    "neck": "chest",
    "head": "neck",
    "clavicle": "chest",
    "upper_arm": "clavicle",
    "upper_arm_twist": "upper_arm",
    "forearm": "upper_arm_twist",
    "forearm_twist": "forearm",
    "hand": "forearm_twist",
    "fingers": "hand",
    "thigh": "pelvis",
    "thigh_twist": "thigh",
    "shin": "thigh_twist",
    "foot": "shin",
    "toes": "foot",
}


def _parents() -> np.ndarray:
    """Parent index of each bone, -1 for the pelvis."""
    parents = np.full(len(BONES), -1, dtype=np.int64)
    for index, name in enumerate(BONES):
        stem, _, side = name.rpartition("_")
        is_sided = side in ("left", "right")
        parent = _PARENT_OF[stem if is_sided else name]
        if parent is None:
            continue
        parents[index] = BONE[parent] if parent in BONE else BONE[f"{parent}_{side}"]
    parents.setflags(write=False)
    return parents


PARENTS: Final[np.ndarray] = _parents()
"""(29,) index of each bone's parent; -1 for the pelvis."""

JOINTS: Final[tuple[str, ...]] = (
    "head_top",
    "nose",
    "neck",
    "shoulder_left",
    "shoulder_right",
    "elbow_left",
    "elbow_right",
    "wrist_left",
    "wrist_right",
    "hand_left",
    "hand_right",
    "hip_left",
    "hip_right",
    "knee_left",
    "knee_right",
    "ankle_left",
    "ankle_right",
    "heel_left",
    "heel_right",
    "toe_left",
    "toe_right",
)
"""Names of the points `joints` returns, in its order; a hand is the centre of the palm."""
