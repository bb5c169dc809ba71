"""Words on pictures, in letters that know more than English."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import matplotlib
import numpy as np
from PIL import ImageFont

from pipeline.clips.settings import Colour

_FONTS = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
_REGULAR, _BOLD = "DejaVuSans.ttf", "DejaVuSans-Bold.ttf"
_CAPITAL = 0.73
"""Height of DejaVu's capitals over its size."""


def size_of(text: str, text_px: float, *, bold: bool = False) -> tuple[int, int]:
    """Width of a line and height of its capitals, pixels, when capitals are ``text_px`` high."""
    return round(_font(_size(text_px), bold).getlength(text)), round(text_px)


def write(
    picture: np.ndarray, text: str, at: tuple[float, float], text_px: float, colour: Colour, *, bold: bool = False
) -> None:
    """Write a line on a picture in place, what lies outside of it left out.

    Parameters
    ----------
    picture : ndarray of shape (H, W, 3), uint8, BGR
    text : str
    at : x, y
        Left end of the line, on its base.
    text_px : float
        Height of capitals.
    colour : Colour
    """
    mask, dx, dy = _mask(text, _size(text_px), bold)
    if not mask.size:
        return
    x, y = round(at[0]) + dx, round(at[1]) + dy
    x1, y1 = max(0, x), max(0, y)
    x2, y2 = min(picture.shape[1], x + mask.shape[1]), min(picture.shape[0], y + mask.shape[0])
    if x1 >= x2 or y1 >= y2:
        return
    weight = mask[y1 - y : y2 - y, x1 - x : x2 - x, None]
    under = picture[y1:y2, x1:x2]
    picture[y1:y2, x1:x2] = np.rint(under + (np.array(colour[::-1], np.float32) - under) * weight).astype(np.uint8)


def wrapped(text: str, text_px: float, width_px: float, *, bold: bool = False) -> list[str]:
    """Words broken into lines no wider than ``width_px``; a word that is wider by itself is broken where it must be."""
    lines: list[str] = []
    for paragraph in text.splitlines():
        line = ""
        for word in paragraph.split():
            longer = f"{line} {word}".strip()
            if size_of(longer, text_px, bold=bold)[0] <= width_px:
                line = longer
                continue
            if line:
                lines.append(line)
            line = word
            while size_of(line, text_px, bold=bold)[0] > width_px and len(line) > 1:
                cut = next(
                    n for n in range(len(line) - 1, 0, -1) if n == 1 or size_of(line[:n], text_px)[0] <= width_px
                )
                lines.append(line[:cut])
                line = line[cut:]
        if line:
            lines.append(line)
    return lines


def _size(text_px: float) -> int:
    return max(6, round(text_px / _CAPITAL))


@lru_cache(64)
def _font(size: int, bold: bool) -> ImageFont.FreeTypeFont:  # noqa: FBT001 - key of a cache
    return ImageFont.truetype(str(_FONTS / (_BOLD if bold else _REGULAR)), size)


@lru_cache(512)
def _mask(text: str, size: int, bold: bool) -> tuple[np.ndarray, int, int]:  # noqa: FBT001 - key of a cache
    """How far each pixel of a line is ink, (h, w) float32 0..1, and where it begins from the line's left end."""
    mask, (dx, dy) = _font(size, bold).getmask2(text, mode="L", anchor="ls")
    shape = mask.size[::-1]
    return np.array(mask, dtype=np.float32).reshape(shape) / np.float32(255), int(dx), int(dy)
