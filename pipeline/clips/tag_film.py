"""A tag on film: which stretch is shown, what is held and slowed, what is drawn; its clip and its still."""

from __future__ import annotations

from enum import Enum
from pathlib import Path

from pipeline.clips.captions import standing_graphics
from pipeline.clips.cutting import Clip, Drawing, Plain, cut_clip
from pipeline.clips.film_marks import FloorDrawing
from pipeline.clips.lesson_source import lesson_of
from pipeline.clips.pace import Freeze, Slow
from pipeline.clips.paint_clip import ATTACKER, CROWDED_PAINT, DEFENDER, UNKNOWN, CrowdedPaintDrawing
from pipeline.clips.settings import ClipSettings
from pipeline.clips.writing import Progress
from pipeline.film.probe import probe
from pipeline.library.games import Game, Library
from pipeline.settings import Settings
from pipeline.tags import Family, Tag

APART_S = 0.4
"""Moments nearer to each other than this are held once."""


class Show(Enum):
    """What is drawn on a clip."""

    FLOOR = "floor"
    NOTHING = "nothing"


def cut_tag(
    library: Library,
    tag: Tag,
    folder: Path,
    settings: Settings,
    *,
    show: Show = Show.FLOOR,
    speed: float = 1.0,
    progress: Progress | None = None,
) -> Path:
    """Cut the clip of a tag into a folder; returns the MP4's path.

    Parameters
    ----------
    library : Library
    tag : Tag
    folder : Path
    settings : Settings
    show : Show
    speed : float
        Of the film around the moment, 0.1..1; 1 is as filmed.
    progress : callable, optional

    Raises
    ------
    LibraryError, FilmError
        If the tag's game, its film or a table is not where the library says, or the clip cannot be written.
    """
    game = library.game(tag.game)
    out = folder / f"{game.name}-{tag.tag}-{tag.candidate.kind}.mp4"
    return clip_of_tag(game, tag, out, settings, show=show, speed=speed, progress=progress).path


def clip_of_tag(
    game: Game,
    tag: Tag,
    out: Path,
    settings: Settings,
    *,
    show: Show = Show.FLOOR,
    speed: float = 1.0,
    progress: Progress | None = None,
) -> Clip:
    """Cut the clip of a tag to a file; see :func:`cut_tag`."""
    clips = settings.clips
    return cut_clip(
        game.film(),
        *stretch_of(tag, clips),
        out,
        drawing_of(tag, game, settings, show),
        freezes=freezes_of(tag, game, settings, clips.freeze_s),
        slow=slow_of(tag, speed, clips),
        settings=clips,
        decoding=settings.film.decode,
        progress=progress,
    )


def stretch_of(tag: Tag, settings: ClipSettings) -> tuple[float, float]:
    """Film time that a tag's clip shows, half-open; the moment is always in it."""
    t_s = tag.candidate.t_s
    start_s = max(0.0, min(tag.start_s, t_s) - settings.before_s)
    end_s = max(tag.end_s, t_s) + settings.after_s
    if end_s - start_s > settings.longest_s:
        start_s = max(start_s, t_s - 0.6 * settings.longest_s)
        end_s = min(end_s, start_s + settings.longest_s)
    return start_s, end_s


def freezes_of(tag: Tag, game: Game, settings: Settings, hold_s: float) -> tuple[Freeze, ...]:
    """The moments that are held: the tag's own, or that of each of its phases where the settings want that."""
    clips = settings.clips
    if hold_s <= 0:
        return ()
    moments = {tag.candidate.t_s}
    if clips.freeze_at == "phases" and tag.candidate.family is Family.SET:
        steps = lesson_of(tag, game, settings).told.steps
        moments = {step.t_s for step in steps} or moments
    kept: list[float] = []
    for t_s in sorted(moments):
        if not kept or t_s - kept[-1] >= APART_S:
            kept.append(t_s)
    return tuple(Freeze(t_s, hold_s) for t_s in kept)


def slow_of(tag: Tag, speed: float, settings: ClipSettings) -> Slow | None:
    """What is slowed down: the film around the moment; None at a speed of 1."""
    t_s = tag.candidate.t_s
    return None if speed >= 1 else Slow(t_s - settings.slow_before_s, t_s + settings.slow_after_s, 1 / speed)


def drawing_of(tag: Tag, game: Game, settings: Settings, show: Show, *, strip_share: float = 0.0) -> Drawing:
    """What is drawn on a tag's film; its caption keeps off the lowest ``strip_share`` of the picture."""
    if show is Show.NOTHING:
        return Plain()
    candidate = tag.candidate
    lesson = lesson_of(tag, game, settings)
    film = probe(game.film(), settings.film.decode)
    graphics = standing_graphics(game, (film.width_px, film.height_px))
    if strip_share > 0:
        graphics = (*graphics, (0.0, (1 - strip_share) * film.height_px, float(film.width_px), float(film.height_px)))
    counted = any(role in (ATTACKER, DEFENDER, UNKNOWN) for role, _ in candidate.actors)
    if counted or candidate.kind == CROWDED_PAINT:
        return CrowdedPaintDrawing(candidate, lesson.playback, lesson.end, settings.clips, graphics)
    return FloorDrawing(lesson, graphics)
