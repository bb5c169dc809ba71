"""The camera: centre, pan, tilt, roll, focal length and one radial lens term, and its homography.

Pixels: x right, y down, the centre of the top-left pixel is (0, 0) (OpenCV's convention). A pixel is
*seen* (as coded in the picture, bent by the lens) or *ideal* (as a pinhole camera would show it). Homographies
join the floor with ideal pixels; :class:`Lens` joins ideal and seen.

Space: court frame in feet, z up. Camera axes: x right, y down, z forward in the picture, so that
``X_camera = R (X_court - centre)``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.errors import ShapeError

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class NoCourt:
    """No camera could be found, and why: one sentence for people."""

    reason: str


@dataclass(frozen=True, slots=True, eq=False)
class Lens:
    """One radial term about the picture's principal point.

    With d = p_ideal - centre and r = |d| / width_px: p_seen = centre + d (1 + k1 r²). Positive k1 is pincushion. A
    published k of 0.05 per (1000 px)² on 1920-pixel pictures is k1 = 0.05 · 1.92² = 0.18.

    Attributes
    ----------
    k1 : float
        Dimensionless.
    centre_px : ndarray of shape (2,)
        Principal point and centre of distortion.
    width_px : float
        Picture width, the unit of r.
    """

    k1: float
    centre_px: Array
    width_px: float

    def __post_init__(self) -> None:
        centre = np.array(self.centre_px, dtype=np.float64).reshape(2)
        centre.setflags(write=False)
        object.__setattr__(self, "centre_px", centre)

    def distort(self, ideal_px: ArrayLike) -> Array:
        """Ideal to seen pixels, (N, 2). NaN where a barrel lens (k1 < 0) would fold the picture over."""
        offset = _pixels(ideal_px) - self.centre_px
        r2 = np.sum(offset**2, axis=1, keepdims=True) / self.width_px**2
        seen = self.centre_px + offset * (1 + self.k1 * r2)
        seen[(1 + 3 * self.k1 * r2 <= 0)[:, 0]] = np.nan
        return seen

    def undistort(self, seen_px: ArrayLike) -> Array:
        """Seen to ideal pixels, (N, 2), the inverse of :meth:`distort`; NaN where no ideal pixel leads there.

        Newton's method on r (1 + k1 r²) = r_seen, which is monotonic up to the fold.
        """
        offset: Array = _pixels(seen_px) - self.centre_px
        if abs(self.k1) < 1e-12:  # bends by less than rounding
            return self.centre_px + offset
        wanted = np.sqrt(np.sum(offset**2, axis=1)) / self.width_px
        if self.k1 < 0:
            fold = np.sqrt(-1 / (3 * self.k1))
            reachable = wanted < fold * 2 / 3
            r = np.minimum(wanted, 0.9 * fold)
            # A pixel that no ideal one leads to draws Newton's steps beyond the fold; it becomes NaN below.
            highest = float(fold)
        else:
            reachable = np.isfinite(wanted)
            # Below both asymptotes; Newton then closes in on the root.
            r = np.minimum(wanted, np.cbrt(wanted / self.k1))
            highest = np.inf
        largest = float(np.max(wanted, where=reachable, initial=0.0))
        # Newton squares the miss at each step; bent little, three steps reach rounding.
        for _ in range(4 if abs(self.k1) * largest**2 < 0.1 else 25):
            bent = 1 + self.k1 * r**2
            r = np.clip(r - (r * bent - wanted) / np.maximum(3 * bent - 2, 1e-9), 0.0, highest)
        scale = 1 / (1 + self.k1 * r**2)
        return self.centre_px + offset * np.where(reachable, scale, np.nan)[:, None]


def straight_lens(size_px: tuple[int, int]) -> Lens:
    """A lens without distortion about the middle of a picture of (width, height) pixels."""
    return Lens(0.0, np.array([(size_px[0] - 1) / 2, (size_px[1] - 1) / 2]), float(size_px[0]))


@dataclass(frozen=True, slots=True, eq=False)
class Camera:
    """Where a camera stands, where it looks, and how it enlarges and bends.

    Attributes
    ----------
    centre_ft : ndarray of shape (3,)
        Optical centre in the court frame.
    pan_deg : float
        0 looks along +y (across the court, away from the near sideline); positive turns right, towards +x.
    tilt_deg : float
        Angle of the axis above the horizontal; a broadcast camera looks down, about -15.
    roll_deg : float
        Positive turns the picture's content clockwise about the principal point.
    focal_px : float
        Focal length in pixels.
    lens : Lens
    size_px : tuple of int
        Picture width and height.
    """

    centre_ft: Array
    pan_deg: float
    tilt_deg: float
    roll_deg: float
    focal_px: float
    lens: Lens
    size_px: tuple[int, int]

    def __post_init__(self) -> None:
        centre = np.array(self.centre_ft, dtype=np.float64).reshape(3)
        centre.setflags(write=False)
        object.__setattr__(self, "centre_ft", centre)

    def rotation(self) -> Array:
        """Court axes to camera axes, (3, 3): rows are the picture's right, down and forward directions."""
        return rotation_matrix(self.pan_deg, self.tilt_deg, self.roll_deg)

    def intrinsics(self) -> Array:
        """Camera axes to ideal pixels, (3, 3)."""
        cx, cy = self.lens.centre_px
        return np.array([[self.focal_px, 0, cx], [0, self.focal_px, cy], [0, 0, 1.0]])

    def view_matrix(self) -> Array:
        """Court feet to camera feet, (4, 4), for homogeneous columns; axes as in :meth:`rotation`."""
        view = np.eye(4)
        view[:3, :3] = self.rotation()
        view[:3, 3] = -view[:3, :3] @ self.centre_ft
        return view

    def project(self, xyz_ft: ArrayLike) -> Array:
        """Court points (N, 3) in feet to seen pixels (N, 2); NaN behind the camera. N may be 0."""
        points = np.asarray(xyz_ft, dtype=np.float64)
        if points.ndim != 2 or points.shape[1] != 3:
            raise ShapeError(f"xyz_ft must be (N, 3), got {points.shape}; use project_floor for floor points (N, 2).")
        seen = (points - self.centre_ft) @ self.rotation().T
        depth = np.where(seen[:, 2] > 1e-6, seen[:, 2], np.nan)
        return self.lens.distort(self.lens.centre_px + self.focal_px * seen[:, :2] / depth[:, None])

    def project_floor(self, xy_ft: ArrayLike) -> Array:
        """Floor points (N, 2) in feet to seen pixels (N, 2); NaN behind the camera."""
        floor = np.asarray(xy_ft, dtype=np.float64)
        if floor.ndim != 2 or floor.shape[1] != 2:
            raise ShapeError(f"xy_ft must be (N, 2), got {floor.shape}.")
        return self.project(np.column_stack([floor, np.zeros(len(floor))]))

    def court_to_image(self) -> Array:
        """Floor feet to ideal pixels, (3, 3), scaled so that w is the depth in feet (positive in front)."""
        floor_to_camera = np.column_stack([np.eye(3)[:, :2], -self.centre_ft])
        return self.intrinsics() @ self.rotation() @ floor_to_camera

    def image_to_court(self) -> Array:
        """Ideal pixels to floor feet, (3, 3), scaled so that w > 0 exactly on the visible floor."""
        return np.asarray(np.linalg.inv(self.court_to_image()), dtype=np.float64)

    def to_floor(self, seen_px: ArrayLike) -> Array:
        """Seen pixels (N, 2) to the floor in feet (N, 2); NaN at or above the horizon."""
        ideal = self.lens.undistort(seen_px)
        x, y, w = self.image_to_court() @ np.vstack([ideal.T, np.ones(len(ideal))])
        safe_w = np.where(w > 1e-9, w, np.nan)
        return np.column_stack([x / safe_w, y / safe_w])


def rotation_matrix(pan_deg: float, tilt_deg: float, roll_deg: float) -> Array:
    """Court axes to camera axes, (3, 3), from the angles of :class:`Camera`."""
    return rotation_matrices(np.array([[pan_deg, tilt_deg, roll_deg]], dtype=np.float64))[0]


def rotation_matrices(angles_deg: Array) -> Array:
    """Court axes to camera axes, (M, 3, 3), from rows of pan, tilt and roll in degrees, (M, 3)."""
    (sp, st, sr), (cp, ct, cr) = np.sin(np.deg2rad(angles_deg)).T, np.cos(np.deg2rad(angles_deg)).T
    down_y, down_x, forward_x = cp * st, sp * st, sp * ct
    found = np.empty((len(angles_deg), 3, 3))
    # Rolling mixes the level camera's right (cos pan, -sin pan, 0) and down directions.
    found[:, 0] = np.column_stack([cr * cp - sr * down_x, -cr * sp - sr * down_y, sr * ct])
    found[:, 1] = np.column_stack([sr * cp + cr * down_x, -sr * sp + cr * down_y, -cr * ct])
    found[:, 2] = np.column_stack([forward_x, cp * ct, st])
    return found


def angles_deg(rotation: ArrayLike) -> tuple[float, float, float]:
    """Pan, tilt and roll in degrees of a rotation (3, 3), the inverse of :func:`rotation_matrix`.

    Looking straight up or down leaves pan and roll undetermined together; pan is then given as 0.
    """
    r = np.asarray(rotation, dtype=np.float64)
    tilt = np.arcsin(np.clip(r[2, 2], -1, 1))
    if np.hypot(r[2, 0], r[2, 1]) < 1e-9:
        return 0.0, float(np.rad2deg(tilt)), float(np.rad2deg(np.arctan2(r[1, 0], r[0, 0])))
    pan = np.arctan2(r[2, 0], r[2, 1])
    roll = np.arctan2(r[0, 2], -r[1, 2])
    # With column 2 of the level rotation (0, -cos tilt, sin tilt), roll turns it to (sr ct, -cr ct).
    return float(np.rad2deg(pan)), float(np.rad2deg(tilt)), float(np.rad2deg(roll))


def camera_from_homography(court_to_image: ArrayLike, size_px: tuple[int, int]) -> Camera | NoCourt:
    """Decompose a floor-to-ideal-pixel homography into a camera without distortion.

    Square pixels and a principal point in the middle of the picture leave one unknown in the image of the absolute
    conic, solved from the two constraints that the floor's axes are perpendicular and of equal length (Hartley &
    Zisserman, Multiple View Geometry, 2nd ed., section 8.8; Zhang 2000 for planes).

    Parameters
    ----------
    court_to_image : array_like of shape (3, 3)
        Any scale and sign.
    size_px : tuple of int
        Picture width and height.

    Returns
    -------
    Camera or NoCourt
        NoCourt where no camera above the floor explains the homography.
    """
    h = np.asarray(court_to_image, dtype=np.float64)
    if h.shape != (3, 3):
        raise ShapeError(f"A homography must be (3, 3), got {h.shape}.")
    lens = straight_lens(size_px)
    scale = size_px[0]
    to_unit = np.array(
        [[1 / scale, 0, -lens.centre_px[0] / scale], [0, 1 / scale, -lens.centre_px[1] / scale], [0, 0, 1.0]]
    )
    g = to_unit @ h
    if not np.all(np.isfinite(g)) or abs(np.linalg.det(g)) <= 1e-15 * np.linalg.norm(g) ** 3:
        return NoCourt("The homography is singular.")
    g = g / np.linalg.norm(g[:, 0])
    a, b = g[:, 0], g[:, 1]
    # w = 1 / focal²: w (a0 b0 + a1 b1) + a2 b2 = 0 and w (|a|² - |b|²) + a2² - b2² = 0.
    left = np.array([a[0] * b[0] + a[1] * b[1], (a[0] ** 2 + a[1] ** 2 - b[0] ** 2 - b[1] ** 2) / 2])
    right = -np.array([a[2] * b[2], (a[2] ** 2 - b[2] ** 2) / 2])
    if np.dot(left, left) < 1e-18 or np.dot(left, right) <= 0:
        return NoCourt("The homography fits no camera with square pixels.")
    w = np.dot(left, right) / np.dot(left, left)
    focal = 1 / np.sqrt(w)
    m = np.diag([1 / focal, 1 / focal, 1.0]) @ g
    m = m / np.sqrt(np.linalg.norm(m[:, 0]) * np.linalg.norm(m[:, 1]))
    centre = -np.linalg.solve(np.column_stack([m[:, 0], m[:, 1], np.cross(m[:, 0], m[:, 1])]), m[:, 2])
    if centre[2] < 0:  # m and -m show the same picture; the one above the floor is the camera
        m = -m
        centre = -np.linalg.solve(np.column_stack([m[:, 0], m[:, 1], np.cross(m[:, 0], m[:, 1])]), m[:, 2])
    u, _, vt = np.linalg.svd(np.column_stack([m[:, 0], m[:, 1], np.cross(m[:, 0], m[:, 1])]))
    rotation = u @ np.diag([1, 1, np.linalg.det(u @ vt)]) @ vt
    if not np.isfinite(centre).all() or centre[2] <= 0:
        return NoCourt("The homography fits no camera above the floor.")
    pan, tilt, roll = angles_deg(rotation)
    return Camera(centre, pan, tilt, roll, float(focal * scale), lens, size_px)


def camera_to_columns(camera: Camera) -> dict[str, Any]:
    """The camera as the columns of one row of the ``cameras`` table."""
    return {
        "image_to_court": [float(v) for v in camera.image_to_court().ravel()],
        "centre_x_ft": float(camera.centre_ft[0]),
        "centre_y_ft": float(camera.centre_ft[1]),
        "centre_z_ft": float(camera.centre_ft[2]),
        "pan_deg": float(camera.pan_deg),
        "tilt_deg": float(camera.tilt_deg),
        "roll_deg": float(camera.roll_deg),
        "focal_px": float(camera.focal_px),
        "k1": float(camera.lens.k1),
        "width_px": int(camera.size_px[0]),
        "height_px": int(camera.size_px[1]),
    }


def camera_to_row(
    camera: Camera | NoCourt,
    *,
    frame: int,
    t_s: float,
    shot: int,
    status: str = "registered",
    rule_book: str = "",
    residual_px: float = float("nan"),
    residual_ft: float = float("nan"),
    quality: float = 0.0,
    size_px: tuple[int, int] | None = None,
) -> dict[str, Any]:
    """One row of the ``cameras`` table; a :class:`NoCourt` becomes status ``unknown`` with nulls and its reason.

    ``size_px`` is needed only with a NoCourt.
    """
    row: dict[str, Any] = {"frame": frame, "t_s": t_s, "shot": shot, "rule_book": rule_book}
    if isinstance(camera, NoCourt):
        nothing = ("centre_x_ft", "centre_y_ft", "centre_z_ft", "pan_deg", "tilt_deg", "roll_deg", "focal_px", "k1")
        size = size_px or (0, 0)
        return row | {
            "status": "unknown",
            "reason": camera.reason,
            "image_to_court": None,
            **dict.fromkeys(nothing),
            "width_px": size[0],
            "height_px": size[1],
            "residual_px": None,
            "residual_ft": None,
            "quality": 0.0,
        }
    return row | {
        "status": status,
        "reason": "",
        **camera_to_columns(camera),
        "residual_px": residual_px,
        "residual_ft": residual_ft,
        "quality": quality,
    }


def camera_from_row(row: dict[str, Any]) -> Camera | NoCourt:
    """The camera in one row (a dict) of the ``cameras`` table, or why there is none."""
    if row["focal_px"] is None or row["status"] == "unknown":
        return NoCourt(row["reason"] or "The frame has no camera.")
    size = (int(row["width_px"]), int(row["height_px"]))
    lens = Lens(float(row["k1"]), straight_lens(size).centre_px, float(size[0]))
    centre = np.array([row["centre_x_ft"], row["centre_y_ft"], row["centre_z_ft"]])
    return Camera(centre, row["pan_deg"], row["tilt_deg"], row["roll_deg"], row["focal_px"], lens, size)


def _pixels(px: ArrayLike) -> Array:
    points = np.asarray(px, dtype=np.float64)
    if points.ndim != 2 or points.shape[1] != 2:
        raise ShapeError(f"Pixels must be (N, 2), got {points.shape}; pass x and y as two columns.")
    return points
