"""Jersey colours as staff write them in ``game.toml``, as CIELAB."""

from __future__ import annotations

import re

import cv2
import numpy as np

from pipeline.errors import LibraryError

WORDS = {
    "white": "#f5f5f5",
    "cream": "#f3e9cf",
    "grey": "#8a8a8a",
    "gray": "#8a8a8a",
    "silver": "#c0c0c5",
    "black": "#1c1c1e",
    "red": "#c01c28",
    "maroon": "#6b1424",
    "pink": "#e58aa8",
    "orange": "#e0701c",
    "gold": "#e0a821",
    "yellow": "#f2d22e",
    "green": "#1f7a3c",
    "lime": "#9ccf3a",
    "teal": "#10807f",
    "light blue": "#7db7e3",
    "blue": "#2450b0",
    "navy": "#17224a",
    "purple": "#552b86",
    "brown": "#6b4423",
}
"""Usual words for jersey colours, as dyed cloth looks under arena light."""

HEX = re.compile(r"#[0-9a-f]{6}", re.IGNORECASE)


def jersey_lab(text: str) -> np.ndarray:
    """A jersey colour as CIELAB, (3,).

    Parameters
    ----------
    text : str
        A word of :data:`WORDS`, or ``#rrggbb``.

    Raises
    ------
    LibraryError
        If it is neither.
    """
    word = " ".join(text.lower().split())
    code = WORDS.get(word, word)
    if not HEX.fullmatch(code):
        raise LibraryError(
            f"The jersey colour '{text}' is not known; write one of {', '.join(WORDS)}, or #rrggbb, into game.toml."
        )
    red, green, blue = (int(code[i : i + 2], 16) / 255 for i in (1, 3, 5))
    return cv2.cvtColor(np.array([[[blue, green, red]]], np.float32), cv2.COLOR_BGR2Lab)[0, 0].astype(np.float64)


def team_colours(first: str, second: str) -> np.ndarray | None:
    """Colours of both teams' jerseys as CIELAB, (2, 3); None unless both are given."""
    if not first.strip() or not second.strip():
        return None
    return np.stack([jersey_lab(first), jersey_lab(second)])
