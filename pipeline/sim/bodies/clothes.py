"""Clothes without cloth: shells cut from the body, pushed out, and decimated together with the skin that stays visible.

Used by the bake only. Every garment starts as a piece of the body's own surface, cut along the level set of a field
(a neckline, an armhole, a hem), so it carries the body's skin weights and moves with it. A piece is a sparse matrix
from the full mesh's vertices; cutting and decimating happen once, on the mean body, and each person's garment is the
matrix times that person's pushed-out full mesh. Skin well inside a garment is left out, so nothing can poke through.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import sparse
from scipy.spatial import ConvexHull, cKDTree

from pipeline.errors import MissingExtraError, SettingsError
from pipeline.sim.bodies.parts import PARTS
from pipeline.sim.bodies.skeleton import BONE, BONES

REFERENCE_STATURE_FT = 6.5
"""Stature of the mean body whose rest positions are the shader's body-independent coordinates."""

SHOE_SOLE_FT = 0.07
"""How much a sole lifts the foot (2 cm)."""

HAIR: dict[str, tuple[float, float, float]] = {
    "shaved": (0.008, 0.008, 0.0),
    "crop": (0.03, 0.03, 0.0),
    "short": (0.07, 0.04, 0.0),
    "high": (0.20, 0.04, 0.0),
    "afro": (0.25, 0.20, 0.0),
    "bun": (0.035, 0.035, 1.0),
    "tail": (0.045, 0.05, 2.0),
}
"""Hair style to (thickness on top ft, thickness at the sides ft, knot: 0 none, 1 bun, 2 tail)."""


@dataclass(frozen=True, slots=True, eq=False)
class FullMesh:
    """Full-resolution rest bodies with common topology.

    Attributes
    ----------
    vertices_ft : ndarray of shape (N, V, 3)
        Rest positions, facing +x, y to the body's left, z up, bare soles at z = 0.
    bone_heads_ft : ndarray of shape (N, 29, 3)
        Rest positions of the bones' heads, in `skeleton.BONES` order.
    faces : ndarray of shape (F, 3) of int
    weights : ndarray of shape (V, 29)
        Skin weights; rows sum to one.
    """

    vertices_ft: np.ndarray
    bone_heads_ft: np.ndarray
    faces: np.ndarray
    weights: np.ndarray


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """A piece of surface: `rows` (n, V) sparse makes its vertices of the full mesh's, `faces` (f, 3) joins them."""

    rows: sparse.csr_matrix
    faces: np.ndarray


def smoother(faces: np.ndarray, vertex_count: int) -> sparse.csr_matrix:
    """Row-stochastic matrix that moves each vertex half-way to the mean of its neighbours."""
    ends = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    ends = np.concatenate([ends, ends[:, ::-1]])
    adjacency = sparse.csr_matrix((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(vertex_count, vertex_count))
    adjacency.data[:] = 1.0
    degree = np.asarray(adjacency.sum(axis=1)).ravel()
    lonely = degree == 0
    scale = sparse.diags(np.where(lonely, 0.0, 0.5 / np.maximum(degree, 1)))
    keep = sparse.diags(np.where(lonely, 1.0, 0.5))
    return (scale @ adjacency + keep).tocsr()


def smoothed(values: np.ndarray, matrix: sparse.csr_matrix, times: int) -> np.ndarray:
    """Apply a smoothing matrix several times."""
    for _ in range(times):
        values = matrix @ values
    return values


def vertex_normals(vertices: np.ndarray, faces: np.ndarray) -> np.ndarray:
    """Area-weighted unit normals of a mesh, (V, 3); zero where a vertex has no face."""
    corners = vertices[faces]
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals = np.zeros_like(vertices)
    for corner in range(3):
        np.add.at(normals, faces[:, corner], across)
    length = np.linalg.norm(normals, axis=1, keepdims=True)
    return normals / np.maximum(length, 1e-12)


def cut(piece: Piece, field: np.ndarray) -> Piece:
    """Keep the part of a piece where a per-full-vertex field is positive, cutting triangles along its zero line."""
    value = piece.rows @ field
    value = np.where(np.abs(value) < 1e-6, 1e-6, value)
    inside = value > 0
    count = inside[piece.faces].sum(axis=1)
    faces_out = [piece.faces[count == 3]]
    new_index: dict[tuple[int, int], int] = {}
    new_rows: list[tuple[int, int, float]] = []
    start = len(value)

    def crossing(a: int, b: int) -> int:
        key = (min(a, b), max(a, b))
        if key not in new_index:
            new_index[key] = start + len(new_rows)
            new_rows.append((key[0], key[1], float(value[key[0]] / (value[key[0]] - value[key[1]]))))
        return new_index[key]

    extra: list[tuple[int, int, int]] = []
    for face in piece.faces[(count == 1) | (count == 2)]:
        flags = inside[face]
        if flags.sum() == 1:
            k = int(np.argmax(flags))
            a, b, c = (int(face[(k + i) % 3]) for i in range(3))
            extra.append((a, crossing(a, b), crossing(a, c)))
        else:
            k = int(np.argmin(flags))
            a, b, c = (int(face[(k + i) % 3]) for i in range(3))
            ab, ac = crossing(a, b), crossing(a, c)
            extra.extend([(ab, b, c), (ab, c, ac)])
    if extra:
        faces_out.append(np.array(extra))
    rows = piece.rows
    if new_rows:
        first = np.array([row[0] for row in new_rows])
        second = np.array([row[1] for row in new_rows])
        share = np.array([row[2] for row in new_rows])
        between = sparse.diags(1 - share) @ rows[first] + sparse.diags(share) @ rows[second]
        rows = sparse.vstack([rows, between]).tocsr()
    return compact(Piece(rows, np.concatenate(faces_out)))


def compact(piece: Piece) -> Piece:
    """Drop vertices that no face uses."""
    used = np.unique(piece.faces)
    new = np.full(piece.rows.shape[0], -1)
    new[used] = np.arange(len(used))
    return Piece(piece.rows[used], new[piece.faces])


def decimate(piece: Piece, shape: np.ndarray, face_count: int) -> Piece:
    """Fewer triangles: quadric collapse on `shape` (V, 3), then each vertex snapped to one of the piece's own."""
    try:
        import fast_simplification
    except ImportError as error:
        raise MissingExtraError("Baking bodies needs fast-simplification; install the [sim] extra.") from error
    points = piece.rows @ shape
    if len(piece.faces) <= face_count:
        return piece
    reduced, faces = fast_simplification.simplify(
        points.astype(np.float32), piece.faces.astype(np.int32), target_count=face_count
    )
    source_border = border_vertices(piece.faces)
    is_border = np.zeros(len(reduced), dtype=bool)
    is_border[border_vertices(faces)] = True
    index = cKDTree(points).query(reduced)[1]
    if len(source_border) and is_border.any():
        near = cKDTree(points[source_border]).query(reduced[is_border])[1]
        index[is_border] = source_border[near]
    faces = index[faces]
    proper = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 0] != faces[:, 2])
    faces = faces[proper]
    canonical = np.sort(faces, axis=1)
    _, first = np.unique(canonical, axis=0, return_index=True)
    return compact(Piece(piece.rows, faces[np.sort(first)]))


def border_vertices(faces: np.ndarray) -> np.ndarray:
    """Vertices on edges that only one face uses."""
    edges = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    unique, counts = np.unique(edges, axis=0, return_counts=True)
    return np.unique(unique[counts == 1])


def _bone_weight(weights: np.ndarray, *stems: str) -> np.ndarray:
    """Summed weight (V,) of the named bones, both sides."""
    columns = [i for i, bone in enumerate(BONES) if bone in stems or bone.rpartition("_")[0] in stems]
    return weights[:, columns].sum(axis=1)


def along_leg(points: np.ndarray, heads: np.ndarray) -> np.ndarray:
    """How far down the leg: 0 at the hip joint, 1 at the knee, 2 at the ankle; negative above the hip. (V,)."""
    side = np.where(points[:, 1] >= 0, 1.0, -1.0)
    mirrored = points * np.column_stack([np.ones_like(side), side, np.ones_like(side)])
    hip, knee, ankle = (heads[BONE[f"{bone}_left"]] for bone in ("thigh", "shin", "foot"))
    thigh, shin = knee - hip, ankle - knee
    upper = (mirrored - hip) @ thigh / (thigh @ thigh)
    lower = 1 + (mirrored - knee) @ shin / (shin @ shin)
    return np.where(upper < 1, upper, np.maximum(lower, 1.0))


def below_hip(points: np.ndarray, heads: np.ndarray) -> np.ndarray:
    """Height below the hip joint in thigh heights, (V,): 0 at the hip, 1 at the knee, negative above; level."""
    hip, knee = heads[BONE["thigh_left"], 2], heads[BONE["shin_left"], 2]
    return (hip - points[:, 2]) / (hip - knee)


def along_arm(points: np.ndarray, heads: np.ndarray, arm_weight: np.ndarray) -> np.ndarray:
    """How far down the arm: 0 at the shoulder joint, 1 at the elbow, 2 at the wrist; -0.5 away from the arms. (V,)."""
    side = np.where(points[:, 1] >= 0, 1.0, -1.0)
    mirrored = points * np.column_stack([np.ones_like(side), side, np.ones_like(side)])
    shoulder, elbow, wrist = (heads[BONE[f"{bone}_left"]] for bone in ("upper_arm", "forearm", "hand"))
    upper_arm, forearm = elbow - shoulder, wrist - elbow
    upper = (mirrored - shoulder) @ upper_arm / (upper_arm @ upper_arm)
    lower = 1 + (mirrored - elbow) @ forearm / (forearm @ forearm)
    value = np.where(lower > 1, lower, np.minimum(upper, 1.0))
    share = np.clip(arm_weight / 0.4, 0, 1)
    return value * share - 0.5 * (1 - share)


@dataclass(frozen=True, slots=True, eq=False)
class Tailor:
    """The mean body and the fields that garments are cut along; made once per outfit."""

    reference: np.ndarray
    heads: np.ndarray
    faces: np.ndarray
    weights: np.ndarray
    smooth: sparse.csr_matrix
    leg: np.ndarray
    level: np.ndarray
    arm: np.ndarray
    arm_weight: np.ndarray

    @classmethod
    def of(cls, mesh: FullMesh) -> Tailor:
        """Measure the mean body of a set."""
        stature = np.ptp(mesh.vertices_ft[:, :, 2], axis=1)
        scale = (REFERENCE_STATURE_FT / stature)[:, None, None]
        reference = (mesh.vertices_ft * scale).mean(axis=0)
        heads = (mesh.bone_heads_ft * scale).mean(axis=0)
        smooth = smoother(mesh.faces, len(reference))
        arm_weight = _bone_weight(
            mesh.weights, "upper_arm", "upper_arm_twist", "forearm", "forearm_twist", "hand", "fingers"
        )
        return cls(
            reference=reference,
            heads=heads,
            faces=mesh.faces,
            weights=mesh.weights,
            smooth=smooth,
            leg=along_leg(reference, heads),
            level=below_hip(reference, heads),
            arm=along_arm(reference, heads, arm_weight),
            arm_weight=arm_weight,
        )

    def whole(self) -> Piece:
        """The whole body as a piece."""
        count = len(self.reference)
        return Piece(sparse.identity(count, format="csr"), self.faces)

    def neckline(self, radius_ft: float) -> np.ndarray:
        """Positive outside a ball at the front of the neck's base, that is, where a shirt covers."""
        centre = self.heads[BONE["neck"]] + np.array([0.13, 0.0, -0.02])
        offset = (self.reference - centre) * np.array([1.0, 1.15, 0.85])
        above = self.reference[:, 2] > self.heads[BONE["neck"], 2] + 0.12
        trunk = np.minimum(np.linalg.norm(offset, axis=1) - radius_ft, 0.25 - _bone_weight(self.weights, "head"))
        return np.where(above, -0.1, trunk)

    def armhole(self) -> np.ndarray:
        """Positive where a sleeveless jersey covers the shoulder."""
        weight = smoothed(self.arm_weight, self.smooth, 6)
        clavicle = smoothed(_bone_weight(self.weights, "clavicle"), self.smooth, 6)
        return 0.42 - weight - 0.25 * clavicle


def jersey_cover(tailor: Tailor) -> np.ndarray:
    """Field that is positive where the sleeveless jersey covers the body (roughly feet inside its edge)."""
    hem = (0.10 - tailor.level) * 1.6
    not_hand = 0.4 - _bone_weight(tailor.weights, "forearm", "forearm_twist", "hand", "fingers")
    return np.minimum.reduce([tailor.neckline(0.36), tailor.armhole() * 0.8, hem, not_hand])


def shirt_cover(tailor: Tailor) -> np.ndarray:
    """Field that is positive where a short-sleeved shirt covers the body."""
    hem = (0.10 - tailor.level) * 1.6
    sleeve = np.where(tailor.arm_weight > 0.05, (0.62 - tailor.arm) * 0.9, 1.0)
    return np.minimum.reduce([tailor.neckline(0.27), sleeve, hem])


def legs_cover(tailor: Tailor, hem: float) -> np.ndarray:
    """Field that is positive from the waistband to a hem at `hem` along the leg."""
    waist = (tailor.level + 0.30) * 1.6
    foot = 0.5 - _bone_weight(tailor.weights, "foot", "toes") if hem > 1.5 else np.ones(len(tailor.leg))
    not_arm = 0.3 - tailor.arm_weight
    return np.minimum.reduce([waist, (hem - tailor.leg) * 1.6, not_arm, foot])


def clear_of(vertices: np.ndarray, shape: np.ndarray, tailor: Tailor, clearance_ft: np.ndarray) -> np.ndarray:
    """Push a garment's shape (V, 3) out to a least clearance from the skin, along the skin's normals."""
    normals = vertex_normals(smoothed(vertices, tailor.smooth, 2), tailor.faces)
    gap = np.einsum("ij,ij->i", shape - vertices, normals)
    return shape + normals * np.maximum(clearance_ft - gap, 0)[:, None]


def level_normals(normals: np.ndarray, tailor: Tailor) -> np.ndarray:
    """Normals flattened around the waist, so that waistbands and hems stay level when pushed out."""
    waist = np.clip(1 - np.abs(tailor.level + 0.12) / 0.5, 0, 1) * (tailor.arm_weight < 0.2)
    flat = normals.copy()
    flat[:, 2] *= 1 - np.clip(2 * waist, 0, 1)
    return flat / np.maximum(np.linalg.norm(flat, axis=1, keepdims=True), 1e-9)


def shirt_shape(
    vertices: np.ndarray, heads: np.ndarray, tailor: Tailor, cover: np.ndarray, *, tucked: float, sleeve_ft: float
) -> np.ndarray:
    """Full mesh (V, 3) of one person with a shirt's shape: smoothed, pushed out, hanging straight from the chest."""
    base = smoothed(vertices, tailor.smooth, 30)
    arm = np.clip(tailor.arm_weight * 2, 0, 1)[:, None]
    gentle = smoothed(vertices, tailor.smooth, 4)
    base = base * (1 - arm) + gentle * arm
    normals = smoothed(vertex_normals(base, tailor.faces), tailor.smooth, 3)
    normals = level_normals(normals, tailor)
    # Smoothing shrinks; start from whichever of skin and smoothed surface lies further out.
    depth = np.einsum("ij,ij->i", vertices - base, normals)
    # Near its edges (neck, arms) a shirt lies on the skin.
    trunk_edge = np.where(tailor.level < -0.9, np.clip(cover / 0.18, 0.6, 1), 1.0)
    out = np.maximum(depth, 0) + 0.035 * trunk_edge + sleeve_ft * arm[:, 0] * np.clip(tailor.arm + 0.2, 0, 1)
    shape = base + normals * out[:, None]

    hip, neck = heads[BONE["thigh_left"], 2], heads[BONE["neck"], 2]
    chest_z = hip + 0.66 * (neck - hip)
    axis_x = 0.5 * (heads[BONE["chest"], 0] + heads[BONE["pelvis"], 0]) + 0.08
    trunk = tailor.arm_weight < 0.05
    angle = np.arctan2(shape[:, 1], shape[:, 0] - axis_x)
    radius = np.hypot(shape[:, 1], shape[:, 0] - axis_x)
    bins = 36
    which = ((angle + np.pi) / (2 * np.pi) * bins).astype(int) % bins
    band = trunk & (np.abs(shape[:, 2] - chest_z) < 0.22)
    profile = np.zeros(bins)
    np.maximum.at(profile, which[band], radius[band])
    for _ in range(3):
        profile = (np.roll(profile, 1) + 2 * profile + np.roll(profile, -1)) / 4
    position = (angle + np.pi) / (2 * np.pi) * bins - 0.5
    low = np.floor(position).astype(int)
    share = position - low
    chest_radius = profile[low % bins] * (1 - share) + profile[(low + 1) % bins] * share
    down = np.clip((chest_z - shape[:, 2]) / (chest_z - hip), 0, 1.4)
    hang = np.clip(down / 0.25, 0, 1) * (0.97 - 0.05 * np.clip(down, 0, 1))
    waist_z = hip + 0.30 * (hip - heads[BONE["shin_left"], 2])
    tuck = tucked * np.clip((waist_z + 0.22 - shape[:, 2]) / 0.2, 0, 1)
    wanted = np.maximum(radius, chest_radius * hang)
    tight = np.minimum(wanted, radius)
    new_radius = (
        wanted * (1 - tuck)
        + tight * tuck
        + np.where(tucked > 0.5, -0.012, 0.07) * np.clip((waist_z + 0.05 - shape[:, 2]) / 0.15, 0, 1)
    )
    factor = np.where(trunk, new_radius / np.maximum(radius, 1e-6), 1.0)
    shape = np.column_stack([axis_x + (shape[:, 0] - axis_x) * factor, shape[:, 1] * factor, shape[:, 2]])
    shape = smoothed(shape, tailor.smooth, 3 if tucked > 0.5 else 5)
    return clear_of(vertices, shape, tailor, np.where(tailor.level < -0.3, 0.02, 0.0))


def legwear_shape(vertices: np.ndarray, heads: np.ndarray, tailor: Tailor, *, long: float, tucked: float) -> np.ndarray:
    """Full mesh (V, 3) of one person with shorts' (`long` 0) or trousers' (`long` 1) shape."""
    base = smoothed(vertices, tailor.smooth, 10)
    normals = level_normals(vertex_normals(base, tailor.faces), tailor)
    depth = np.maximum(np.einsum("ij,ij->i", vertices - base, normals), 0)
    push = 0.075 if tucked > 0.5 else 0.045
    shape = base + normals * (depth + push)[:, None]

    side = np.where(vertices[:, 1] >= 0, 1.0, -1.0)
    names = ("left", "right")
    for sign, name in zip((1.0, -1.0), names, strict=True):
        hip, knee, ankle = (heads[BONE[f"{bone}_{name}"]] for bone in ("thigh", "shin", "foot"))
        mine = (side == sign) & (tailor.arm_weight < 0.2)
        t = tailor.leg
        on_thigh = hip + np.clip(t, 0, 1)[:, None] * (knee - hip)
        on_shin = knee + np.clip(t - 1, 0, 1.1)[:, None] * (ankle - knee)
        axis_point = np.where((t > 1)[:, None], on_shin, on_thigh)
        direction = np.where((t > 1)[:, None], ankle - knee, knee - hip)
        direction = direction / np.linalg.norm(direction, axis=1, keepdims=True)
        radial = shape - axis_point
        radial -= direction * np.einsum("ij,ij->i", radial, direction)[:, None]
        radius = np.linalg.norm(radial, axis=1)
        ring = mine & (t > 0.24) & (t < 0.34)
        thigh_radius = float(np.mean(radius[ring]))
        if long > 0.5:
            knots = np.array([0.0, 0.3, 1.0, 1.6, 2.0])
            sizes = np.array([1.0, 1.02, 0.80, 0.72, 0.66]) * thigh_radius
        else:
            knots = np.array([0.0, 0.3, 0.6, 0.95])
            sizes = np.array([1.0, 1.04, 1.14, 1.22]) * thigh_radius
        loose = np.interp(t, knots, sizes)
        fade = np.clip((t - 0.12) / 0.25, 0, 1)
        wanted = np.maximum(radius + 0.02, loose)
        new_radius = radius * (1 - fade) + wanted * fade
        moved = axis_point + radial * (new_radius / np.maximum(radius, 1e-6))[:, None]
        moved += direction * np.einsum("ij,ij->i", shape - axis_point, direction)[:, None]
        shape = np.where((mine & (t > 0.1))[:, None], moved, shape)
    inner = tailor.leg > 0.16
    beyond = shape[:, 1] * side < 0.012
    shape[:, 1] = np.where(inner & beyond, side * 0.012, shape[:, 1])
    return smoothed(shape, tailor.smooth, 2)


def scalp_field(tailor: Tailor) -> np.ndarray:
    """Positive on the scalp of the mean body, above a hairline from forehead to nape."""
    centre = head_centre(tailor.heads, tailor.reference)
    offset = tailor.reference - centre
    height = offset[:, 2]
    hairline = np.clip(0.03 + 0.55 * offset[:, 0], -0.13, 0.17)
    on_head = _bone_weight(tailor.weights, "head") - 0.5
    return np.minimum(height - hairline, on_head)


def head_centre(heads: np.ndarray, vertices: np.ndarray) -> np.ndarray:
    """Middle of the skull: above the head bone, half-way to the crown."""
    base = heads[BONE["head"]]
    top = vertices[:, 2].max()
    return np.array([base[0] + 0.02, 0.0, base[2] + 0.5 * (top - base[2])])


def hair_shape(vertices: np.ndarray, heads: np.ndarray, tailor: Tailor, style: str) -> np.ndarray:
    """Full mesh (V, 3) of one person with hair volume on the scalp."""
    if style not in HAIR:
        raise SettingsError(f"Hair style {style!r} is unknown; use one of {', '.join(sorted(HAIR))}.")
    top, sides, _ = HAIR[style]
    centre = head_centre(heads, vertices)
    base = smoothed(vertices, tailor.smooth, 6)
    outward = base - centre
    outward /= np.maximum(np.linalg.norm(outward, axis=1, keepdims=True), 1e-9)
    up = np.clip(outward[:, 2] * 1.6 - 0.1, 0, 1)
    ramp = np.clip(scalp_field(tailor) / 0.10, 0, 1)
    thickness = 0.006 + (sides + (top - sides) * up) * (0.25 + 0.75 * ramp)
    depth = np.maximum(np.einsum("ij,ij->i", vertices - base, outward), 0)
    return base + outward * (depth + thickness)[:, None]


def _icosphere() -> tuple[np.ndarray, np.ndarray]:
    """Unit sphere of 42 vertices and 80 faces."""
    golden = (1 + 5**0.5) / 2
    points: list[tuple[float, float, float]] = [(-1, golden, 0), (1, golden, 0), (-1, -golden, 0), (1, -golden, 0)]
    points += [(0, -1, golden), (0, 1, golden), (0, -1, -golden), (0, 1, -golden)]
    points += [(golden, 0, -1), (golden, 0, 1), (-golden, 0, -1), (-golden, 0, 1)]
    vertices = np.array(points, dtype=float)
    hull = ConvexHull(vertices)
    faces = hull.simplices
    mid: dict[tuple[int, int], int] = {}
    out: list[list[int]] = []
    rows = list(vertices)
    for face in faces:
        a, b, c = (int(i) for i in face)
        halves = []
        for pair in ((a, b), (b, c), (c, a)):
            key = (min(pair), max(pair))
            if key not in mid:
                mid[key] = len(rows)
                rows.append((vertices[key[0]] + vertices[key[1]]) / 2)
            halves.append(mid[key])
        ab, bc, ca = halves
        out.extend([[a, ab, ca], [b, bc, ab], [c, ca, bc], [ab, bc, ca]])
    sphere = np.array(rows)
    sphere /= np.linalg.norm(sphere, axis=1, keepdims=True)
    return sphere, _outward(sphere, np.array(out))


def _outward(vertices: np.ndarray, faces: np.ndarray) -> np.ndarray:
    """Turn the faces of a convex mesh so that their normals point out."""
    centre = vertices[np.unique(faces)].mean(axis=0)
    corners = vertices[faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    inward = np.einsum("ij,ij->i", normal, corners.mean(axis=1) - centre) < 0
    faces = faces.copy()
    faces[inward] = faces[inward][:, ::-1]
    return faces


def knot_vertices(heads: np.ndarray, vertices: np.ndarray, style: str) -> np.ndarray:
    """Bun or tail at the back of the head, (42, 3); a speck inside the skull for other styles."""
    sphere, _ = _icosphere()
    centre = head_centre(heads, vertices)
    kind = HAIR[style][2]
    if kind == 1.0:
        return centre + np.array([-0.33, 0.0, 0.16]) + sphere * 0.16
    if kind == 2.0:
        along = np.clip(-sphere[:, 2], -1, 1)
        drop = np.column_stack([-0.08 * along, 0 * along, -0.26 * np.clip(along, 0, 1)])
        return centre + np.array([-0.36, 0.0, -0.08]) + sphere * np.array([0.10, 0.11, 0.13]) + drop
    return centre + sphere * 0.02


def _shoe(tailor: Tailor, sign: float) -> Piece:
    """Convex hull of one foot of the mean body, its edges halved, as a piece."""
    foot = _bone_weight(tailor.weights, "foot", "toes") > 0.5
    mine = np.flatnonzero(foot & (tailor.reference[:, 1] * sign > 0) & (tailor.leg < 2.6))
    points = tailor.reference[mine]
    rounded = np.round(points / 0.05).astype(int)
    _, keep = np.unique(rounded, axis=0, return_index=True)
    mine = mine[np.sort(keep)]
    points = tailor.reference[mine]
    hull = ConvexHull(points, qhull_options="QJ Pp")
    faces = _outward(points, hull.simplices)
    count = len(tailor.reference)
    rows = sparse.csr_matrix((np.ones(len(mine)), (np.arange(len(mine)), mine)), shape=(len(mine), count))
    piece = compact(Piece(rows, faces))
    for _ in range(2):
        piece = halve_long_edges(piece, tailor.reference, 0.24)
    return piece


def halve_long_edges(piece: Piece, shape: np.ndarray, longest_ft: float) -> Piece:
    """Split every edge longer than a length at its middle, keeping the surface closed."""
    points = piece.rows @ shape
    mid: dict[tuple[int, int], int] = {}
    pairs: list[tuple[int, int]] = []
    start = len(points)

    def split(a: int, b: int) -> int | None:
        key = (min(a, b), max(a, b))
        if np.linalg.norm(points[a] - points[b]) <= longest_ft:
            return None
        if key not in mid:
            mid[key] = start + len(pairs)
            pairs.append(key)
        return mid[key]

    out: list[tuple[int, int, int]] = []
    for face in piece.faces:
        a, b, c = (int(i) for i in face)
        ab, bc, ca = split(a, b), split(b, c), split(c, a)
        loop: list[int] = [i for i in (a, ab, b, bc, c, ca) if i is not None]
        mids = [i for i in (ab, bc, ca) if i is not None]
        if len(mids) == 3:
            out.extend(
                [(a, mids[0], mids[2]), (b, mids[1], mids[0]), (c, mids[2], mids[1]), (mids[0], mids[1], mids[2])]
            )
            continue
        pivot = loop.index(mids[0]) if mids else 0
        loop = loop[pivot:] + loop[:pivot]
        out.extend((loop[0], loop[i], loop[i + 1]) for i in range(1, len(loop) - 1))
    if not pairs:
        return piece
    first = np.array([pair[0] for pair in pairs])
    second = np.array([pair[1] for pair in pairs])
    rows = sparse.vstack([piece.rows, (piece.rows[first] + piece.rows[second]) * 0.5]).tocsr()
    return Piece(rows, np.array(out))


def shoe_shape(vertices: np.ndarray, heads: np.ndarray, tailor: Tailor) -> np.ndarray:
    """Full mesh (V, 3) of one person with feet grown to shoe size; the sole reaches SHOE_SOLE_FT below the bare one."""
    shape = vertices.copy()
    for sign, name in zip((1.0, -1.0), ("left", "right"), strict=True):
        mine = (vertices[:, 1] * sign > 0) & (_bone_weight(tailor.weights, "foot", "toes", "shin") > 0.4)
        ankle = heads[BONE[f"foot_{name}"]]
        toes = heads[BONE[f"toes_{name}"]]
        ahead = toes - ankle
        ahead = np.array([ahead[0], ahead[1], 0.0]) / np.hypot(ahead[0], ahead[1])
        aside = np.array([-ahead[1], ahead[0], 0.0])
        offset = vertices - (ankle + 0.35 * (toes - ankle))
        forward = offset @ ahead
        across = offset @ aside
        grown = vertices + np.outer(forward * 0.07 + np.sign(forward) * 0.02, ahead) + np.outer(across * 0.14, aside)
        low = np.clip(1 - vertices[:, 2] / 0.12, 0, 1)
        grown[:, 2] = vertices[:, 2] + 0.03 * np.clip(vertices[:, 2] / 0.2, 0, 1) - SHOE_SOLE_FT * np.sqrt(low)
        shape = np.where(mine[:, None], grown, shape)
    return shape


def top_four(weights: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The four strongest bones of each vertex: indices (V, 4) uint8 and weights (V, 4) float32 that sum to one."""
    order = np.argsort(-weights, axis=1, kind="stable")[:, :4]
    values = np.take_along_axis(weights, order, axis=1)
    values /= values.sum(axis=1, keepdims=True)
    return order.astype(np.uint8), values.astype(np.float32)


def dress(mesh: FullMesh, *, outfit: str, hair: Sequence[str], tucked: np.ndarray) -> dict[str, np.ndarray]:
    """Dress a set of bodies in one outfit and decimate them together.

    Parameters
    ----------
    mesh : FullMesh
        N bodies.
    outfit : {"player", "official"}
    hair : sequence of N hair styles
    tucked : ndarray of shape (N,)
        1 where the jersey is tucked into the shorts.

    Returns
    -------
    dict of arrays
        vertices_ft (N, V, 3), bone_heads_ft (N, 29, 3), faces (F, 3), part (V,), reference_ft (V, 3), leg (V,),
        arm (V,), bones (V, 4), weights (V, 4). Shoes' soles are at z = 0.
    """
    tailor = Tailor.of(mesh)
    player = outfit == "player"
    whole = tailor.whole()
    soft_weights = smoothed(tailor.weights, tailor.smooth, 12)
    very_soft = smoothed(tailor.weights, tailor.smooth, 25)

    shirt = jersey_cover(tailor) if player else shirt_cover(tailor)
    hem = 0.86 if player else 1.93
    legs = legs_cover(tailor, hem)
    # Visible skin: not deep inside a garment, not inside a shoe.
    shoe_cover = np.minimum(_bone_weight(tailor.weights, "foot", "toes") - 0.5, tailor.leg - 1.93)
    deep_shirt = shirt - 0.10
    deep_legs = np.minimum((tailor.level + 0.05) * 1.6, (hem - 0.30 - tailor.leg) * 1.6)
    visible = np.minimum.reduce([-deep_shirt, -deep_legs, -(shoe_cover - 0.06)])
    between = (tailor.leg > -0.5) & (tailor.leg < hem - 0.3) & (tailor.arm_weight < 0.05)
    visible = np.where(between, -0.1, visible)
    skin_piece = decimate(cut(whole, visible), tailor.reference, 2700 if player else 2300)
    shirt_piece = decimate(cut(whole, shirt), tailor.reference, 1000 if player else 1300)
    leg_piece = decimate(cut(whole, legs), tailor.reference, 900 if player else 1200)
    hair_piece = decimate(cut(whole, scalp_field(tailor)), tailor.reference, 260)
    shoes = [_shoe(tailor, 1.0), _shoe(tailor, -1.0)]
    knot_faces = _icosphere()[1]

    pieces = [skin_piece, shirt_piece, leg_piece, hair_piece, *shoes]
    names = ["skin", "jersey", "shorts" if player else "trousers", "hair", "shoes", "shoes"]
    piece_weights = [tailor.weights, soft_weights, very_soft, tailor.weights, tailor.weights, tailor.weights]

    bodies, heads_out = [], []
    for i in range(len(mesh.vertices_ft)):
        vertices, heads = mesh.vertices_ft[i], mesh.bone_heads_ft[i]
        shapes = [
            vertices,
            shirt_shape(vertices, heads, tailor, shirt, tucked=float(tucked[i]), sleeve_ft=0.0 if player else 0.08),
            legwear_shape(vertices, heads, tailor, long=0.0 if player else 1.0, tucked=float(tucked[i])),
            hair_shape(vertices, heads, tailor, hair[i]),
            shoe_shape(vertices, heads, tailor),
            shoe_shape(vertices, heads, tailor),
        ]
        points = [piece.rows @ shape for piece, shape in zip(pieces, shapes, strict=True)]
        points.append(knot_vertices(heads, vertices, hair[i]))
        everything = np.concatenate(points)
        lift = np.array([0.0, 0.0, -everything[:, 2].min()])
        bodies.append(everything + lift)
        heads = heads + lift
        # Toes bend on the sole, not inside the foot.
        heads[[BONE["toes_left"], BONE["toes_right"]], 2] = 0.0
        heads_out.append(heads)

    faces, part, weights, reference, leg, arm = [], [], [], [], [], []
    start = 0
    for piece, name, piece_weight in zip(pieces, names, piece_weights, strict=True):
        faces.append(piece.faces + start)
        start += piece.rows.shape[0]
        part.append(np.full(piece.rows.shape[0], PARTS.index(name), dtype=np.uint8))
        weights.append(piece.rows @ piece_weight)
        reference.append(piece.rows @ tailor.reference)
        leg.append(piece.rows @ tailor.leg)
        arm.append(piece.rows @ tailor.arm)
    faces.append(knot_faces + start)
    knot_reference = knot_vertices(tailor.heads, tailor.reference, "bun")
    knot_weights = np.zeros((len(knot_reference), len(BONES)))
    knot_weights[:, BONE["head"]] = 1.0
    part.append(np.full(len(knot_reference), PARTS.index("hair"), dtype=np.uint8))
    weights.append(knot_weights)
    reference.append(knot_reference)
    leg.append(np.full(len(knot_reference), -1.5))
    arm.append(np.full(len(knot_reference), -0.5))

    bones, four = top_four(np.concatenate(weights))
    return {
        "vertices_ft": np.stack(bodies).astype(np.float32),
        "bone_heads_ft": np.stack(heads_out).astype(np.float32),
        "faces": np.concatenate(faces).astype(np.int32),
        "part": np.concatenate(part),
        "reference_ft": np.concatenate(reference).astype(np.float32),
        "leg": np.concatenate(leg).astype(np.float32),
        "arm": np.concatenate(arm).astype(np.float32),
        "bones": bones,
        "weights": four,
    }
