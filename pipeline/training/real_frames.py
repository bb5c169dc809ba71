"""Turn labelled real frames into a training folder: people, balls and rings as boxes, court areas as masks.

    python -m pipeline.training.real_frames --frames DIR --teacher NANODET.onnx --out DIR --hold-out tv_c gym_b

Comes in: a folder with ``images/`` and ``polygons.json`` (floor areas drawn by hand). The camera of each frame is
fitted to its polygons; lines, rings and boards are then drawn where the rule book puts them, and the teacher's people
are kept where they stand on the floor and are as tall as somebody standing there would be. Officials are told from
players by what the officials of that game wear. Frames that the source has disturbed give masks only.

The boxes are proposals. Look through them before training: the teacher misses people in a crowd, takes boards and
benches for people, and sees few balls; a ball left out teaches the detector that real balls are none.

Real frames are somebody's film: what this writes stays outside the repository.
"""

import argparse
import json
import logging
import shutil
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from pipeline.court.area_network import AREA_CLASSES
from pipeline.court.camera import Camera, NoCourt
from pipeline.court.geometry import ENDS, board_corners_ft, markings, ring_centre_ft
from pipeline.court.registration import CourtFit, fit_polygons
from pipeline.court.rule_books import RuleBook, rule_book
from pipeline.errors import DataError
from pipeline.players.tables import BOX_CLASSES
from pipeline.training.packs import UNKNOWN_AREA
from pipeline.training.teacher import PERSON, SPORTS_BALL, Teacher

log = logging.getLogger(__name__)

BODY_FT = 6.4
"""Height that a box is compared with."""

CREW = 3
"""At most so many officials work a game."""


@dataclass(frozen=True, slots=True)
class Clothing:
    """What the officials of one game wear, in OpenCV HSV (hue 0…179) of the chest and lightness of the legs."""

    chest_hue: tuple[int, int]
    chest_saturation: tuple[int, int]
    chest_value: tuple[int, int]
    legs_value: tuple[int, int]
    least_share: float
    least_dark_legs: float
    beside_ft: tuple[float, float]
    """How far outside the lines they are looked for, along the court and across it."""


OFFICIALS: dict[str, Clothing] = {
    # Games as the data set names them; told by looking at the crops of each.
    "tv_a": Clothing(
        (0, 13), (130, 255), (90, 255), (0, 100), least_share=0.22, least_dark_legs=0.0, beside_ft=(9.0, 8.0)
    ),
    "tv_b": Clothing(
        (0, 13), (130, 255), (90, 255), (0, 100), least_share=0.22, least_dark_legs=0.0, beside_ft=(9.0, 8.0)
    ),
    "gym_a": Clothing(
        (0, 179), (0, 80), (12, 125), (0, 75), least_share=0.45, least_dark_legs=0.3, beside_ft=(8.0, 2.5)
    ),
}


def people_sightings(picture_bgr: np.ndarray, teacher: Teacher) -> list[tuple[np.ndarray, float, int]]:
    """People as the teacher sees them in the picture (look 0) and in its mirror image (look 1): box, score, look."""
    width = picture_bgr.shape[1]
    found: list[tuple[np.ndarray, float, int]] = []
    for look, image in enumerate((picture_bgr, np.ascontiguousarray(picture_bgr[:, ::-1]))):
        boxes, scores, classes = teacher.look(image, min_score=0.12)
        if look == 1:
            boxes[:, [0, 2]] = width - boxes[:, [2, 0]]
        found += [(b, float(s), look) for b, s, c in zip(boxes, scores, classes, strict=True) if c == PERSON]
    return found


def merged(
    found: list[tuple[np.ndarray, float, int]], *, min_score: float = 0.2, min_twice: float = 0.13
) -> tuple[np.ndarray, np.ndarray]:
    """Average boxes of the same body by score; one seen in both looks may score as little as `min_twice`."""
    groups: list[list[tuple[np.ndarray, float, int]]] = []
    for box, score, look in sorted(found, key=lambda f: -f[1]):
        for group in groups:
            iou, inside = _overlap(box, group[0][0])
            if iou > 0.38 or inside > 0.66:
                if iou > 0.6:
                    group.append((box, score, look))
                break
        else:
            groups.append([(box, score, look)])
    kept = [
        (np.average([b for b, _, _ in g], axis=0, weights=[s**2 for _, s, _ in g]), g[0][1])
        for g in groups
        if g[0][1] >= min_score or (len({look for _, _, look in g}) == 2 and g[0][1] >= min_twice)
    ]
    return np.array([b for b, _ in kept]).reshape(-1, 4), np.array([s for _, s in kept])


def _overlap(a: np.ndarray, b: np.ndarray) -> tuple[float, float]:
    """Intersection over union, and over the smaller box."""
    wide = min(a[2], b[2]) - max(a[0], b[0])
    high = min(a[3], b[3]) - max(a[1], b[1])
    shared = max(wide, 0) * max(high, 0)
    area_a, area_b = (a[2] - a[0]) * (a[3] - a[1]), (b[2] - b[0]) * (b[3] - b[1])
    return shared / max(area_a + area_b - shared, 1e-6), shared / max(min(area_a, area_b), 1e-6)


def standing(
    boxes_px: np.ndarray,
    camera: Camera,
    book: RuleBook,
    *,
    margin_ft: tuple[float, float],
    height_range: tuple[float, float],
) -> np.ndarray:
    """Which boxes are people on the floor: feet inside the court and as tall as a body there would look.

    Parameters
    ----------
    margin_ft : how far outside the lines feet may stand, along the court and across it
    height_range : smallest and largest box height over that of somebody `BODY_FT` tall

    Returns
    -------
    ndarray of bool, shape (N,)
    """
    if not len(boxes_px):
        return np.zeros(0, bool)
    shape = (boxes_px[:, 2] - boxes_px[:, 0]) / np.maximum(boxes_px[:, 3] - boxes_px[:, 1], 1e-6)
    feet_px = np.column_stack([(boxes_px[:, 0] + boxes_px[:, 2]) / 2, boxes_px[:, 3]])
    feet = camera.to_floor(feet_px)
    head = camera.project(np.column_stack([feet, np.full(len(feet), BODY_FT)]))
    ratio = (boxes_px[:, 3] - boxes_px[:, 1]) / np.maximum(boxes_px[:, 3] - head[:, 1], 1e-6)
    on_floor = (
        (feet[:, 0] > -margin_ft[0])
        & (feet[:, 0] < book.length_ft + margin_ft[0])
        & (feet[:, 1] > -margin_ft[1])
        & (feet[:, 1] < book.width_ft + margin_ft[1])
    )
    # A body cut by the picture's bottom stands nearer than its box says: judge it by the box only.
    cut = boxes_px[:, 3] > camera.size_px[1] - 3
    tall = (ratio > height_range[0]) & (ratio < height_range[1])
    slim = (shape > 0.2) & (shape < 0.95)
    return on_floor & slim & (tall | (cut & (ratio > 0.6) & (ratio < height_range[1])))


def likeness(picture_bgr: np.ndarray, box_px: np.ndarray, clothing: Clothing) -> float:
    """How much the person in a box looks like an official: shares of fitting chest and leg pixels multiplied, or 0."""
    x1, y1, x2, y2 = box_px
    wide, high = x2 - x1, y2 - y1
    chest = _patch(picture_bgr, x1 + 0.28 * wide, y1 + 0.18 * high, x2 - 0.28 * wide, y1 + 0.45 * high)
    legs = _patch(picture_bgr, x1 + 0.3 * wide, y1 + 0.52 * high, x2 - 0.3 * wide, y1 + 0.85 * high)
    if chest is None or legs is None:
        return 0.0
    hue, saturation, value = (chest[:, i] for i in range(3))
    inside = (
        (hue >= clothing.chest_hue[0])
        & (hue <= clothing.chest_hue[1])
        & (saturation >= clothing.chest_saturation[0])
        & (saturation <= clothing.chest_saturation[1])
        & (value >= clothing.chest_value[0])
        & (value <= clothing.chest_value[1])
    )
    dark = (legs[:, 2] >= clothing.legs_value[0]) & (legs[:, 2] <= clothing.legs_value[1]) & (legs[:, 1] < 150)
    if inside.mean() < clothing.least_share or dark.mean() < clothing.least_dark_legs:
        return 0.0
    return float(inside.mean() * (0.1 + dark.mean()))


def _patch(picture_bgr: np.ndarray, x1: float, y1: float, x2: float, y2: float) -> np.ndarray | None:
    height, width = picture_bgr.shape[:2]
    left, top, right, bottom = max(0, int(x1)), max(0, int(y1)), min(width, int(x2) + 1), min(height, int(y2) + 1)
    if right <= left or bottom <= top:
        return None
    return cv2.cvtColor(picture_bgr[top:bottom, left:right], cv2.COLOR_BGR2HSV).reshape(-1, 3).astype(int)


def ring_boxes(camera: Camera, book: RuleBook) -> np.ndarray:
    """Boxes round ring, net and board of each end in the picture, (N, 4) pixels, cut at its edge.

    Only those of which at least half is in the picture.
    """
    width, height = camera.size_px
    found = []
    for end in ENDS:
        centre = ring_centre_ft(book, end)
        turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
        rim = centre + book.ring_radius_ft * np.column_stack([np.cos(turn), np.sin(turn), 0 * turn])
        net = centre + 0.6 * book.ring_radius_ft * np.column_stack([np.cos(turn), np.sin(turn), 0 * turn])
        net[:, 2] -= 1.5  # nets hang 400–450 mm below the ring (FIBA equipment rules 2.3)
        points = camera.project(np.vstack([board_corners_ft(book, end), rim, net]))
        if not np.isfinite(points).all():
            continue
        low, high = points.min(axis=0), points.max(axis=0)
        inside_low, inside_high = np.clip(low, 0, [width, height]), np.clip(high, 0, [width, height])
        if np.prod(inside_high - inside_low) >= 0.5 * np.prod(high - low):
            found.append([*inside_low, *inside_high])
    return np.array(found).reshape(-1, 4)


def area_mask(fit: CourtFit | NoCourt, polygons: list[dict[str, Any]], size_px: tuple[int, int]) -> np.ndarray:
    """Label map (H, W) of `AREA_CLASSES` from hand-drawn polygons and, where the fit is good, painted lines.

    Without a good fit the pixels along the polygons' edges are unknown: there a line may be.
    """
    width, height = size_px
    mask = np.full((height, width), AREA_CLASSES.index("outside"), np.uint8)
    names = (
        ("court", "floor"),
        ("three_point_area", "three_point_area"),
        ("paint", "paint"),
        ("centre_circle", "centre_circle"),
    )
    drawn = {name: [np.asarray(p["points"], float) for p in polygons if p["area"] == name] for name, _ in names}
    court = np.zeros((height, width), np.uint8)
    for points in drawn["court"]:
        cv2.fillPoly(court, [_fixed(points)], 1, shift=4)
    for name, label in names:
        for points in drawn[name]:
            cv2.fillPoly(mask, [_fixed(points)], AREA_CLASSES.index(label), shift=4)
    if isinstance(fit, CourtFit):
        book = rule_book(fit.rule_book)
        line = AREA_CLASSES.index("line")
        for marking in markings(book):
            if marking.kind == "lane_mark":
                continue
            for piece in _bands(marking.points_ft, marking.width_ft, fit, closed=marking.closed):
                cv2.fillPoly(mask, [_fixed(piece)], line, shift=4)
    else:
        edges = np.zeros((height, width), np.uint8)
        for points in (p for group in drawn.values() for p in group):
            cv2.polylines(edges, [_fixed(points)], isClosed=True, color=1, thickness=max(2, width // 160), shift=4)
        mask[edges > 0] = UNKNOWN_AREA
    return mask


def _bands(points_ft: np.ndarray, width_ft: float, fit: CourtFit, *, closed: bool) -> list[np.ndarray]:
    """A painted line as pictured: quadrilaterals of its width, cut into short pieces."""
    points = np.vstack([points_ft, points_ft[:1]]) if closed else points_ft
    bands = []
    for start, stop in pairwise(points):
        length = float(np.hypot(*(stop - start)))
        if length == 0:
            continue
        along = np.linspace(0, 1, max(2, int(length / 2) + 2))[:, None]
        middle = start + along * (stop - start)
        side = np.array([-(stop - start)[1], (stop - start)[0]]) / length * width_ft / 2
        left = fit.camera.project(np.column_stack([middle + side, np.zeros(len(middle))]))
        right = fit.camera.project(np.column_stack([middle - side, np.zeros(len(middle))]))
        for i in range(len(middle) - 1):
            quad = np.array([left[i], left[i + 1], right[i + 1], right[i]])
            if np.isfinite(quad).all() and np.abs(quad).max() < 8 * max(fit.camera.size_px):
                bands.append(quad)
    return bands


def _fixed(points: np.ndarray) -> np.ndarray:
    return np.round(np.asarray(points) * 16).astype(np.int32)


def prepare(
    frames: Path,
    teacher_weights: Path,
    out: Path,
    *,
    hold_out: tuple[str, ...],
    max_residual_ft: float = 0.6,
) -> dict[str, int]:
    """Write the training folder; see the module's text.

    Returns
    -------
    dict of counts: pictures, with boxes, with lines, boxes of each class
    """
    listing = frames / "polygons.json"
    if not listing.is_file():
        raise DataError(f"{listing} is missing; give a folder of frames with images/ and polygons.json.")
    records = [r for r in json.loads(listing.read_text()) if r["game"] not in hold_out]
    teacher = Teacher(teacher_weights)
    for name in ("images", "labels", "masks"):
        (out / name).mkdir(parents=True, exist_ok=True)
    (out / "classes.txt").write_text("\n".join(BOX_CLASSES) + "\n")
    counts = dict.fromkeys(("pictures", "with_boxes", "with_lines", *BOX_CLASSES), 0)
    for record in records:
        picture = cv2.imread(str(frames / "images" / record["file"]), cv2.IMREAD_COLOR)
        if picture is None:
            raise DataError(f"{frames / 'images' / record['file']}: not a readable picture; replace or remove it.")
        size = (record["width"], record["height"])
        fit = fit_polygons(record["polygons"], size)
        good = isinstance(fit, CourtFit) and fit.residual_ft <= max_residual_ft
        stem = Path(record["file"]).stem
        shutil.copyfile(frames / "images" / record["file"], out / "images" / record["file"])
        mask = area_mask(fit if good else NoCourt("the fit is too poor for lines"), record["polygons"], size)
        cv2.imwrite(str(out / "masks" / f"{stem}.png"), mask)
        counts["pictures"] += 1
        counts["with_lines"] += good
        if not isinstance(fit, CourtFit) or not good or record["augmented"]:
            continue
        labels = label_boxes(picture, fit, teacher, record["game"])
        rows = [
            f"{c} {(b[0] + b[2]) / 2 / size[0]:.6f} {(b[1] + b[3]) / 2 / size[1]:.6f} "
            f"{(b[2] - b[0]) / size[0]:.6f} {(b[3] - b[1]) / size[1]:.6f}"
            for c, b in labels
        ]
        (out / "labels" / f"{stem}.txt").write_text("\n".join(rows) + "\n")
        counts["with_boxes"] += 1
        for c, _ in labels:
            counts[BOX_CLASSES[c]] += 1
        log.info("%s: %d boxes", record["file"], len(labels))
    return counts


def label_boxes(picture_bgr: np.ndarray, fit: CourtFit, teacher: Teacher, game: str) -> list[tuple[int, np.ndarray]]:
    """Boxes of one frame, as (index into `BOX_CLASSES`, x1 y1 x2 y2)."""
    rings = [(BOX_CLASSES.index("ring"), b) for b in ring_boxes(fit.camera, rule_book(fit.rule_book))]
    return [
        *people_boxes(picture_bgr, people_sightings(picture_bgr, teacher), fit, game),
        *ball_boxes(picture_bgr, fit, teacher),
        *rings,
    ]


def people_boxes(
    picture_bgr: np.ndarray, sightings: list[tuple[np.ndarray, float, int]], fit: CourtFit, game: str
) -> list[tuple[int, np.ndarray]]:
    """Players on the floor and officials on it or just outside, doubles merged."""
    book, clothing = rule_book(fit.rule_book), OFFICIALS.get(game)
    boxes = np.array([b for b, _, _ in sightings]).reshape(-1, 4)
    beside_ft = clothing.beside_ft if clothing else (1.5, 1.5)
    possible = standing(boxes, fit.camera, book, margin_ft=beside_ft, height_range=(0.55, 1.45))
    boxes, scores = merged([s for s, keep in zip(sightings, possible, strict=True) if keep])
    inside = standing(boxes, fit.camera, book, margin_ft=(1.5, 1.5), height_range=(0.55, 1.45))
    near = standing(boxes, fit.camera, book, margin_ft=beside_ft, height_range=(0.7, 1.35))
    alike = np.array([likeness(picture_bgr, b, clothing) if clothing else 0.0 for b in boxes])
    alike[~inside & ~(near & (scores >= 0.35))] = 0.0
    crew = set(np.argsort(-alike)[:CREW][np.sort(-alike)[:CREW] < 0].tolist()) if len(alike) else set()
    found = []
    for number, (box, on_floor) in enumerate(zip(boxes, inside, strict=True)):
        official = number in crew
        if on_floor:
            found.append((BOX_CLASSES.index("official" if official else "player"), box))
        elif official:
            found.append((BOX_CLASSES.index("official"), box))
    return found


def ball_boxes(picture_bgr: np.ndarray, fit: CourtFit, teacher: Teacher) -> list[tuple[int, np.ndarray]]:
    """At most one ball: the surest sighting of a ball's size and colour near the floor's part of the picture."""
    boxes, scores, classes = teacher.look(picture_bgr, tiles=(3, 4), min_score=0.2)
    best: tuple[float, np.ndarray] | None = None
    for box, score, kind in zip(boxes, scores, classes, strict=True):
        if kind == SPORTS_BALL and _like_a_ball(picture_bgr, box, fit) and (best is None or score > best[0]):
            best = (float(score), box)
    return [] if best is None else [(BOX_CLASSES.index("ball"), best[1])]


def _like_a_ball(picture_bgr: np.ndarray, box: np.ndarray, fit: CourtFit) -> bool:
    wide, high = box[2] - box[0], box[3] - box[1]
    distance_ft = float(np.linalg.norm(fit.camera.centre_ft - [rule_book(fit.rule_book).length_ft / 2, 25.0, 5.0]))
    expected = 0.8 * fit.camera.focal_px / distance_ft  # a ball is 0.8 ft across (FIBA equipment rules 3.5)
    if not 0.45 * expected < (wide + high) / 2 < 2.6 * expected or not 0.5 < wide / max(high, 1e-6) < 2.0:
        return False
    patch = _patch(picture_bgr, box[0] + wide * 0.25, box[1] + high * 0.25, box[2] - wide * 0.25, box[3] - high * 0.25)
    if patch is None:
        return False
    hue, saturation = np.median(patch[:, 0]), np.median(patch[:, 1])
    return bool(3 <= hue <= 22 and 50 <= saturation <= 225)


def main(arguments: list[str] | None = None) -> None:
    """Read the command line and prepare the folder."""
    parser = argparse.ArgumentParser(prog="python -m pipeline.training.real_frames", description=__doc__)
    parser.add_argument("--frames", type=Path, required=True, help="folder with images/ and polygons.json")
    parser.add_argument("--teacher", type=Path, required=True, help="NanoDet ONNX with COCO classes")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--hold-out", nargs="*", default=[], help="games never to use")
    given = parser.parse_args(arguments)
    logging.basicConfig(level=logging.INFO, format="%(message)s")
    log.info("%s", prepare(given.frames, given.teacher, given.out, hold_out=tuple(given.hold_out)))


if __name__ == "__main__":
    main()
