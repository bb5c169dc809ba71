"""Floor areas as a perfect or a noisy network would see them, for tests: no film, no weights."""

from __future__ import annotations

from itertools import pairwise

import cv2
import numpy as np
import pyarrow as pa

from pipeline.court.camera import Camera, Lens, straight_lens
from pipeline.court.floor_lines import area_labels
from pipeline.court.geometry import markings
from pipeline.court.image_motion import fit_motion
from pipeline.court.rule_books import RuleBook
from pipeline.court.tables import MOTION
from pipeline.court.view_bank import picture_grid


def make_camera(
    book: RuleBook,
    *,
    x_ft: float = 1.0,
    away_ft: float = 55.0,
    height_ft: float = 24.0,
    pan_deg: float = -22.0,
    tilt_deg: float = -15.5,
    roll_deg: float = 0.3,
    focal: float = 1.45,
    k1: float = 0.1,
    size_px: tuple[int, int] = (1280, 720),
) -> Camera:
    """A main camera ``x_ft`` right of the halfway line; ``focal`` in picture widths."""
    lens = Lens(k1, straight_lens(size_px).centre_px, float(size_px[0]))
    centre = np.array([book.length_ft / 2 + x_ft, -away_ft, height_ft])
    return Camera(centre, pan_deg, tilt_deg, roll_deg, focal * size_px[0], lens, size_px)


def area_probabilities(
    camera: Camera,
    book: RuleBook,
    rng: np.random.Generator,
    *,
    columns: int = 160,
    noise: float = 0.5,
    line_px: float = 1.2,
) -> np.ndarray:
    """Probabilities (6, h, w) of the areas that a camera sees, blurred, with smooth noise in the logits.

    Areas are point-sampled three times finer and averaged; lines are drawn at least ``line_px`` map pixels wide.
    """
    rows = round(columns * camera.size_px[1] / camera.size_px[0])
    fine = 3
    floor = camera.to_floor(picture_grid(columns * fine, rows * fine, camera.size_px))
    labels = area_labels(floor, book).reshape(rows * fine, columns * fine)
    scale = columns * fine / camera.size_px[0]
    for marking in markings(book):
        if marking.kind == "lane_mark":
            continue
        path = np.vstack([marking.points_ft, marking.points_ft[:1]]) if marking.closed else marking.points_ft
        dense = np.vstack(
            [a + (b - a) * np.linspace(0, 1, max(2, int(np.hypot(*(b - a)) / 0.5)))[:, None] for a, b in pairwise(path)]
        )
        px = (camera.project_floor(dense) + 0.5) * scale - 0.5
        for a, b in pairwise(px):
            if np.isfinite([a, b]).all() and np.abs([a, b]).max() < 1e4:
                ends = [tuple(np.round(p * 16).astype(int).tolist()) for p in (a, b)]
                cv2.line(labels, ends[0], ends[1], 5, max(1, round(line_px * fine)), cv2.LINE_8, 4)
    share = np.stack(
        [cv2.resize((labels == k).astype(np.float32), (columns, rows), interpolation=cv2.INTER_AREA) for k in range(6)]
    )
    share = np.stack([cv2.GaussianBlur(p, (0, 0), 0.7) for p in share])
    rough = rng.normal(size=share.shape).astype(np.float32)
    # Noise of about the given spread, correlated over some six map pixels as a network's doubts are.
    smooth = np.stack([cv2.GaussianBlur(p, (0, 0), 3.0) for p in rough]) * (2 * np.sqrt(np.pi) * 3.0)
    logits = np.log(share + 0.01) + noise * smooth
    found = np.exp(logits - logits.max(axis=0))
    return (found / found.sum(axis=0)).astype(np.float32)


def floor_error_ft(found: Camera, true: Camera, book: RuleBook) -> np.ndarray:
    """How far the floor under a grid of true court pixels lies from where the found camera puts it, feet, (N,)."""
    grid = picture_grid(32, 18, true.size_px)
    here = true.to_floor(grid)
    with np.errstate(invalid="ignore"):
        on_court = (here[:, 0] > 0) & (here[:, 0] < book.length_ft) & (here[:, 1] > 0) & (here[:, 1] < book.width_ft)
    there = found.to_floor(grid[on_court])
    return np.nan_to_num(np.linalg.norm(there - here[on_court], axis=1), nan=np.inf)


def motion_table(cameras: list[Camera], times_s: list[float], rng: np.random.Generator) -> pa.Table:
    """What the picture's motion would be measured to be, from points far away."""
    rows = []
    for i, (earlier, now) in enumerate(pairwise(cameras)):
        width, height = now.size_px
        px = rng.uniform([60, 60], [width - 60, height - 60], (60, 2))
        ideal = (earlier.lens.undistort(px) - earlier.lens.centre_px) / earlier.focal_px
        ray = np.column_stack([ideal, np.ones(60)]) @ earlier.rotation()
        moved = now.project(now.centre_ft + ray) + rng.normal(0, 0.3, (60, 2))
        centre = np.array([(width - 1) / 2, (height - 1) / 2])
        found = fit_motion((px - centre) / width, (moved - centre) / width, rng)
        assert found is not None
        rows.append(
            {
                "frame": i + 1,
                "t_s": times_s[i + 1],
                "shot": 0,
                "frame_before": i,
                "t_before_s": times_s[i],
                "x_px": found.x * width + centre[0],
                "y_px": found.y * width + centre[1],
                "dx_px": found.dx * width,
                "dy_px": found.dy * width,
                "scale": found.scale,
                "turn_rad": found.turn_rad,
                "inliers": found.inliers,
                "spread_px": found.spread * width,
                "residual_px": found.residual * width,
            }
        )
    return MOTION.from_rows(rows)
