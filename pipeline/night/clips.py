"""Clips of a library's tags."""

from __future__ import annotations

from pathlib import Path

from pipeline.clips.paint_clip import clip_tag
from pipeline.library.games import Library
from pipeline.night.stages import Progress
from pipeline.settings import Settings
from pipeline.tags import Tag


def cut_tag(library: Library, tag: Tag, folder: Path, settings: Settings, progress: Progress) -> Path:
    """Cut the drawn clip of a tag into a folder; returns the MP4's path.

    Raises
    ------
    LibraryError
        If the tag's game or its film is not where the library says.
    """
    game = library.game(tag.game)
    film = game.film()
    out = folder / f"{game.name}-{tag.tag}-{tag.candidate.kind}.mp4"
    clip = clip_tag(
        film, tag, game.tables, out, settings=settings.clips, decoding=settings.film.decode, progress=progress
    )
    return clip.path
