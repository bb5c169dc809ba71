"""Everything that can be made of a tag, under the names that files get in a folder."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path

from pipeline.clips.half_court import DiagramForm, diagram
from pipeline.clips.settings import ClipSettings
from pipeline.clips.stills import still_of_tag
from pipeline.clips.tag_film import Show, cut_tag
from pipeline.clips.writing import Progress
from pipeline.errors import SettingsError
from pipeline.library.games import Library
from pipeline.settings import Settings
from pipeline.tags import Tag


class Made(StrEnum):
    """What is made of a tag."""

    FILM = "film"
    STILL = "still"
    SVG = "svg"
    PNG = "png"
    GIF = "gif"
    MP4 = "mp4"

    @property
    def called(self) -> str:
        """What it is called where it is told."""
        return {"film": "Clip", "still": "Still"}.get(self.value, "Diagram")


def make_of_tag(
    library: Library,
    tag: Tag,
    folder: Path,
    settings: Settings,
    made: Made = Made.FILM,
    *,
    show: Show = Show.FLOOR,
    speed: float = 1.0,
    progress: Progress | None = None,
) -> Path:
    """Make a clip, a still or a half-court diagram (the other four) of a tag in a folder; returns the file.

    Raises
    ------
    SettingsError
        If the speed is not within 0.1 and 1, or one is asked for what does not run on film.
    LibraryError, FilmError, PictureError, ExportError
        If something is not where the library says, or the file cannot be written.
    """
    if not 0.1 <= speed <= 1:
        raise SettingsError(f"A clip plays at a speed between 0.1 and 1 (as filmed), not at {speed:g}.")
    if made is Made.FILM:
        return cut_tag(library, tag, folder, settings, show=show, speed=speed, progress=progress)
    if speed < 1:
        raise SettingsError("Only clips of the film are slowed down; leave out the speed or the other form.")
    stem = f"{tag.game}-{tag.tag}-{tag.candidate.kind}"
    if made is Made.STILL:
        return still_of_tag(library, tag, folder / f"{stem}.png", settings, show=show)
    out = folder / f"{stem}-half-court.{made.value}"
    return diagram(library, tag, DiagramForm(made.value), out, settings, progress=progress)


def frozen(settings: Settings, freeze: str | None) -> Settings:
    """The settings with another choice of what is held: ``"none"``, ``"moment"``, ``"phases"``, or None for theirs."""
    if freeze is None:
        return settings
    told = {"freeze_s": 0.0} if freeze == "none" else {"freeze_at": freeze}
    clips = ClipSettings.model_validate({**settings.clips.model_dump(), **told})
    return settings.model_copy(update={"clips": clips})
