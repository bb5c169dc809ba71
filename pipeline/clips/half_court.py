"""A tag on a half court seen from above, drawn from where everybody was: printed or moving, with or without film."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path

from pipeline.clips.half_court_film import write_gif, write_moving
from pipeline.clips.half_court_sheet import sheet_of_tag
from pipeline.clips.lesson_source import lesson_of
from pipeline.clips.titles import game_line
from pipeline.clips.writing import Progress, png_bytes, write_whole
from pipeline.library.game_time import game_times
from pipeline.library.games import Library
from pipeline.sets.ink import as_picture, as_svg
from pipeline.settings import Settings
from pipeline.tags import Tag


class DiagramForm(StrEnum):
    """Forms of a half-court diagram."""

    SVG = "svg"  # printed: numbered frames with the trade's signs
    PNG = "png"  # the same as a picture
    GIF = "gif"  # moving
    MP4 = "mp4"  # moving


def diagram(
    library: Library, tag: Tag, form: DiagramForm, out: Path, settings: Settings, *, progress: Progress | None = None
) -> Path:
    """Draw what happened in a tag on a half court; returns ``out``.

    Parameters
    ----------
    library : Library
    tag : Tag
    form : DiagramForm
    out : Path
        File to write, whole or not at all; its folder is made when needed.
    settings : Settings
    progress : callable, optional
        Told seconds drawn and seconds in all, of what moves.

    Raises
    ------
    LibraryError
        If the game or a table is not where the library says.
    ExportError, FilmError
        If the file cannot be written.
    """
    game = library.game(tag.game)
    lesson = lesson_of(tag, game, settings)
    below = f"{game_line(game, game_times(library, [tag]).get(tag.tag))}, tag {tag.tag}"
    match form:
        case DiagramForm.SVG:
            write_whole(as_svg(sheet_of_tag(lesson, below)).encode(), out)
        case DiagramForm.PNG:
            write_whole(png_bytes(as_picture(sheet_of_tag(lesson, below))), out)
        case DiagramForm.GIF:
            write_gif(lesson, below, out, progress)
        case DiagramForm.MP4:
            write_moving(lesson, below, out, settings.clips, progress)
    return out
