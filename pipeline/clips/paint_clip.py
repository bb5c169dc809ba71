"""The clip and the still of a crowded paint: the paint lit, the bodies in it ringed, numbered and counted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.clips.captions import ROOM_SHARE, Rect, Row, at_most, caption_size, corner_for, draw_caption
from pipeline.clips.floor_drawing import (
    FloorLook,
    badge,
    canvas,
    fill_area,
    fill_colour,
    lane_lines,
    learn_floor,
    line,
    paint_outline,
    ring,
)
from pipeline.clips.lettering import wrapped
from pipeline.clips.playback import Body, Playback
from pipeline.clips.settings import ClipSettings, Colour
from pipeline.court.attack_frame import End
from pipeline.court.camera import Camera
from pipeline.court.geometry import in_paint
from pipeline.court.rule_books import RULE_BOOKS, RuleBook
from pipeline.errors import LibraryError
from pipeline.film.decode import Frame
from pipeline.tags.records import Candidate

WHITE: Colour = (245, 245, 245)

CROWDED_PAINT = "crowded_paint"
ATTACKER, DEFENDER, UNKNOWN, HANDLER = "attacker_in_paint", "defender_in_paint", "in_paint", "handler"
"""Roles of a crowded paint's actors, see ``spacing.faults``."""


def numbers_of(actors: Sequence[tuple[str, int]]) -> dict[int, int]:
    """Number of each counted body by track: 1, 2, … ; attackers first, then defenders, then those of unknown team."""
    order = (ATTACKER, DEFENDER, UNKNOWN)
    counted = sorted((order.index(role), track) for role, track in actors if role in order)
    return {track: number for number, (_, track) in enumerate(counted, start=1)}


def draw_crowded_paint(
    picture: np.ndarray,
    camera: Camera,
    bodies: Sequence[Body],
    actors: Sequence[tuple[str, int]],
    book: RuleBook,
    end: End,
    headline: Sequence[tuple[str, Colour]],
    settings: ClipSettings,
    *,
    numbers: Mapping[int, int] | None = None,
    paint: Colour | None = None,
    corner_px: tuple[float, float] = (20.0, 20.0),
    look: FloorLook | None = None,
) -> np.ndarray:
    """Draw a crowded paint over a copy of a picture.

    Parameters
    ----------
    picture : ndarray of shape (H, W, 3), uint8, BGR
    camera : Camera
    bodies : sequence of Body
        Everyone at that moment; those not in ``actors`` are left as they are but stay in front of the drawing.
    actors : sequence of (role, track)
        The handler and the bodies to ring.
    book, end : the court, and the end that is attacked
    headline : sequence of (text, colour)
        Caption, line by line; the first is its title.
    settings : ClipSettings
    numbers : mapping of track to number, optional
        Those to number; by default all that are ringed, see :func:`numbers_of`.
    paint : colour, optional
        Fill of the paint; by default chosen by the floor's own colour.
    corner_px : x, y
        Upper left corner of the caption.
    look : FloorLook, optional
        What passes for floor; learnt from the picture by default.

    Returns
    -------
    ndarray of shape (H, W, 3), uint8
    """
    outline = paint_outline(book, end)
    boxes = [body.box_px for body in bodies if body.box_px is not None]
    on = canvas(picture, camera, outline, boxes, settings, look)
    colour = paint or fill_colour(on, outline, settings)
    fill_area(on, outline, colour, settings.paint_strength)
    for points in lane_lines(book, end):
        line(on, points, (0, 0, 0), 3.2, 0.4)
        line(on, points, colour, 2.0)
    by_track = {body.track: body for body in bodies}
    numbered = numbers_of(actors) if numbers is None else numbers
    counted = [(role, by_track[track]) for role, track in actors if role != HANDLER and track in by_track]
    for role, body in counted:
        ring(on, body.place_ft, settings.ring_radius_ft, _colour(role, settings), 2.0)
    handler = next((by_track[track] for role, track in actors if role == HANDLER and track in by_track), None)
    if handler is not None:
        ring(on, handler.place_ft, settings.ring_radius_ft, settings.handler, 2.0)
        ring(on, handler.place_ft, 1.45 * settings.ring_radius_ft, settings.handler, 1.2)
    text_px = 0.75 * settings.text_share * picture.shape[0]
    for role, body in sorted(counted, key=lambda pair: -pair[1].place_ft[1]):
        front = camera.project_floor(np.array([[body.place_ft[0], body.place_ft[1] - settings.ring_radius_ft]]))[0]
        if body.track in numbered and np.isfinite(front).all():
            shape = "square" if role == DEFENDER else "round"
            place = (front[0], front[1] + 0.6 * text_px)
            badge(on, place, str(numbered[body.track]), _colour(role, settings), shape, text_px)
    if headline:
        draw_caption(on.picture, _rows(headline, settings, picture.shape), corner_px, _text_px(settings, picture.shape))
    return on.picture


def _text_px(settings: ClipSettings, shape: tuple[int, ...]) -> float:
    return settings.text_share * shape[0]


def _rows(headline: Sequence[tuple[str, Colour]], settings: ClipSettings, shape: tuple[int, ...]) -> list[Row]:
    """A caption's lines: the first broken where it is too wide, the others smaller."""
    text_px = _text_px(settings, shape)
    (first, colour), *others = headline
    lines = at_most(wrapped(first, text_px, ROOM_SHARE * shape[1], bold=True), 3)
    return [
        *(Row(text, colour, 1.0, bold=True) for text in lines),
        *(Row(text, colour, 0.9, bold=True) for text, colour in others),
    ]


class CrowdedPaintDrawing:
    """Draws a crowded paint on every frame of its clip; see :class:`~pipeline.clips.cutting.Drawing`."""

    def __init__(
        self,
        candidate: Candidate,
        playback: Playback,
        end: End,
        settings: ClipSettings,
        graphics: Sequence[Rect] = (),
    ) -> None:
        self._candidate = candidate
        # A body keeps its number for the whole clip, or has none.
        self._numbers = numbers_of(candidate.actors)
        self._playback = playback
        self._end = end
        self._settings = settings
        self._book = RULE_BOOKS[playback.rule_book] if playback.rule_book else None
        self._paint: Colour | None = None
        self._look: FloorLook | None = None
        self._graphics = graphics
        self._corner: tuple[float, float] | None = None

    def draw(self, frame: Frame) -> np.ndarray:
        """The frame with the paint lit, those in it now ringed, and their number now."""
        bodies = self._playback.bodies(frame.t_s)
        roles = {track: role for role, track in self._candidate.actors}
        handler = self._handler
        here = []
        if self._book is not None and bodies:
            inside = in_paint(np.array([b.place_ft for b in bodies]), self._book, self._end)
            attack = self._attacking_team(bodies)
            for body, is_in in zip(bodies, inside, strict=True):
                if is_in and body.role == "player" and body.track != handler:
                    here.append((roles.get(body.track) or _role(body, attack), body.track))
        return self._drawn(frame, bodies, here, f"{len(here)} in the paint")

    def hold(self, frame: Frame) -> np.ndarray:
        """The moment itself: exactly those that the rule counted."""
        counted = [(role, track) for role, track in self._candidate.actors if role != HANDLER]
        bodies = self._playback.bodies(self._candidate.t_s)
        return self._drawn(frame, bodies, counted, self._candidate.sentence or f"{len(counted)} in the paint")

    @property
    def _handler(self) -> int | None:
        return next((track for role, track in self._candidate.actors if role == HANDLER), None)

    def _attacking_team(self, bodies: Sequence[Body]) -> int:
        return next((b.team for b in bodies if b.track == self._handler), -1)

    def _drawn(self, frame: Frame, bodies: Sequence[Body], counted: Sequence[tuple[str, int]], text: str) -> np.ndarray:
        camera = self._playback.camera(frame.t_s)
        if camera is None or self._book is None:
            return frame.image
        settings = self._settings
        if self._paint is None:  # chosen once, so that it does not change within a clip
            outline = paint_outline(self._book, self._end)
            boxes = [body.box_px for body in bodies if body.box_px is not None]
            self._look = learn_floor(frame.image, camera, outline, boxes, settings)
            self._paint = fill_colour(
                canvas(frame.image, camera, outline, boxes, settings, self._look), outline, settings
            )
        if self._corner is None:
            self._corner = self._quiet_corner(frame.image.shape)
        words = [(text, WHITE)]
        attack = sum(role == ATTACKER for role, _ in counted)
        defence = sum(role == DEFENDER for role, _ in counted)
        if attack:
            words.append((f"attack {attack}", settings.attack))
        if defence:
            words.append((f"defence {defence}", settings.defence))
        actors = list(counted)
        if self._handler is not None:
            actors.append((HANDLER, self._handler))
        return draw_crowded_paint(
            frame.image,
            camera,
            bodies,
            actors,
            self._book,
            self._end,
            words,
            settings,
            numbers=self._numbers,
            paint=self._paint,
            corner_px=self._corner,
            look=self._look,
        )

    def _quiet_corner(self, shape: tuple[int, ...]) -> tuple[float, float]:
        """Where the caption covers fewest people at the moment."""
        settings = self._settings
        headline = [(self._candidate.sentence or "0 in the paint", WHITE), ("attack 0", WHITE), ("defence 0", WHITE)]
        size = caption_size(_rows(headline, settings, shape), _text_px(settings, shape))
        people = [b.box_px for b in self._playback.bodies(self._candidate.t_s) if b.box_px is not None]
        return corner_for(size, (shape[1], shape[0]), people, self._graphics)


def attacked_end(spacing: pa.Table, candidate: Candidate) -> End:
    """The end attacked at a candidate's moment, by the ``spacing`` table.

    Raises
    ------
    LibraryError
        If the table has no frame of the candidate's shot.
    """
    rows = spacing.filter(pc.field("shot") == candidate.shot)
    if not rows.num_rows:
        raise LibraryError(
            f"The table 'spacing' has nothing about shot {candidate.shot}, where a '{candidate.kind}' is; "
            "run the film again."
        )
    nearest = int(np.abs(rows["t_s"].to_numpy() - candidate.t_s).argmin())
    return "left" if rows["attacked_end"][nearest].as_py() == "left" else "right"


def _role(body: Body, attack: int) -> str:
    if body.team < 0 or attack < 0:
        return UNKNOWN
    return ATTACKER if body.team == attack else DEFENDER


def _colour(role: str, settings: ClipSettings) -> Colour:
    return {ATTACKER: settings.attack, DEFENDER: settings.defence}.get(role, settings.unknown)
