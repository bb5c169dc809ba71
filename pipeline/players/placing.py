"""Where bodies stand: boxes of a picture put on the court's floor through the frame's camera, with their errors."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from pipeline.court.camera import Camera
from pipeline.court.rule_books import RuleBook
from pipeline.players.settings import PlacingSettings, TrackSettings
from pipeline.players.tables import KIT_LENGTH, LOOK_LENGTH

BODY_HEIGHT_FT = 6.0
"""Height of the stick that is set up at a body's feet to measure how many pixels a foot is there."""

USUAL_BOX_FT = 6.3
"""Height of the box of a player at play: median over 40,000 boxes of rendered films, 6.3 to 6.6 by film."""

EDGE_PX = 3.0
"""A box that comes this near the picture's lower edge is cut by it."""

CUT_DOUBT = 9.0
"""How much more the variance of a place is whose feet lie below the picture."""

SOLE_FT = 0.65
"""How far the lowest pixel of a standing body lies from its middle, towards the camera: half a shoe and half a
stance. Median over 1,977 true boxes of the three one-possession sample clips: 0.65, 0.70 and 0.80 ft."""


@dataclass(frozen=True, slots=True, eq=False)
class PlacedBoxes:
    """Boxes of bodies with their place on the floor.

    Attributes
    ----------
    row : (N,) int
        Row of each in the table given.
    frame : (N,) int
    place_ft : (N, 2)
    covariance_ft : (N, 2, 2)
    px_per_ft : (N,)
        Upright, at the feet.
    """

    row: np.ndarray
    frame: np.ndarray
    place_ft: np.ndarray
    covariance_ft: np.ndarray
    px_per_ft: np.ndarray


def feet_on_court(
    boxes_px: np.ndarray,
    camera: Camera,
    stance_ft: float | np.ndarray = PlacingSettings.model_fields["stance_ft"].default,
    across: np.ndarray | None = None,
) -> np.ndarray:
    """Where the bodies in boxes stand.

    The bottom of a box is the sole that is nearest to the camera. The middle of the body is half a shoe and half a
    stance behind it, which a camera that looks down from the side would otherwise put too near.

    Parameters
    ----------
    boxes_px : (N, 4) ndarray
        x1, y1, x2, y2 in coded (lens-bent) pixels. N may be 0.
    camera : Camera
    stance_ft : float or (N,) ndarray
        How far behind, along the floor away from the camera.
    across : (N,) ndarray, optional
        How far right of the box's middle, in heights of the box.

    Returns
    -------
    (N, 2) ndarray
        Court feet; NaN at or beyond the horizon.
    """
    middle = (boxes_px[:, 0] + boxes_px[:, 2]) / 2
    if across is not None:
        middle = middle + across * (boxes_px[:, 3] - boxes_px[:, 1])
    soles = camera.to_floor(np.column_stack([middle, boxes_px[:, 3]]))
    away = soles - camera.centre_ft[:2]
    behind = np.reshape(stance_ft, (-1, 1))
    return soles + behind * away / np.linalg.norm(away, axis=1, keepdims=True)


def below_the_edge(boxes_px: np.ndarray, camera: Camera) -> tuple[np.ndarray, np.ndarray]:
    """Boxes that the picture's lower edge cuts, lengthened to where the feet of a body of usual height would be.

    Parameters
    ----------
    boxes_px : (N, 4) ndarray
    camera : Camera

    Returns
    -------
    (N, 4) ndarray
        The boxes; those that are not cut unchanged.
    (N,) bool ndarray
        Which are cut.
    """
    cut = boxes_px[:, 3] >= camera.size_px[1] - EDGE_PX
    whole = boxes_px.copy()
    for _ in range(4 if cut.any() else 0):  # the nearer the feet, the taller the body: settles in a few rounds
        middle = (whole[cut, 0] + whole[cut, 2]) / 2
        place = camera.to_floor(np.column_stack([middle, whole[cut, 3]]))
        floor, head = (np.column_stack([place, np.full(len(place), z)]) for z in (0.0, USUAL_BOX_FT))
        tall = np.linalg.norm(camera.project(head) - camera.project(floor), axis=1)
        lower = whole[cut, 1] + tall
        whole[cut, 3] = np.where(np.isfinite(lower), np.maximum(lower, boxes_px[cut, 3]), whole[cut, 3])
    return whole, cut


def floor_errors(boxes_px: np.ndarray, camera: Camera, settings: TrackSettings) -> np.ndarray:
    """Covariance of :func:`feet_on_court`, (N, 2, 2) in square feet: picture errors through the floor's Jacobian."""
    placing = settings.placing
    feet = np.column_stack([(boxes_px[:, 0] + boxes_px[:, 2]) / 2, boxes_px[:, 3]])
    here = camera.to_floor(feet)
    beside = camera.to_floor(feet + np.array([1.0, 0.0])) - here
    below = here - camera.to_floor(feet - np.array([0.0, 1.0]))
    below_other = camera.to_floor(feet + np.array([0.0, 1.0])) - here
    below = np.where(np.isfinite(below), below, below_other)
    jacobian = np.stack([beside, below], axis=2)
    size = boxes_px[:, 2:] - boxes_px[:, :2]
    sigma = np.column_stack([placing.across_sigma * size[:, 0], placing.down_sigma * size[:, 1]])
    sigma = np.maximum(sigma, 1.0)
    covariance = np.einsum("nij,nj,nkj->nik", jacobian, sigma**2, jacobian)
    covariance[:, [0, 1], [0, 1]] += placing.floor_sigma_ft**2
    return covariance


def box_array(boxes: pa.Table) -> np.ndarray:
    names = ("x1_px", "y1_px", "x2_px", "y2_px")
    return np.column_stack([boxes[n].to_numpy(zero_copy_only=False).astype(np.float64) for n in names]).reshape(-1, 4)


def kit_array(boxes: pa.Table) -> np.ndarray:
    """Kits of a boxes table, (N, 6); NaN where null."""
    kits = np.full((boxes.num_rows, KIT_LENGTH), np.nan)
    column = boxes["kit_lab"].combine_chunks()
    known = np.flatnonzero(column.is_valid().to_numpy(zero_copy_only=False))
    if len(known):
        kits[known] = column.drop_null().flatten().to_numpy(zero_copy_only=False).reshape(-1, KIT_LENGTH)
    return kits


def look_array(boxes: pa.Table) -> np.ndarray:
    """Looks of a boxes table as shares' square roots, (N, LOOK_LENGTH), NaN where null; (N, 0) where all are null."""
    column = boxes["look"].combine_chunks()
    known = np.flatnonzero(column.is_valid().to_numpy(zero_copy_only=False))
    if not len(known):
        return np.zeros((boxes.num_rows, 0))
    looks = np.full((boxes.num_rows, LOOK_LENGTH), np.nan)
    looks[known] = column.drop_null().flatten().to_numpy(zero_copy_only=False).reshape(-1, LOOK_LENGTH) / 255
    return looks


def place_boxes(boxes: pa.Table, cameras: Mapping[int, Camera], book: RuleBook, settings: TrackSettings) -> PlacedBoxes:
    """Put the players and officials of a boxes table on the floor.

    Left out: other classes, weak detections, frames without a camera, feet beyond the court's margin, and the
    weaker of two boxes on one body.
    """
    classes = boxes["class"].to_pylist()
    score = boxes["score"].to_numpy(zero_copy_only=False)
    frames = boxes["frame"].to_numpy(zero_copy_only=False)
    corners = box_array(boxes)
    body = np.array([c in ("player", "official") for c in classes], dtype=bool)
    usable = body & (score >= settings.placing.least_score) & np.isfinite(corners).all(axis=1)
    usable &= (corners[:, 2] > corners[:, 0]) & (corners[:, 3] > corners[:, 1])
    behind_ft, across = _stances(boxes, settings.placing)
    doubtful = np.ones(len(corners))
    parts: list[tuple[np.ndarray, ...]] = []
    rows = np.flatnonzero(usable)
    rows = rows[np.lexsort((*corners[rows].T, -score[rows], frames[rows]))]
    bounds = np.flatnonzero(np.diff(frames[rows])) + 1
    low, high = -settings.placing.margin_ft, np.array([book.length_ft, book.width_ft]) + settings.placing.margin_ft
    for own in np.split(rows, bounds):
        camera = cameras.get(int(frames[own[0]])) if len(own) else None
        if camera is None:
            continue
        own = own[_single_bodies(corners[own], settings.placing.double_iou)]
        whole, cut = below_the_edge(corners[own], camera)
        corners[own] = whole
        place = feet_on_court(whole, camera, behind_ft[own], across[own])
        doubtful[own] = np.where(cut, CUT_DOUBT, 1.0)
        inside = np.all((place >= low) & (place <= high), axis=1)
        own, place = own[inside], place[inside]
        if not len(own):
            continue
        covariance = floor_errors(corners[own], camera, settings) * doubtful[own][:, None, None]
        foot = np.column_stack([place, np.zeros(len(own))])
        head = np.column_stack([place, np.full(len(own), BODY_HEIGHT_FT)])
        tall = np.linalg.norm(camera.project(head) - camera.project(foot), axis=1) / BODY_HEIGHT_FT
        good = np.isfinite(covariance).all(axis=(1, 2)) & np.isfinite(tall) & (tall > 0)
        parts.append((own[good], frames[own[good]], place[good], covariance[good], tall[good]))
    if not parts:
        return PlacedBoxes(
            np.zeros(0, np.int64), np.zeros(0, np.int64), np.zeros((0, 2)), np.zeros((0, 2, 2)), np.zeros(0)
        )
    return PlacedBoxes(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def _stances(boxes: pa.Table, placing: PlacingSettings) -> tuple[np.ndarray, np.ndarray]:
    """Where bodies stand against their boxes' lower edges: behind in feet and across in box heights, (N,) each.

    Where the picture was not asked, the typical stance.
    """
    across = boxes["stands_across"].to_numpy(zero_copy_only=False).astype(np.float64)
    away = boxes["stands_away_ft"].to_numpy(zero_copy_only=False).astype(np.float64)
    bound = placing.across_bound
    shift = placing.away_share * np.clip(away - placing.away_typical_ft, -placing.away_bound_ft, placing.away_bound_ft)
    return (
        placing.stance_ft + np.where(np.isfinite(shift), shift, 0.0),
        np.where(np.isfinite(across), np.clip(across, -bound, bound), 0.0),
    )


def _single_bodies(corners: np.ndarray, most_iou: float) -> np.ndarray:
    """Rows that stay when, of two boxes that overlap more than ``most_iou``, the later goes. Strongest come first."""
    kept: list[int] = []
    area = np.prod(corners[:, 2:] - corners[:, :2], axis=1)
    for row in range(len(corners)):
        others = corners[kept]
        inner = np.prod(
            np.clip(np.minimum(others[:, 2:], corners[row, 2:]) - np.maximum(others[:, :2], corners[row, :2]), 0, None),
            axis=1,
        )
        if not np.any(inner > most_iou * (area[kept] + area[row] - inner)):
            kept.append(row)
    return np.array(kept, dtype=np.int64)


def on_court(place_ft: np.ndarray, book: RuleBook, edge_ft: float) -> np.ndarray:
    return np.all((place_ft >= -edge_ft) & (place_ft <= np.array([book.length_ft, book.width_ft]) + edge_ft), axis=1)
