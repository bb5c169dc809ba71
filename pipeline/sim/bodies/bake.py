"""Bake the bodies: from the parametric human of `anny` to the small file the generator loads.

    ANNY_CACHE_DIR=<a folder with 1 GB free> python -m pipeline.sim.bodies.bake

Needs the `[sim]` extra and torch; the first run builds anny's cache (two minutes). The result is fixed: the list of
people below is the only input. Licences: anny's code is Apache-2.0, its shape assets are CC0 (from the MakeHuman
community), so the baked meshes carry no condition; the `smplx` topology, whose assets are non-commercial, is not used.

Every body has the same triangles: clothes are cut, smoothed and decimated once, on the mean body, and each vertex is
remembered as a weighted mean of the full mesh's vertices. Another body is the same mean of its own full mesh, after
its own clothes were pushed out.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from pipeline.errors import MissingExtraError
from pipeline.sim.bodies.clothes import FullMesh, dress
from pipeline.sim.bodies.skeleton import BONE, BONES

FEET_PER_METRE = 1 / 0.3048


@dataclass(frozen=True, slots=True)
class Person:
    """One person to bake, in anny's phenotype terms (each 0..1).

    `gender` 0 is male, 1 female; `age` 2/3 is a young adult, 1 is old; `hair` names a `clothes.HAIR` style.
    """

    name: str
    outfit: str
    height_m: float
    gender: float
    age: float
    muscle: float
    weight: float
    proportions: float
    hair: str
    tucked: float


def _players() -> list[Person]:
    """Twenty athletes: twelve men of 1.82–2.15 m, eight women of 1.75–2.00 m."""
    men = (
        (1.82, 0.72, 0.42, "crop"),
        (1.86, 0.80, 0.45, "afro"),
        (1.90, 0.78, 0.44, "short"),
        (1.92, 0.88, 0.50, "shaved"),
        (1.95, 0.75, 0.42, "high"),
        (1.97, 0.85, 0.48, "crop"),
        (1.99, 0.90, 0.52, "short"),
        (2.01, 0.78, 0.44, "bun"),
        (2.04, 0.88, 0.50, "crop"),
        (2.07, 0.82, 0.55, "shaved"),
        (2.10, 0.85, 0.50, "afro"),
        (2.15, 0.80, 0.48, "short"),
    )
    women = (
        (1.75, 0.68, 0.42, "tail"),
        (1.78, 0.72, 0.46, "bun"),
        (1.81, 0.66, 0.42, "tail"),
        (1.84, 0.74, 0.48, "bun"),
        (1.87, 0.70, 0.44, "afro"),
        (1.90, 0.74, 0.50, "tail"),
        (1.94, 0.72, 0.46, "bun"),
        (2.00, 0.74, 0.48, "tail"),
    )
    people = [
        Person(f"man_{i:02d}", "player", height, 0.0, 2 / 3, muscle, weight, 0.9, hair, float(i % 4 != 3))
        for i, (height, muscle, weight, hair) in enumerate(men)
    ]
    people += [
        Person(f"woman_{i:02d}", "player", height, 1.0, 2 / 3, muscle, weight, 0.85, hair, float(i % 3 != 2))
        for i, (height, muscle, weight, hair) in enumerate(women)
    ]
    return people


def _others() -> list[Person]:
    """Eight officials and coaches: shorter, softer, older, in a shirt and long trousers."""
    rows = (
        (1.78, 0.0, 0.78, 0.55, 0.52, "short"),
        (1.84, 0.0, 0.85, 0.60, 0.55, "shaved"),
        (1.88, 0.0, 0.72, 0.65, 0.48, "crop"),
        (1.75, 1.0, 0.72, 0.55, 0.48, "tail"),
        (1.70, 1.0, 0.80, 0.50, 0.52, "bun"),
        (1.80, 0.0, 0.92, 0.45, 0.75, "short"),
        (1.86, 0.0, 0.95, 0.40, 0.85, "shaved"),
        (1.91, 0.0, 0.88, 0.55, 0.65, "short"),
    )
    return [
        Person(f"official_{i:02d}", "official", height, gender, age, muscle, weight, 0.6, hair, 1.0)
        for i, (height, gender, age, muscle, weight, hair) in enumerate(rows)
    ]


PEOPLE: tuple[Person, ...] = (*_players(), *_others())
"""Everyone in the file, players first."""

_BONE_OF_STEM = {
    "root": "pelvis",
    "pelvis": "pelvis",
    "spine05": "pelvis",
    "spine04": "abdomen",
    "spine03": "abdomen",
    "spine02": "chest",
    "spine01": "chest",
    "breast": "chest",
    "neck01": "neck",
    "neck02": "neck",
    "neck03": "neck",
    "clavicle": "clavicle",
    "shoulder01": "clavicle",
    "upperarm01": "upper_arm",
    "upperarm02": "upper_arm_twist",
    "lowerarm01": "forearm",
    "lowerarm02": "forearm_twist",
    "wrist": "hand",
    "upperleg01": "thigh",
    "upperleg02": "thigh_twist",
    "lowerleg01": "shin",
    "lowerleg02": "shin",
    "foot": "foot",
}


def _small_bone(label: str) -> str:
    """Which of our bones an anny bone's influence goes to."""
    stem, _, side_letter = label.partition(".")
    side = {"L": "_left", "R": "_right", "": ""}[side_letter]
    if stem.startswith("toe"):
        return f"toes{side}"
    if stem.startswith(("metacarpal", "finger1")):
        return f"hand{side}"
    if stem.startswith("finger"):
        return f"fingers{side}"
    if stem in _BONE_OF_STEM:
        bone = _BONE_OF_STEM[stem]
        return bone if bone in BONE else f"{bone}{side}"
    return "head"


_HEAD_OF = {
    "pelvis": "root",
    "abdomen": "spine04",
    "chest": "spine02",
    "neck": "neck01",
    "head": "head",
    "clavicle": "clavicle",
    "upper_arm": "upperarm01",
    "upper_arm_twist": "upperarm02",
    "forearm": "lowerarm01",
    "forearm_twist": "lowerarm02",
    "hand": "wrist",
    "fingers": "finger3-1",
    "thigh": "upperleg01",
    "thigh_twist": "upperleg02",
    "shin": "lowerleg01",
    "foot": "foot",
    "toes": "toe2-1",
}


def _source_head(bone: str) -> str:
    """Name of the anny bone whose head is our bone's head."""
    stem, _, side = bone.rpartition("_")
    if side in ("left", "right"):
        return f"{_HEAD_OF[stem]}.{side[0].upper()}"
    return _HEAD_OF[bone]


def full_meshes(people: Sequence[Person]) -> FullMesh:
    """Full-resolution rest meshes of the people from anny, in feet, facing +x, y to their left, soles at z = 0."""
    try:
        import torch
        from anny import Anny
        from anny.face_segmentation import get_face_segmentation_mask
        from anny.models.model_data import RigConfig, TopologyConfig
    except ImportError as error:
        raise MissingExtraError(
            f"Baking bodies needs torch and anny ({error.name} is missing); install the [sim] extra and torch."
        ) from error

    model = Anny(
        rig=RigConfig("makehuman", bone_orientation="blender"),
        topology=TopologyConfig("makehuman", eyes=True, tongue=False),
        phenotypes="all",
        skinning_method="lbs",
        phenotype_blendshapes="original",
    )
    hidden = get_face_segmentation_mask(
        model,
        ["mouth_cavity", "tongue", "eye_cavity.L", "eye_cavity.R", "eye_back.L", "eye_back.R"],
    )
    hidden = hidden.numpy() if hasattr(hidden, "numpy") else np.asarray(hidden)

    def rest(person: Person, height: float) -> tuple[np.ndarray, np.ndarray]:
        values = {
            "gender": person.gender,
            "age": person.age,
            "muscle": person.muscle,
            "weight": person.weight,
            "height": height,
            "proportions": person.proportions,
            "cupsize": 0.3,
            "firmness": 0.8,
        }
        with torch.no_grad():
            out = model(phenotype_kwargs={key: torch.tensor([value]) for key, value in values.items()})
        return out["rest_vertices"][0].numpy().astype(float), out["rest_bone_heads"][0].numpy().astype(float)

    def stature(height: float, person: Person) -> float:
        return float(np.ptp(rest(person, height)[0][:, 2]))

    labels = list(model.bone_labels)
    head_rows = [labels.index(_source_head(bone)) for bone in BONES]
    all_vertices, all_heads = [], []
    for person in people:
        low, high = 0.0, 1.0
        for _ in range(12):
            middle = (low + high) / 2
            low, high = (middle, high) if stature(middle, person) < person.height_m else (low, middle)
        vertices, heads = rest(person, (low + high) / 2)
        scale = person.height_m / np.ptp(vertices[:, 2])
        floor = vertices[:, 2].min()
        heads = heads[head_rows]

        def to_ours(points: np.ndarray, scale: float = scale, floor: float = floor) -> np.ndarray:
            turned = np.column_stack([-points[:, 1], points[:, 0], points[:, 2] - floor])
            return turned * scale * FEET_PER_METRE

        all_vertices.append(to_ours(vertices))
        all_heads.append(to_ours(heads))

    weights = np.zeros((len(model.template_vertices), len(BONES)))
    columns = np.array([BONE[_small_bone(label)] for label in labels])
    indices = model.vertex_bone_indices.numpy()
    values = model.vertex_bone_weights.numpy().astype(float)
    for slot in range(indices.shape[1]):
        np.add.at(weights, (np.arange(len(weights)), columns[indices[:, slot]]), values[:, slot])
    weights /= weights.sum(axis=1, keepdims=True)
    faces = model.faces.numpy()
    return FullMesh(
        vertices_ft=np.stack(all_vertices),
        bone_heads_ft=np.stack(all_heads),
        faces=faces[~hidden],
        weights=weights,
    )


def main(arguments: Sequence[str] | None = None) -> None:
    """Bake every person and write the file."""
    parser = argparse.ArgumentParser(description="Bake the simulator's bodies from anny.")
    parser.add_argument("--out", type=Path, default=Path(__file__).with_name("bodies.npz"))
    chosen = parser.parse_args(arguments)
    arrays: dict[str, np.ndarray] = {}
    mesh = full_meshes(PEOPLE)
    for outfit in ("player", "official"):
        rows = [i for i, person in enumerate(PEOPLE) if person.outfit == outfit]
        people = [PEOPLE[i] for i in rows]
        part = FullMesh(mesh.vertices_ft[rows], mesh.bone_heads_ft[rows], mesh.faces, mesh.weights)
        dressed = dress(
            part,
            outfit=outfit,
            hair=[person.hair for person in people],
            tucked=np.array([person.tucked for person in people]),
        )
        for key, value in dressed.items():
            arrays[f"{outfit}_{key}"] = value
        arrays[f"{outfit}_names"] = np.array([person.name for person in people])
        arrays[f"{outfit}_hair"] = np.array([person.hair for person in people])
    np.savez_compressed(chosen.out, **arrays)  # type: ignore[arg-type]


if __name__ == "__main__":
    main()
