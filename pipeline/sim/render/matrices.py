"""Matrices between the court, the picture and OpenGL's clip space; clipping of floor polygons to the view."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.court.camera import Camera

NEAR_FT = 1.5
FAR_FT = 700.0


@dataclass(frozen=True, slots=True)
class Window:
    """The part of the ideal picture that must be rendered so that the lens can fill the seen one.

    Edges in ideal pixels measured from the top-left pixel's outer corner (pixel centres at +0.5).
    """

    x_px: float
    y_px: float
    width_px: float
    height_px: float


def ideal_window(camera: Camera) -> Window:
    """Bounding box of the seen picture's border, taken through the lens."""
    width, height = camera.size_px
    along_x, along_y = np.linspace(-1, width, 33), np.linspace(-1, height, 19)
    border = np.vstack(
        [
            np.column_stack([along_x, np.full(33, -1.0)]),
            np.column_stack([along_x, np.full(33, float(height))]),
            np.column_stack([np.full(19, -1.0), along_y]),
            np.column_stack([np.full(19, float(width)), along_y]),
        ]
    )
    ideal = camera.lens.undistort(border)
    low, high = np.nanmin(ideal, axis=0) + 0.5, np.nanmax(ideal, axis=0) + 0.5
    return Window(float(low[0]), float(low[1]), float(high[0] - low[0]), float(high[1] - low[1]))


def view_projection(camera: Camera, window: Window, *, mirror_z: float = 1.0) -> np.ndarray:
    """Court feet to clip space, (4, 4); the framebuffer's first row is the window's top row.

    With `mirror_z` -1 the court's z is negated first (the floor's reflection); shaders that negate z themselves pass 1.
    """
    f = camera.focal_px
    cx, cy = camera.lens.centre_px
    projection = np.zeros((4, 4))
    projection[0, 0] = 2 * f / window.width_px
    projection[0, 2] = 2 * (cx + 0.5 - window.x_px) / window.width_px - 1
    projection[1, 1] = 2 * f / window.height_px
    projection[1, 2] = 2 * (cy + 0.5 - window.y_px) / window.height_px - 1
    projection[2, 2] = (FAR_FT + NEAR_FT) / (FAR_FT - NEAR_FT)
    projection[2, 3] = -2 * FAR_FT * NEAR_FT / (FAR_FT - NEAR_FT)
    projection[3, 2] = 1.0
    return projection @ camera.view_matrix() @ np.diag([1.0, 1.0, mirror_z, 1.0])


def shadow_matrix(direction: tuple[float, float, float], low_ft: np.ndarray, high_ft: np.ndarray) -> np.ndarray:
    """Parallel projection along the light that covers a box of the court, (4, 4)."""
    towards = np.asarray(direction, np.float64)
    side = np.cross([0.0, 1.0, 0.0], towards)
    side /= np.linalg.norm(side)
    up = np.cross(towards, side)
    axes = np.stack([side, up, -towards])
    grid = np.array(
        [[x, y, z] for x in (low_ft[0], high_ft[0]) for y in (low_ft[1], high_ft[1]) for z in (low_ft[2], high_ft[2])]
    )
    inside = grid @ axes.T
    low, high = inside.min(0), inside.max(0)
    low[2] -= 30.0
    matrix = np.eye(4)
    matrix[:3, :3] = axes * (2 / (high - low))[:, None]
    matrix[:3, 3] = -(high + low) / (high - low)
    return matrix


def clip_to_view(xyz_ft: np.ndarray, camera: Camera, margin: float = 1.35) -> np.ndarray:
    """Cut a polygon (N, 3) in court feet to what the camera can see, with a margin around the picture; (M, 3).

    Sutherland and Hodgman's polygon clipping in camera space, so that points behind the camera and points where a
    barrel lens would fold do no harm. M is 0 when nothing is left.
    """
    half = np.array(camera.size_px) / 2 * margin / camera.focal_px
    shift = (np.array(camera.size_px) / 2 - camera.lens.centre_px) / camera.focal_px
    rotation = camera.rotation()
    points = (np.asarray(xyz_ft, np.float64) - camera.centre_ft) @ rotation.T
    planes = np.array(
        [
            [0, 0, 1, -NEAR_FT],
            [1, 0, half[0] - shift[0], 0],
            [-1, 0, half[0] + shift[0], 0],
            [0, 1, half[1] - shift[1], 0],
            [0, -1, half[1] + shift[1], 0],
        ]
    )
    for plane in planes:
        if len(points) == 0:
            break
        value = points @ plane[:3] + plane[3]
        following, next_value = np.roll(points, -1, axis=0), np.roll(value, -1)
        kept: list[np.ndarray] = []
        for a, b, va, vb in zip(points, following, value, next_value, strict=True):
            if va >= 0:
                kept.append(a)
            if (va >= 0) != (vb >= 0):
                kept.append(a + (b - a) * (va / (va - vb)))
        points = np.array(kept).reshape(-1, 3)
    return points @ rotation + camera.centre_ft
