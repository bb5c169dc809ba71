"""The floor of a film as the court page shows it: lines over a frame, landmarks, frames worth a look."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import pyarrow.compute as pc
import pyarrow.parquet as pq
from numpy.typing import NDArray

from pipeline.court.camera import Camera, NoCourt, camera_from_row
from pipeline.court.fitting import REFERENCE_WIDTH_PX, camera_of
from pipeline.court.geometry import Marking, markings
from pipeline.court.landmarks import landmarks
from pipeline.court.pins import LEAST_PINS, PinnedFrame, check_fit, check_pins, fit_pins, miss_px
from pipeline.court.rule_books import RULE_BOOKS, RuleBook, rule_book
from pipeline.court.settings import RegistrationSettings
from pipeline.court.tables import CAMERAS
from pipeline.errors import FilmError, LibraryError, SettingsError
from pipeline.film.decode import decode
from pipeline.film.settings import DecodeSettings
from pipeline.film.tables import FRAMES, SHOTS
from pipeline.library.games import Game
from pipeline.library.pins import picture_size, read_pins

Array = NDArray[np.float64]
Line = list[list[float]]

STEP_FT = 1.0
"""Lines are drawn through a point in each of these."""

BEYOND = 0.25
"""Points farther outside the picture than this share of its width are left out."""

EDGE_PX = 4.0
"""Landmarks nearer to the picture's edge than this are not offered."""

UNSURE_FT = 0.8
"""From this miss on a shot is called worth a look."""


@dataclass(frozen=True, slots=True)
class FloorFrame:
    """A frame with the floor that was found in it.

    Attributes
    ----------
    frame : int
        Index of the analysed frame.
    t_s : float
    shot : int
    size_px : tuple of int
        Width and height.
    said : str
        What is known of its floor, one sentence.
    lines : list of polylines
        The found floor's lines, pixels; empty where none was found.
    pins : mapping of str to (x, y)
        What is pinned on it.
    visible : mapping of str to (x, y)
        Where the found floor has its landmarks, those inside the picture.
    """

    frame: int
    t_s: float
    shot: int
    size_px: tuple[int, int]
    said: str
    lines: list[Line]
    pins: Mapping[str, tuple[float, float]]
    visible: Mapping[str, tuple[float, float]]


@dataclass(frozen=True, slots=True)
class PinsTried:
    """What a set of pins comes to.

    Attributes
    ----------
    good : bool
        Whether they may be saved.
    said : str
        One sentence for the person who places them.
    book : str
        Rule book of the floor that fits best; empty where none was tried.
    miss_px : float or None
        Root mean square miss in the film's pixels.
    misses_px : mapping of str to float
        Each pin's own miss in the film's pixels.
    lines : list of polylines
    """

    good: bool
    said: str
    book: str = ""
    miss_px: float | None = None
    misses_px: Mapping[str, float] | None = None
    lines: list[Line] | None = None


@dataclass(frozen=True, slots=True)
class ShotFloor:
    """How sure the floor is in one shot.

    Attributes
    ----------
    shot : int
    start_s, end_s : float
    look_s : float
        The moment worth looking at: the least sure one.
    frames, registered, carried, unknown : int
        Analysed frames of it.
    worst_ft : float or None
        Largest miss of a frame.
    reason : str
        Why a floor is unknown, of the first such frame.
    live : bool
    pinned : bool
    """

    shot: int
    start_s: float
    end_s: float
    look_s: float
    frames: int
    registered: int
    carried: int
    unknown: int
    worst_ft: float | None
    reason: str
    live: bool
    pinned: bool

    @property
    def doubtful(self) -> bool:
        """Whether somebody should look at it."""
        return self.live and (self.unknown > 0 or (self.worst_ft is not None and self.worst_ft > UNSURE_FT))


def floor_lines(camera: Camera, book: RuleBook) -> list[Line]:
    """A floor's painted lines in the picture: polylines of (x, y) pixels, cut where they leave it."""
    found: list[Line] = []
    for marking in markings(book):
        seen = camera.project_floor(_refined(marking))
        width, height = camera.size_px
        margin = BEYOND * width
        inside = (
            np.isfinite(seen).all(axis=1)
            & (seen >= -margin).all(axis=1)
            & (seen[:, 0] <= width + margin)
            & (seen[:, 1] <= height + margin)
        )
        for part in np.split(np.arange(len(seen)), np.flatnonzero(np.diff(inside.astype(int)) != 0) + 1):
            if inside[part[0]] and len(part) > 1:
                found.append(np.round(seen[part], 1).tolist())
    return found


def _refined(marking: Marking) -> Array:
    points = marking.points_ft
    if marking.closed:
        points = np.vstack([points, points[:1]])
    reached = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    at = np.union1d(reached, np.arange(0.0, reached[-1], STEP_FT))
    return np.column_stack([np.interp(at, reached, points[:, axis]) for axis in (0, 1)])


def visible_landmarks(camera: Camera, book: RuleBook) -> dict[str, tuple[float, float]]:
    """Landmarks inside the picture, by name, in pixels."""
    known = list(landmarks(book).values())
    seen = camera.project_floor(np.array([(one.x_ft, one.y_ft) for one in known]))
    width, height = camera.size_px
    found = {}
    for one, (x, y) in zip(known, seen.tolist(), strict=True):
        if EDGE_PX <= x <= width - 1 - EDGE_PX and EDGE_PX <= y <= height - 1 - EDGE_PX:
            found[one.name] = (round(x, 1), round(y, 1))
    return found


def try_pins(
    points: Mapping[str, tuple[float, float]],
    t_s: float,
    size_px: tuple[int, int],
    books: tuple[RuleBook, ...],
    settings: RegistrationSettings,
) -> PinsTried:
    """Fit a camera to pins that are being placed, and say how far they miss.

    Parameters
    ----------
    points : mapping of str to (x, y)
        Landmarks in the film's pixels; fewer than four give a sentence and no lines.
    t_s : float
        When, for the sentences.
    size_px : tuple of int
    books : tuple of RuleBook
        Floors that it may be.
    settings : RegistrationSettings
    """
    pinned = PinnedFrame(0, t_s, points)
    if len(points) < LEAST_PINS:
        more = LEAST_PINS - len(points)
        return PinsTried(good=False, said=f"Place {more} more landmark{'s' if more > 1 else ''} to move the floor.")
    try:
        check_pins(pinned, size_px)
    except SettingsError as error:
        return PinsTried(good=False, said=str(error))
    fits = [(book, fit_pins(pinned, size_px, book, settings)) for book in books]
    book, fit = min(fits, key=lambda one: miss_px(one[1]))
    to_film = size_px[0] / REFERENCE_WIDTH_PX
    miss = miss_px(fit) * to_film
    misses = {str(name): round(float(px) * to_film, 1) for name, px in zip(fit.piece, fit.residual_px, strict=True)}
    lines = floor_lines(camera_of(fit.parameters, size_px), book)
    try:
        check_fit(pinned, size_px, [book], settings)
    except SettingsError as error:
        return PinsTried(good=False, said=str(error), book=book.name, miss_px=miss, misses_px=misses, lines=lines)
    said = f"The {len(points)} landmarks miss one {book.name} floor by {miss:.1f} px (root mean square)."
    return PinsTried(good=True, said=said, book=book.name, miss_px=miss, misses_px=misses, lines=lines)


def books_of(game: Game) -> tuple[RuleBook, ...]:
    """Floors that a game may have been played on: the told one, or the found one, or all."""
    told = game.file().rule_book
    if told:
        return (rule_book(told),)
    path = CAMERAS.path(game.tables)
    names = _books_found(path, path.stat().st_mtime_ns) if path.is_file() else ()
    return (rule_book(names[0]),) if len(names) == 1 else tuple(RULE_BOOKS.values())


@lru_cache(maxsize=64)
def _books_found(path: Path, _when: int) -> tuple[str, ...]:
    names = pc.unique(pq.read_table(path, columns=["rule_book"])["rule_book"]).to_pylist()
    return tuple(sorted(name for name in names if name in RULE_BOOKS))


def floor_frame(game: Game, frame: int, t_s: float, shot: int) -> FloorFrame:
    """What the court page shows of an analysed frame; see :func:`pipeline.library.pins.frame_at`."""
    size_px = picture_size(game)
    pins = next((dict(one.points) for one in read_pins(game) if one.frame == frame), {})
    camera, book, said = _camera(game, frame)
    if camera is None or book is None:
        return FloorFrame(frame, t_s, shot, size_px, said, [], pins, {})
    return FloorFrame(frame, t_s, shot, size_px, said, floor_lines(camera, book), pins, visible_landmarks(camera, book))


def _camera(game: Game, frame: int) -> tuple[Camera | None, RuleBook | None, str]:
    path = CAMERAS.path(game.tables)
    rows = pq.read_table(path, filters=[("frame", "=", frame)]).to_pylist() if path.is_file() else []
    if not rows:
        return None, None, "No floor was looked for here: the frame lies in no shot of live play."
    camera = camera_from_row(rows[0])
    if isinstance(camera, NoCourt):
        return None, None, f"No floor was found in this frame: {camera.reason}."
    ft = rows[0]["residual_ft"]
    if rows[0]["status"] == "registered":
        how = f"found in this frame, {ft:.2f} ft off its lines"
    else:
        how = f"carried over from the frames around this one, within {ft:.2f} ft"
    return camera, rule_book(rows[0]["rule_book"]), f"The {rows[0]['rule_book'].upper()} floor was {how}."


def shot_floors(game: Game) -> tuple[ShotFloor, ...]:
    """How sure the floor is in each shot of a game's film, in order of time; worked out once for each run of it."""
    paths = tuple(spec.path(game.tables) for spec in (SHOTS, FRAMES, CAMERAS))
    missing = [path.stem for path in paths if not path.is_file()]
    if missing:
        raise LibraryError(f"Game '{game.name}' has no table '{missing[0]}'; run its film first.")
    floors = _shot_floors(game.tables, tuple(path.stat().st_mtime_ns for path in paths))
    pinned = [one.t_s for one in read_pins(game)]
    return tuple(replace(one, pinned=any(one.start_s <= t <= one.end_s for t in pinned)) for one in floors)


@lru_cache(maxsize=512)
def _shot_floors(tables: Path, _when: tuple[int, ...]) -> tuple[ShotFloor, ...]:
    frames = pq.read_table(FRAMES.path(tables), columns=["shot", "t_s"])
    cameras = pq.read_table(CAMERAS.path(tables), columns=["shot", "t_s", "status", "reason", "residual_ft"])
    frame_shot, frame_t = (frames[name].to_numpy() for name in ("shot", "t_s"))
    shot, t_s, off_ft = (cameras[name].to_numpy() for name in ("shot", "t_s", "residual_ft"))
    status = np.array(cameras["status"].to_pylist(), dtype=object)
    found = []
    for one in SHOTS.read(tables).to_pylist():
        times = frame_t[frame_shot == one["shot"]]
        if not len(times):
            continue
        own = np.flatnonzero(shot == one["shot"])
        unknown = own[status[own] == "unknown"]
        told = own[(status[own] != "unknown") & np.isfinite(off_ft[own])]
        worst = int(told[np.argmax(off_ft[told])]) if len(told) else None
        look = int(unknown[len(unknown) // 2]) if len(unknown) else worst
        found.append(
            ShotFloor(
                shot=one["shot"],
                start_s=one["start_s"],
                end_s=one["end_s"],
                look_s=float(t_s[look] if look is not None else times[len(times) // 2]),
                frames=len(times),
                registered=int(np.sum(status[own] == "registered")),
                carried=int(np.sum(status[own] == "carried")),
                unknown=len(unknown),
                worst_ft=float(off_ft[worst]) if worst is not None else None,
                reason=cameras["reason"][int(unknown[0])].as_py() if len(unknown) else "",
                live=one["live"],
                pinned=False,
            )
        )
    return tuple(found)


def frame_jpeg(game: Game, t_s: float, settings: DecodeSettings) -> bytes:
    """The film's picture at an analysed frame's time, as JPEG."""
    film = game.film()
    picture = next((f.image for f in decode(film, start_s=t_s - 1e-4, end_s=t_s + 1.0, settings=settings)), None)
    if picture is None:
        raise FilmError(f"{film.name} shows no picture at {t_s:.2f} s; its end may be damaged.")
    done, data = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 90])
    if not done:
        raise FilmError(f"The picture of {film.name} at {t_s:.2f} s cannot be shown; it has the shape {picture.shape}.")
    return data.tobytes()


@dataclass(frozen=True, slots=True)
class Plan:
    """The court from above, near sideline at the bottom, for choosing landmarks.

    Attributes
    ----------
    width, height : float
        Feet, with a margin all round.
    lines : list of str
        SVG points of each line.
    spots : mapping of str to (x, y)
        Landmarks on it.
    """

    width: float
    height: float
    lines: list[str]
    spots: Mapping[str, tuple[float, float]]


PLAN_MARGIN_FT = 3.0


def plan_of(book: RuleBook) -> Plan:
    """A rule book's court as a plan."""

    def at(x: float, y: float) -> tuple[float, float]:
        return round(x + PLAN_MARGIN_FT, 2), round(book.width_ft - y + PLAN_MARGIN_FT, 2)

    lines = [
        " ".join("{},{}".format(*at(x, y)) for x, y in _refined(one).tolist())
        for one in markings(book)
        if one.kind != "lane_mark"
    ]
    spots = {one.name: at(one.x_ft, one.y_ft) for one in landmarks(book).values()}
    return Plan(book.length_ft + 2 * PLAN_MARGIN_FT, book.width_ft + 2 * PLAN_MARGIN_FT, lines, spots)
