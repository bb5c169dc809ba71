"""Cards and strips of words between and under the clips of a reel."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.clips.captions import at_most
from pipeline.clips.lettering import size_of, wrapped, write
from pipeline.clips.settings import Colour

GROUND: Colour = (24, 28, 34)
STRIPE: Colour = (230, 159, 0)
WORDS: Colour = (245, 245, 245)
SOFT: Colour = (180, 186, 196)

STRIP_SHARE = 0.19
"""A strip is at most this high, over the picture's height."""

LINES_AT_MOST = 5
"""Lines of a note on a card; what is longer ends in dots."""


@dataclass(frozen=True, slots=True)
class Card:
    """What is written.

    Attributes
    ----------
    title, note : str
        The note may have several lines.
    above, below : str
        Small lines over the title and under the note.
    """

    title: str
    note: str = ""
    above: str = ""
    below: str = ""


def card_picture(card: Card, width_px: int, height_px: int) -> np.ndarray:
    """A card over the whole picture, (H, W, 3) uint8 BGR."""
    picture = np.empty((height_px, width_px, 3), dtype=np.uint8)
    picture[:] = GROUND[::-1]
    unit = min(height_px / 540, width_px / 640)
    left, room = round(0.09 * width_px), 0.82 * width_px
    picture[:, : max(3, round(0.012 * width_px))] = STRIPE[::-1]
    title_px, note_px, small_px = 30 * unit, 18 * unit, 13 * unit
    title = at_most(wrapped(card.title, title_px, room, bold=True), 3)
    note = at_most(wrapped(card.note, note_px, room), LINES_AT_MOST)
    tall = 1.6 * title_px * len(title) + (1.7 * note_px * len(note) + note_px if note else 0)
    y = max(0.5 * (height_px - tall), 5.5 * small_px)
    if card.above:
        write(picture, _fitting(card.above, small_px, room), (left, y - 1.5 * small_px), small_px, SOFT)
    for text in title:
        y += 1.6 * title_px
        write(picture, text, (left, y - 0.3 * title_px), title_px, WORDS, bold=True)
    y += note_px
    for text in note:
        y += 1.7 * note_px
        write(picture, text, (left, y - 0.4 * note_px), note_px, WORDS)
    if card.below:
        write(picture, _fitting(card.below, small_px, room), (left, height_px - 3 * small_px), small_px, SOFT)
    return picture


def with_strip(picture: np.ndarray, card: Card) -> np.ndarray:
    """A copy of a picture with a card's title and note on a dark strip along its lower edge."""
    height, width = picture.shape[:2]
    unit = min(height / 540, width / 640)
    title_px, note_px = 17 * unit, 13 * unit
    left, room = round(0.03 * width), 0.94 * width
    title = at_most(wrapped(card.title, title_px, room, bold=True), 1)
    note = at_most(wrapped(card.note, note_px, room), 2)
    tall = round(1.2 * title_px + 1.75 * title_px * len(title) + 1.75 * note_px * len(note))
    strip = picture.copy()
    ground = strip[height - tall :]
    ground[:] = (0.18 * ground.astype(np.float32) + 0.82 * np.array(GROUND[::-1])).astype(np.uint8)
    ground[: max(2, round(2 * unit))] = STRIPE[::-1]
    y = height - tall + 0.5 * title_px
    for text in title:
        y += 1.75 * title_px
        write(strip, text, (left, y - 0.3 * title_px), title_px, WORDS, bold=True)
    for text in note:
        y += 1.75 * note_px
        write(strip, text, (left, y - 0.3 * note_px), note_px, WORDS)
    return strip


def _fitting(text: str, text_px: float, width_px: float) -> str:
    if size_of(text, text_px)[0] <= width_px:
        return text
    while text and size_of(f"{text} …", text_px)[0] > width_px:
        text = text[:-1]
    return f"{text.rstrip()} …"
