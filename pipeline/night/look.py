"""The same way for a single picture: floor, bodies in feet, paint count.

There is no film around the picture, so the camera is found from it alone, teams are told apart by the kits in it, and
nobody knows who has the ball: the paint count is of all players in the paint of the end that most players are at.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import supervision as sv

from pipeline.clips.picture import Floor, Standing, draw_picture
from pipeline.court.area_network import AreaNetwork
from pipeline.court.attack_frame import End
from pipeline.court.camera import NoCourt
from pipeline.court.geometry import ENDS, in_paint
from pipeline.court.rule_books import rule_book
from pipeline.court.single_view import CourtFit, register_picture
from pipeline.errors import PictureError
from pipeline.players.detector import Detector
from pipeline.players.kit import kits_lab
from pipeline.players.placing import feet_on_court
from pipeline.players.tables import BOX_CLASSES
from pipeline.players.teams import UNSURE, teams_in_picture
from pipeline.settings import Settings


@dataclass(frozen=True, slots=True)
class Body:
    """Somebody in the picture.

    Attributes
    ----------
    kind : str
        ``"player"`` or ``"official"``.
    box_px : tuple of four floats
        x1, y1, x2, y2.
    score : float
        The detector's, 0..1.
    court_ft : tuple of two floats, or None
        Where the feet are on the floor; None without a floor.
    team : int or None
        0 (lighter kit) or 1; None where not known.
    in_paint : bool or None
        Feet in either paint; None without a floor.
    """

    kind: str
    box_px: tuple[float, float, float, float]
    score: float
    court_ft: tuple[float, float] | None
    team: int | None
    in_paint: bool | None


@dataclass(frozen=True, slots=True, eq=False)
class PictureRead:
    """What one picture shows.

    Attributes
    ----------
    fit : CourtFit or NoCourt
        The floor, or why there is none.
    bodies : tuple of Body
        On or near the floor; all that are seen where there is no floor.
    ball : (box, score) or None
        The surest ball.
    paint_end : "left", "right" or None
        The end whose paint is counted.
    paint_count : int or None
        Players with their feet in it; None without a floor.
    """

    fit: CourtFit | NoCourt
    bodies: tuple[Body, ...]
    ball: tuple[tuple[float, float, float, float], float] | None
    paint_end: End | None
    paint_count: int | None

    def on_court(self, px: tuple[float, float]) -> tuple[float, float] | None:
        """Floor place under a pixel, the lens's bending included, in court feet; None where there is none."""
        if isinstance(self.fit, NoCourt):
            return None
        return _pair(self.fit.camera.to_floor(np.array([px], dtype=np.float64))[0])


def read_picture(path: Path) -> np.ndarray:
    """A picture file as BGR uint8 (H, W, 3), upright.

    Raises
    ------
    PictureError
        If it is missing, a folder, or no picture.
    """
    try:
        data = np.fromfile(path, dtype=np.uint8)
    except FileNotFoundError as error:
        raise PictureError(f"{path} does not exist; check the name and the folder.") from error
    except IsADirectoryError as error:
        raise PictureError(f"{path} is a folder; give the pictures in it.") from error
    except OSError as error:
        raise PictureError(f"{path} cannot be read ({error.strerror}); check the path and its permissions.") from error
    if not len(data):
        raise PictureError(f"{path} is empty (0 bytes); copy it again.")
    picture = _decoded(data)
    if picture is None:
        raise PictureError(f"{path} is not a picture that can be read; give a JPEG or PNG file ('run' takes films).")
    return picture


def look_at(picture: np.ndarray, areas: AreaNetwork, detector: Detector, settings: Settings) -> PictureRead:
    """Find the floor, the bodies and the paint count of one picture.

    Parameters
    ----------
    picture : ndarray (H, W, 3), uint8, BGR
    areas, detector : the two networks
    settings : Settings
    """
    size = (picture.shape[1], picture.shape[0])
    (probability,) = areas.areas([picture])
    fit = register_picture(probability, size, settings.court.registration, settings.court.marks)
    (seen,) = detector.detect([picture])
    assert seen.class_id is not None
    assert seen.confidence is not None
    bodies = _bodies(picture, seen, fit, settings.night.look_margin_ft)
    end, count = (None, None) if isinstance(fit, NoCourt) else _paint_count(bodies, fit)
    balls = np.flatnonzero(seen.class_id == BOX_CLASSES.index("ball"))
    ball = None
    if len(balls):
        best = balls[np.argmax(seen.confidence[balls])]
        ball = (_box(seen.xyxy[best]), float(seen.confidence[best]))
    return PictureRead(fit, bodies, ball, end, count)


def picture_as_json(image: str, read: PictureRead, points_px: Sequence[tuple[float, float]]) -> dict[str, Any]:
    """What a picture shows, ready for JSON; lengths in feet, unknown values null."""
    fit = read.fit if isinstance(read.fit, CourtFit) else None
    lens = None if fit is None else fit.camera.lens
    return {
        "image": image,
        "registered": fit is not None,
        "reason": read.fit.reason if isinstance(read.fit, NoCourt) else "",
        "rule_book": None if fit is None else fit.rule_book,
        "other_rule_books": [] if fit is None else list(fit.other_books),
        "homography": None if fit is None else fit.camera.image_to_court().tolist(),
        "lens": None
        if lens is None
        else {"k1": float(lens.k1), "centre_px": [float(c) for c in lens.centre_px], "width_px": float(lens.width_px)},
        "residual_ft": None if fit is None else fit.residual_ft,
        "residual_px": None if fit is None else fit.residual_px,
        "quality": None if fit is None else fit.quality,
        "points": [{"px": list(px), "court_ft": _listed(read.on_court(px))} for px in points_px],
        "bodies": [
            {
                "class": body.kind,
                "box": list(body.box_px),
                "score": body.score,
                "court_ft": _listed(body.court_ft),
                "team": body.team,
                "in_paint": body.in_paint,
            }
            for body in read.bodies
        ],
        "ball": None if read.ball is None else {"box": list(read.ball[0]), "score": read.ball[1]},
        "paint_end": read.paint_end,
        "paint_count": read.paint_count,
    }


def drawn_look(picture: np.ndarray, read: PictureRead, points_px: Sequence[tuple[float, float]]) -> np.ndarray:
    """A copy of a picture with the floor, the bodies, the paint count and the asked points drawn on it."""
    fit = read.fit
    floor = None
    headline = "No floor found"
    if isinstance(fit, CourtFit):
        book = rule_book(fit.rule_book)
        floor = Floor(fit.camera, book, read.paint_end)
        headline = f"{read.paint_count} in the paint, {' or '.join((fit.rule_book, *fit.other_books))} floor"
    counted = [
        floor is not None
        and body.kind == "player"
        and body.court_ft is not None
        and read.paint_end is not None
        and bool(in_paint(np.array([body.court_ft]), floor.book, read.paint_end)[0])
        for body in read.bodies
    ]
    bodies = [
        Standing(body.box_px, body.court_ft, counts, body.kind == "official")
        for body, counts in zip(read.bodies, counted, strict=True)
    ]
    labels = []
    for px in points_px:
        place = read.on_court(px)
        labels.append((px, "off the floor" if place is None else f"{place[0]:.1f}, {place[1]:.1f} ft"))
    return draw_picture(picture, floor, bodies, headline, labels)


def look_lines(found: dict[str, Any], drawn: Path | None) -> Iterator[str]:
    """What was found in a picture, of :func:`picture_as_json`, and where it was drawn."""
    if found["registered"]:
        others = found["other_rule_books"]
        doubt = f" (or {' or '.join(others)}: the picture does not tell; --rule-book says)" if others else ""
        yield (
            f"{found['image']}: {found['rule_book']} floor{doubt}, {found['residual_ft']:.2f} ft off the markings; "
            f"{len(found['bodies'])} bodies, {found['paint_count']} players in the {found['paint_end']} paint."
        )
    else:
        yield f"{found['image']}: no floor. {found['reason']} {len(found['bodies'])} bodies."
    for point in found["points"]:
        place = point["court_ft"]
        where = "not on the floor" if place is None else f"{place[0]:.2f}, {place[1]:.2f} ft"
        yield f"  pixel {point['px'][0]:g},{point['px'][1]:g}: {where}"
    if drawn is not None:
        yield f"  drawn: {drawn}"


def drawn_names(images: Sequence[Path]) -> list[str]:
    """File stems for drawn pictures, told apart by a number where two pictures have one name."""
    found: list[str] = []
    for path in images:
        stem, number = path.stem, 2
        while stem in found:
            stem, number = f"{path.stem}-{number}", number + 1
        found.append(stem)
    return found


def _bodies(picture: np.ndarray, seen: sv.Detections, fit: CourtFit | NoCourt, margin_ft: float) -> tuple[Body, ...]:
    assert seen.class_id is not None
    assert seen.confidence is not None
    kinds = [BOX_CLASSES.index("player"), BOX_CLASSES.index("official")]
    rows = np.flatnonzero(np.isin(seen.class_id, kinds))
    boxes = seen.xyxy[rows].astype(np.float64)
    places = np.full((len(rows), 2), np.nan)
    inside = np.zeros(len(rows), bool)
    if isinstance(fit, CourtFit):
        book = rule_book(fit.rule_book)
        places = feet_on_court(boxes, fit.camera)
        high = np.array([book.length_ft, book.width_ft]) + margin_ft
        near = np.all((places >= -margin_ft) & (places <= high), axis=1)
        rows, boxes, places = rows[near], boxes[near], places[near]
        inside = in_paint(places, book, "left") | in_paint(places, book, "right")
    players = seen.class_id[rows] == kinds[0]
    teams = np.full(len(rows), UNSURE)
    if players.any():
        teams[players] = teams_in_picture(kits_lab(picture, boxes[players]))
    order = np.argsort(-seen.confidence[rows], kind="stable")
    return tuple(
        Body(
            kind=BOX_CLASSES[seen.class_id[rows[n]]],
            box_px=_box(boxes[n]),
            score=float(seen.confidence[rows[n]]),
            court_ft=_pair(places[n]),
            team=None if teams[n] == UNSURE else int(teams[n]),
            in_paint=bool(inside[n]) if isinstance(fit, CourtFit) else None,
        )
        for n in order
    )


def _paint_count(bodies: Sequence[Body], fit: CourtFit) -> tuple[End, int]:
    book = rule_book(fit.rule_book)
    places = np.array([b.court_ft for b in bodies if b.kind == "player" and b.court_ft]).reshape(-1, 2)
    middle = places[:, 0].mean() if len(places) else fit.camera.to_floor(_lower_middle(fit))[0, 0]
    end = ENDS[0] if not middle > book.length_ft / 2 else ENDS[1]
    return end, int(in_paint(places, book, end).sum())


def _lower_middle(fit: CourtFit) -> np.ndarray:
    width, height = fit.camera.size_px
    return np.array([[width / 2, 0.75 * height]])


def _decoded(data: np.ndarray) -> np.ndarray | None:
    try:
        return cv2.imdecode(data, cv2.IMREAD_COLOR)
    except cv2.error:
        return None


def _box(corners: np.ndarray) -> tuple[float, float, float, float]:
    x1, y1, x2, y2 = (round(float(c), 2) for c in corners)
    return x1, y1, x2, y2


def _pair(place: np.ndarray) -> tuple[float, float] | None:
    return (float(place[0]), float(place[1])) if np.isfinite(place).all() else None


def _listed(pair: tuple[float, float] | None) -> list[float] | None:
    return None if pair is None else list(pair)
