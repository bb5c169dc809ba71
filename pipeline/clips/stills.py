"""A tag's moment as a picture, drawn on."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

from pipeline.clips.tag_film import Show, drawing_of
from pipeline.clips.writing import write_whole
from pipeline.errors import ExportError, PictureError
from pipeline.film.decode import decode
from pipeline.library.games import Library
from pipeline.settings import Settings
from pipeline.tags import Tag


def still_of_tag(library: Library, tag: Tag, out: Path, settings: Settings, *, show: Show = Show.FLOOR) -> Path:
    """Write the picture of a tag's moment as a PNG; returns its path.

    Raises
    ------
    LibraryError, FilmError, PictureError, ExportError
        If the game, its film or a table is not where the library says, the film has no picture then, or the file
        cannot be written.
    """
    game = library.game(tag.game)
    film, t_s = game.film(), tag.candidate.t_s
    frame = next(iter(decode(film, start_s=t_s - 1e-4, end_s=t_s + 1.0, settings=settings.film.decode)), None)
    if frame is None:
        raise PictureError(f"{film} has no picture at {t_s:.2f} s, the moment of tag {tag.tag}; run the film again.")
    write_png(drawing_of(tag, game, settings, show).hold(frame), out)
    return out


def write_png(picture: np.ndarray, out: Path) -> None:
    """Write a BGR picture whole or not at all; ExportError when it cannot be written."""
    done, data = cv2.imencode(".png", picture)
    if not done:
        raise ExportError(f"{out} cannot be written as PNG; the picture has an odd size {picture.shape}.")
    write_whole(data.tobytes(), out)
