"""The caption of a clip: what it says, and the corner where it hides neither people nor the score graphic."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from pipeline.clips.lettering import size_of, wrapped, write
from pipeline.clips.settings import Colour
from pipeline.film.overlay import decode_thumb, find_overlay
from pipeline.film.tables import EVIDENCE
from pipeline.library.games import Game

Rect = tuple[float, float, float, float]
"""x1, y1, x2, y2 in pixels."""

WHITE: Colour = (245, 245, 245)
PALE: Colour = (214, 218, 224)
GROUND = np.array([28, 24, 22])
"""Blue, green, red of the ground behind words."""

ROOM_SHARE = 0.46
"""A caption is at most this wide, over the picture's width."""

THUMBS_AT_MOST = 120
"""Small pictures looked at for the score graphic."""


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a caption; ``size`` is over the caption's own letters."""

    text: str
    colour: Colour = PALE
    size: float = 0.78
    bold: bool = False


def rows_of(title: str, said: str, step: str, width_px: int, text_px: float) -> list[Row]:
    """A title, a sentence under it and what happens now, broken into lines."""
    room, small = ROOM_SHARE * width_px, 0.78 * text_px
    rows = [Row(text, WHITE, 1.0, bold=True) for text in at_most(wrapped(title, text_px, room, bold=True), 2)]
    rows += [Row(text) for text in at_most(wrapped(said, small, room), 3)]
    rows += [Row(text, (240, 228, 66), bold=True) for text in at_most(wrapped(step, small, room, bold=True), 1)]
    return rows


def caption_size(rows: Sequence[Row], text_px: float) -> tuple[int, int]:
    """Width and height of a caption with its ground."""
    pad = 0.65 * text_px
    wide = max((size_of(row.text, row.size * text_px, bold=row.bold)[0] for row in rows), default=0)
    return round(wide + 2 * pad), round(sum(1.6 * row.size * text_px for row in rows) + 2 * pad - 0.5 * text_px)


def draw_caption(picture: np.ndarray, rows: Sequence[Row], at_px: tuple[float, float], text_px: float) -> Rect:
    """Write a caption with its upper left corner at a place, in place; returns what it covers."""
    wide, tall = caption_size(rows, text_px)
    x, y = round(at_px[0]), round(at_px[1])
    shade(picture, (x, y, x + wide, y + tall))
    base = y + 0.15 * text_px
    for row in rows:
        base += 1.6 * row.size * text_px
        write(picture, row.text, (x + 0.65 * text_px, base), row.size * text_px, row.colour, bold=row.bold)
    return x, y, x + wide, y + tall


def shade(picture: np.ndarray, rect: Rect) -> None:
    """Darken a part of a picture, so that words on it are read."""
    x1, y1, x2, y2 = (max(0, round(v)) for v in rect)
    ground = picture[y1:y2, x1:x2]
    ground[:] = (0.25 * ground.astype(np.float32) + 0.75 * GROUND).astype(np.uint8)


def corner_for(
    size_px: tuple[int, int], picture_px: tuple[int, int], people: Sequence[Rect], graphics: Sequence[Rect]
) -> tuple[float, float]:
    """Where a caption goes: the corner, or the place below a graphic there, in which it covers least.

    Parameters
    ----------
    size_px, picture_px : (width, height)
        Of the caption and of the picture.
    people : sequence of Rect
        Who should stay in sight; each counts by the share of it that is covered.
    graphics : sequence of Rect
        What stands in the picture all the time; it is covered only where nothing else is left.
    """
    (wide, tall), (width, height) = size_px, picture_px
    edge = round(0.035 * height)
    left, right = float(edge), float(width - edge - wide)
    below = max((rect[3] for rect in graphics if rect[3] < height / 3), default=0.0) + 0.4 * edge
    above = min((rect[1] for rect in graphics if rect[1] > 2 * height / 3), default=float(height)) - 0.4 * edge - tall
    lower = float(height - edge - tall)
    places = [(x, y) for y in (float(edge), max(edge, below), min(lower, above), lower) for x in (left, right)]

    def cost(place: tuple[float, float]) -> float:
        own = (place[0], place[1], place[0] + wide, place[1] + tall)
        return sum(_covered(rect, own) for rect in people) + 1e3 * sum(_covered(rect, own) for rect in graphics)

    return min(places, key=lambda place: round(cost(place), 2))


def standing_graphics(game: Game, size_px: tuple[int, int]) -> tuple[Rect, ...]:
    """Where the score graphic and the like stand in a game's film, as its small pictures show; empty if none do."""
    if not EVIDENCE.path(game.tables).is_file():
        return ()
    thumbs = [data for data in EVIDENCE.read(game.tables)["thumb"].to_pylist() if data is not None]
    greys = [decode_thumb(data) for data in thumbs[:: max(1, len(thumbs) // THUMBS_AT_MOST)]]
    overlay = find_overlay(np.stack(greys)) if greys and len({grey.shape for grey in greys}) == 1 else None
    if overlay is None:
        return ()
    height, width = overlay.mask.shape
    joined = cv2.dilate(overlay.mask.astype(np.uint8), np.ones((5, 13), np.uint8))
    _, _, boxes, _ = cv2.connectedComponentsWithStats(joined)
    across, down = size_px[0] / width, size_px[1] / height
    return tuple((x * across, y * down, (x + w) * across, (y + h) * down) for x, y, w, h, _ in boxes[1:].tolist())


def at_most(lines: list[str], count: int) -> list[str]:
    """The first lines of several; the last ends in dots where there were more."""
    return lines if len(lines) <= count else [*lines[: count - 1], f"{lines[count - 1].rstrip('. ')} …"]


def meet(a: Rect, b: Rect) -> bool:
    """Whether two rectangles share anything."""
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def _covered(rect: Rect, by: Rect) -> float:
    """Share of a rectangle that another covers."""
    across = min(rect[2], by[2]) - max(rect[0], by[0])
    down = min(rect[3], by[3]) - max(rect[1], by[1])
    area = max(1e-6, (rect[2] - rect[0]) * (rect[3] - rect[1]))
    return max(0.0, across) * max(0.0, down) / area
