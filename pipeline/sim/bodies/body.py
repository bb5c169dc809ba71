"""A body at rest: its mesh, parts, shader coordinates and skeleton, as loaded from the baked file."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Final

import numpy as np

from pipeline.errors import DataError
from pipeline.sim.bodies.parts import PARTS
from pipeline.sim.bodies.skeleton import BONE, BONES

BODIES_FILE: Final[Path] = Path(__file__).with_name("bodies.npz")
"""The baked file; `bake` writes it."""

OUTFITS: Final[tuple[str, ...]] = ("player", "official")
"""A player wears jersey and shorts; an official (or coach) a shirt with short sleeves and long trousers."""


@dataclass(frozen=True, eq=False)
class Wardrobe:
    """What all bodies in one outfit share: triangles, parts, shader coordinates and skin weights.

    Attributes
    ----------
    outfit : {"player", "official"}
    faces : ndarray of shape (F, 3) of int32
        Triangles, counter-clockwise seen from outside. No vertex is shared between parts.
    part : ndarray of shape (V,) of uint8
        Index into `parts.PARTS`, per vertex (all three corners of a face agree).
    rest_uvw : ndarray of shape (V, 3) of float32
        Body-independent rest position: the vertex on the mean body of 6.5 ft, feet; u forward, v to the body's left,
        w up from the bare sole. One shader with fixed numbers serves everybody: crown at w = 6.5, eyes 6.1, neckline
        5.1 in front and 5.5 behind, armpit 4.7, waistband 3.95, hip joint 3.45, crotch 3.1, shorts' hem 2.05, knee
        1.8, ankle 0.3; the trunk is 0.6 to either side and from u = -0.3 to 0.5, so u = 0.1 parts front from back. A
        number fits |v| < 0.45, w 4.2 to 5.0; the neck's axis is u = 0.1.
    leg_along : ndarray of shape (V,) of float32
        0 at the hip joint, 1 at the knee, 2 at the ankle; negative above the hip.
    arm_along : ndarray of shape (V,) of float32
        0 at the shoulder joint, 1 at the elbow, 2 at the wrist; -0.5 away from the arms.
    bone_indices, bone_weights : ndarrays of shape (V, 4), uint8 and float32
        Skin weights; rows sum to one.
    """

    outfit: str
    faces: np.ndarray
    part: np.ndarray
    rest_uvw: np.ndarray
    leg_along: np.ndarray
    arm_along: np.ndarray
    bone_indices: np.ndarray
    bone_weights: np.ndarray


@dataclass(frozen=True, eq=False)
class Body:
    """One person at rest (A-pose), in feet: facing +x, y to the body's left, z up, soles at z = 0.

    Attributes
    ----------
    name : str
        Stable name in the baked file, as "man_03".
    index : int
        Place in `load_bodies()`.
    hair : str
        Hair style; "shaved" wants a hair colour near the skin's.
    wardrobe : Wardrobe
        Shared by all bodies of the outfit (the same object, so faces need uploading once).
    vertices_ft : ndarray of shape (V, 3) of float32
    bone_heads_ft : ndarray of shape (29, 3) of float64
        Rest joints, in `skeleton.BONES` order.
    """

    name: str
    index: int
    hair: str
    wardrobe: Wardrobe
    vertices_ft: np.ndarray
    bone_heads_ft: np.ndarray

    @property
    def outfit(self) -> str:
        """ "player" or "official"."""
        return self.wardrobe.outfit

    @property
    def faces(self) -> np.ndarray:
        """(F, 3) triangles."""
        return self.wardrobe.faces

    @property
    def part(self) -> np.ndarray:
        """(V,) part id of each vertex."""
        return self.wardrobe.part

    @property
    def rest_uvw(self) -> np.ndarray:
        """(V, 3) body-independent rest coordinates for the shader."""
        return self.wardrobe.rest_uvw

    @property
    def leg_along(self) -> np.ndarray:
        """(V,) place along the leg: hip 0, knee 1, ankle 2."""
        return self.wardrobe.leg_along

    @property
    def arm_along(self) -> np.ndarray:
        """(V,) place along the arm: shoulder 0, elbow 1, wrist 2."""
        return self.wardrobe.arm_along

    @property
    def stature_ft(self) -> float:
        """Standing height in shoes, hair included."""
        return float(self.vertices_ft[:, 2].max())

    @cached_property
    def normals(self) -> np.ndarray:
        """(V, 3) float32 unit rest normals, smooth within a part."""
        return _read_only(_vertex_normals(self.vertices_ft, self.faces))

    @cached_property
    def leg_ft(self) -> float:
        """Thigh plus shin."""
        return self._chain("thigh_left", "shin_left", "foot_left")

    @cached_property
    def arm_ft(self) -> float:
        """Upper arm plus forearm, shoulder joint to wrist."""
        return self._chain("upper_arm_left", "forearm_left", "hand_left")

    def _chain(self, *bones: str) -> float:
        points = self.bone_heads_ft[[BONE[bone] for bone in bones]]
        return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())


def _read_only(array: np.ndarray) -> np.ndarray:
    array.setflags(write=False)
    return array


def _vertex_normals(vertices: np.ndarray, faces: np.ndarray) -> np.ndarray:
    """Area-weighted unit normals, (V, 3) float32."""
    corners = vertices[faces].astype(np.float64)
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals = np.zeros((len(vertices), 3))
    for corner in range(3):
        for axis in range(3):
            normals[:, axis] += np.bincount(faces[:, corner], across[:, axis], minlength=len(vertices))
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)
    return normals.astype(np.float32)


@lru_cache(maxsize=4)
def load_bodies(path: Path = BODIES_FILE) -> tuple[Body, ...]:
    """Every baked body, players first; the same objects on each call.

    Raises
    ------
    DataError
        The file is missing or not a bodies file.
    """
    if not path.is_file():
        raise DataError(f"No bodies at {path}; bake them with `python -m pipeline.sim.bodies.bake`.")
    bodies: list[Body] = []
    with np.load(path, allow_pickle=False) as file:
        for outfit in OUTFITS:
            if f"{outfit}_vertices_ft" not in file:
                raise DataError(
                    f"{path} holds no {outfit} bodies; bake it again with `python -m pipeline.sim.bodies.bake`."
                )
            heads = file[f"{outfit}_bone_heads_ft"].astype(np.float64)
            part = file[f"{outfit}_part"]
            if heads.shape[1] != len(BONES) or part.max() >= len(PARTS):
                raise DataError(f"{path} was baked for another skeleton; bake it again.")
            wardrobe = Wardrobe(
                outfit=outfit,
                faces=_read_only(file[f"{outfit}_faces"]),
                part=_read_only(part),
                rest_uvw=_read_only(file[f"{outfit}_reference_ft"]),
                leg_along=_read_only(file[f"{outfit}_leg"]),
                arm_along=_read_only(file[f"{outfit}_arm"]),
                bone_indices=_read_only(file[f"{outfit}_bones"]),
                bone_weights=_read_only(file[f"{outfit}_weights"]),
            )
            vertices = file[f"{outfit}_vertices_ft"]
            names, hair = file[f"{outfit}_names"], file[f"{outfit}_hair"]
            for row in range(len(vertices)):
                bodies.append(
                    Body(
                        name=str(names[row]),
                        index=len(bodies),
                        hair=str(hair[row]),
                        wardrobe=wardrobe,
                        vertices_ft=_read_only(vertices[row].copy()),
                        bone_heads_ft=_read_only(heads[row].copy()),
                    )
                )
    return tuple(bodies)
