"""Drawings over single pictures: the floor's lines, the paint, where each body stands, and how many are in it."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from pipeline.court.attack_frame import End
from pipeline.court.camera import Camera
from pipeline.court.geometry import areas, markings
from pipeline.court.landmarks import landmarks
from pipeline.court.rule_books import RuleBook
from pipeline.errors import PictureError

LINE_BGR = (90, 220, 250)
PAINT_BGR = (200, 80, 160)
INSIDE_BGR = (60, 60, 235)
OUTSIDE_BGR = (235, 235, 235)
OFFICIAL_BGR = (140, 140, 140)
POINT_BGR = (40, 200, 40)
INK_BGR, BACK_BGR = (255, 255, 255), (30, 30, 30)
FOOT_RADIUS_FT = 1.2
STEP_FT = 1.0


@dataclass(frozen=True, slots=True)
class Standing:
    """A body to draw.

    Attributes
    ----------
    box_px : tuple of four floats
        x1, y1, x2, y2.
    court_ft : tuple of two floats, or None
        Where its feet are.
    counts : bool
        It is one of those in the paint.
    official : bool
        It is an official.
    """

    box_px: tuple[float, float, float, float]
    court_ft: tuple[float, float] | None
    counts: bool
    official: bool


@dataclass(frozen=True, slots=True, eq=False)
class Floor:
    """The floor to draw: the camera, its rule book, and the end whose paint is marked."""

    camera: Camera
    book: RuleBook
    paint_end: End | None


def draw_picture(
    picture: np.ndarray,
    floor: Floor | None,
    bodies: Sequence[Standing],
    headline: str,
    points: Sequence[tuple[tuple[float, float], str]] = (),
) -> np.ndarray:
    """Draw what was found over a copy of a picture.

    Parameters
    ----------
    picture : ndarray (H, W, 3), uint8, BGR
    floor : Floor or None
        Nothing is drawn on the floor without it.
    bodies : sequence of Standing
    headline : str
        Written in the upper left corner.
    points : sequence of (pixel, text)
        Marked and labelled.

    Returns
    -------
    ndarray (H, W, 3), uint8
    """
    drawn = picture.copy()
    thin = max(1, round(picture.shape[0] / 540))
    if floor is not None:
        if floor.paint_end is not None:
            _fill(
                drawn,
                _on_picture(areas(floor.book)[f"paint_{floor.paint_end}"], floor.camera, closed=True),
                PAINT_BGR,
                0.35,
            )
        for marking in markings(floor.book):
            _line(drawn, _on_picture(marking.points_ft, floor.camera, closed=marking.closed), LINE_BGR, thin)
        for body in bodies:
            if body.court_ft is not None:
                _foot(drawn, body, floor.camera, thin)
    for body in bodies:
        x1, y1, x2, y2 = (round(v) for v in body.box_px)
        cv2.rectangle(drawn, (x1, y1), (x2, y2), _colour(body), thin, cv2.LINE_AA)
    for (x, y), text in points:
        cv2.drawMarker(drawn, (round(x), round(y)), POINT_BGR, cv2.MARKER_CROSS, 10 * thin, 2 * thin)
        _write(drawn, text, (x + 8 * thin, y), 0.75)
    _write(drawn, headline, (10 * thin, 22 * thin), 1.0)
    return drawn


def write_picture(drawn: np.ndarray, folder: Path, stem: str) -> Path:
    """Write a drawn picture as PNG into a folder, made when needed; returns its path."""
    path = folder / f"{stem}.drawn.png"
    done, data = cv2.imencode(".png", drawn)
    if not done:
        raise PictureError(f"{path} cannot be written as PNG; the picture has an odd size {drawn.shape}.")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        temporary = path.with_suffix(f".{os.getpid()}.tmp")
        temporary.write_bytes(data.tobytes())
        os.replace(temporary, path)
    except OSError as error:
        raise PictureError(f"{path} cannot be written ({error.strerror}); check the folder.") from error
    return path


def draw_landmarks(book: RuleBook, px_per_ft: float = 12.0) -> np.ndarray:
    """A plan of the court from above with its landmarks numbered, and their names below, (H, W, 3) uint8 BGR."""
    margin, line_px = 40, 26
    known = list(landmarks(book).values())
    width = round(book.length_ft * px_per_ft) + 2 * margin
    floor = round(book.width_ft * px_per_ft) + 2 * margin
    columns = 4
    rows = -(-len(known) // columns)
    drawn = np.full((floor + rows * line_px + margin // 2, width, 3), 245, dtype=np.uint8)

    def place(points_ft: np.ndarray) -> np.ndarray:
        # The near sideline is below, as the main camera sees it.
        flipped = np.column_stack([points_ft[:, 0], book.width_ft - points_ft[:, 1]])
        return flipped * px_per_ft + margin

    for marking in markings(book):
        points = np.vstack([marking.points_ft, marking.points_ft[:1]]) if marking.closed else marking.points_ft
        _line(drawn, place(points), (150, 120, 90), 2)
    for number, one in enumerate(known, start=1):
        x, y = place(np.array([[one.x_ft, one.y_ft]]))[0]
        cv2.circle(drawn, (round(x), round(y)), 10, INSIDE_BGR, cv2.FILLED, cv2.LINE_AA)
        for text, at, scale, colour in (
            (str(number), (round(x) - 5 * len(str(number)), round(y) + 5), 0.42, INK_BGR),
            (
                f"{number} {one.name}",
                (
                    margin + (number - 1) // rows * (width - 2 * margin) // columns,
                    floor + (number - 1) % rows * line_px,
                ),
                0.5,
                BACK_BGR,
            ),
        ):
            cv2.putText(drawn, text, at, cv2.FONT_HERSHEY_SIMPLEX, scale, colour, 1, cv2.LINE_AA)
    return drawn


def _on_picture(points_ft: np.ndarray, camera: Camera, *, closed: bool) -> np.ndarray:
    """A polyline on the floor as picture points, dense enough to bend with the lens, (N, 2); NaN behind the camera."""
    corners = np.vstack([points_ft, points_ft[:1]]) if closed else points_ft
    steps = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(corners, axis=0), axis=1))])
    along = np.union1d(np.arange(0, steps[-1], STEP_FT), steps)
    dense = np.column_stack([np.interp(along, steps, corners[:, axis]) for axis in (0, 1)])
    return camera.project_floor(dense)


def _line(drawn: np.ndarray, px: np.ndarray, colour: tuple[int, int, int], thickness: int) -> None:
    near = np.isfinite(px).all(axis=1) & (np.abs(px) < 20_000).all(axis=1)
    for part in np.split(np.arange(len(px)), np.flatnonzero(~near)):
        kept = part[near[part]]
        if len(kept) > 1:
            cv2.polylines(
                drawn,
                [_fixed(px[kept])],
                isClosed=False,
                color=colour,
                thickness=thickness,
                lineType=cv2.LINE_AA,
                shift=4,
            )


def _fill(drawn: np.ndarray, px: np.ndarray, colour: tuple[int, int, int], strength: float) -> None:
    px = px[np.isfinite(px).all(axis=1) & (np.abs(px) < 20_000).all(axis=1)]
    if len(px) < 3:
        return
    layer = drawn.copy()
    cv2.fillPoly(layer, [_fixed(px)], colour, cv2.LINE_AA, shift=4)
    cv2.addWeighted(layer, strength, drawn, 1 - strength, 0, dst=drawn)


def _foot(drawn: np.ndarray, body: Standing, camera: Camera, thin: int) -> None:
    assert body.court_ft is not None
    turn = np.linspace(0, 2 * np.pi, 32)
    ring = np.array(body.court_ft) + FOOT_RADIUS_FT * np.column_stack([np.cos(turn), np.sin(turn)])
    px = camera.project_floor(ring)
    if body.counts:
        _fill(drawn, px, INSIDE_BGR, 0.6)
    _line(drawn, px, _colour(body), 2 * thin)


def _colour(body: Standing) -> tuple[int, int, int]:
    if body.official:
        return OFFICIAL_BGR
    return INSIDE_BGR if body.counts else OUTSIDE_BGR


def _write(drawn: np.ndarray, text: str, place_px: tuple[float, float], size: float) -> None:
    scale = size * drawn.shape[0] / 900
    weight = max(1, round(scale * 2))
    (width, height), below = cv2.getTextSize(text, cv2.FONT_HERSHEY_SIMPLEX, scale, weight)
    x = round(min(max(0, place_px[0]), max(0, drawn.shape[1] - width - 4)))
    y = round(min(max(height + 4, place_px[1]), drawn.shape[0] - below - 2))
    cv2.rectangle(drawn, (x - 3, y - height - 4), (x + width + 3, y + below + 1), BACK_BGR, cv2.FILLED)
    cv2.putText(drawn, text, (x, y), cv2.FONT_HERSHEY_SIMPLEX, scale, INK_BGR, weight, cv2.LINE_AA)


def _fixed(px: np.ndarray) -> np.ndarray:
    """Points in OpenCV's fixed-point form with four fractional bits."""
    return np.round(px * 16).astype(np.int32)
