"""The film of a tag as a browser can play it: the library's own file, or a cut of it in a form that all browsers know.

A film file is served only if it is the one that the library was made from (its digest says so), so that nothing else
leaves the machine, whatever ``game.toml`` names.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from pipeline.clips.cutting import cut_clip
from pipeline.clips.settings import ClipSettings
from pipeline.errors import LibraryError
from pipeline.film.fetching import film_digest
from pipeline.film.probe import FilmInfo, Scan, open_film, probe, video_stream
from pipeline.library.games import Game, Library
from pipeline.review.access import FOLDER
from pipeline.settings import Settings
from pipeline.tags import Tag

CUTS = "cuts"

PLAYED: dict[str, tuple[str, ...]] = {
    "video/mp4": ("h264", "av1"),
    "video/webm": ("vp8", "vp9", "av1"),
}
"""Codecs that browsers play, by media type (common practice; HEVC only some of them on some machines)."""
PLAYED_PIXELS = frozenset({"yuv420p", "yuvj420p"})
"""Browsers decode eight bits with halved colour everywhere; other pixel formats only some of them."""
MEDIA_TYPE = {"mov,mp4,m4a,3gp,3g2,mj2": "video/mp4"}
LATEST_START_S = 0.0005
"""A film whose pictures begin later than its file is cut: browsers differ in what they call its beginning."""

SPARE_S = 3.0
"""A cut shows so much more to either side than the tag's clip, for those who nudge."""


@dataclass(frozen=True, slots=True)
class ShownFilm:
    """A file to show.

    Attributes
    ----------
    path : Path
    media_type : str
    begins_s : float
        Film time of the file's own time zero.
    whole : bool
        Whether it is the film itself.
    """

    path: Path
    media_type: str
    begins_s: float
    whole: bool


def film_of(library: Library, game: Game) -> Path:
    """The film that a game was made from.

    Raises
    ------
    LibraryError
        If the game has none, or the file is gone or is another one than the library was made from.
    """
    check_inside(library, game)
    path = game.film()
    state = path.stat()
    if _digest(path, state.st_size, state.st_mtime_ns) != game.film_told().digest:
        raise LibraryError(
            f"{path} is not the film that game '{game.name}' was made from; put the right file there, or run "
            f"'elbowroom run' with it again."
        )
    return path


def check_inside(library: Library, game: Game) -> None:
    """LibraryError for a game whose folder is a link out of the library."""
    if not game.folder.resolve().is_relative_to(library.root.resolve()):
        raise LibraryError(
            f"The folder of game '{game.name}' is a link to a place outside the library; move it into the library."
        )


def whole_film(library: Library, game: Game, settings: Settings) -> ShownFilm | None:
    """A game's film where browsers can play it as it is; None where they may not."""
    path = film_of(library, game)
    media_type = _played_as(probe(path, settings.film.decode))
    return None if media_type is None else ShownFilm(path, media_type, 0.0, whole=True)


def shown_film(library: Library, tag: Tag, settings: Settings) -> ShownFilm:
    """What a browser is shown of a tag's film, without making it: see :func:`made`.

    Raises
    ------
    LibraryError, FilmError
        If there is no film to show.
    """
    game = library.game(tag.game)
    whole = whole_film(library, game, settings)
    if whole is not None:
        return whole
    info = probe(film_of(library, game), settings.film.decode)
    start_s, end_s = _stretch(tag, settings.clips)
    times = info.times_s
    inside = times[(times >= start_s - 1e-6) & (times < end_s - 1e-6)]
    if not len(inside):
        raise LibraryError(
            f"The film of game '{game.name}' has no picture between {start_s:.1f} s and {end_s:.1f} s; "
            "run the film again."
        )
    digest = game.film_told().digest[:12]
    name = f"{digest}-{round(1000 * start_s)}-{round(1000 * end_s)}.mp4"
    return ShownFilm(library.root / FOLDER / CUTS / name, "video/mp4", float(inside[0]), whole=False)


def made(shown: ShownFilm, library: Library, tag: Tag, settings: Settings) -> ShownFilm:
    """The same, once its file is there; a cut takes seconds the first time. One cut is made at a time."""
    if shown.whole:
        return shown
    with _alone(shown.path.name):
        if not shown.path.is_file():
            start_s, end_s = _stretch(tag, settings.clips)
            film = film_of(library, library.game(tag.game))
            cut_clip(film, start_s, end_s, shown.path, settings=settings.clips, decoding=settings.film.decode)
            _make_room(shown.path.parent, settings.review.cut_cache_gb, shown.path)
        os.utime(shown.path)
    return shown


def _stretch(tag: Tag, settings: ClipSettings) -> tuple[float, float]:
    """Film time that a cut shows: the candidate as it was found, so that nudges do not make it anew."""
    found = tag.candidate
    start_s = max(0.0, found.start_s - settings.before_s - SPARE_S)
    end_s = found.end_s + settings.after_s + SPARE_S
    longest_s = 2 * settings.longest_s
    if end_s - start_s > longest_s:
        start_s = max(start_s, found.t_s - 0.6 * longest_s)
        end_s = min(end_s, start_s + longest_s)
    return start_s, end_s


def _played_as(info: FilmInfo) -> str | None:
    """The media type as which browsers play a film as it is; None when they may not."""
    state = info.path.stat()
    return _media_type(info.path, state.st_size, state.st_mtime_ns) if info.scan is not Scan.INTERLACED else None


@lru_cache(maxsize=256)
def _media_type(path: Path, size: int, mtime_ns: int) -> str | None:  # noqa: ARG001 - the file's state is the key
    with open_film(path) as container:
        stream = video_stream(container, path)
        kind = MEDIA_TYPE.get(container.format.name)
        if container.format.name == "matroska,webm" and path.suffix.lower() == ".webm":
            kind = "video/webm"
        base = stream.time_base
        begins_s = float((stream.start_time or 0) * base) if base is not None else 0.0
        begins_s = max(begins_s, abs(container.start_time or 0) / 1e6)
        fits = (
            kind is not None
            and stream.codec_context.name in PLAYED[kind]
            and stream.codec_context.pix_fmt in PLAYED_PIXELS
            and begins_s <= LATEST_START_S
        )
        return kind if fits else None


@lru_cache(maxsize=256)
def _digest(path: Path, size: int, mtime_ns: int) -> str:  # noqa: ARG001 - the file's state is the key
    return film_digest(path)


def _make_room(folder: Path, most_gb: float, keep: Path) -> None:
    """Delete the cuts that were not shown for longest until the others fit."""
    cuts = sorted(folder.glob("*.mp4"), key=lambda p: p.stat().st_mtime)
    total = sum(p.stat().st_size for p in cuts)
    for cut in cuts:
        if total <= most_gb * 1e9:
            return
        if cut != keep:
            total -= cut.stat().st_size
            cut.unlink(missing_ok=True)


_CUTTING = threading.Lock()
_WAITING: dict[str, threading.Lock] = {}


@contextmanager
def _alone(name: str) -> Iterator[None]:
    """Nobody else makes this cut meanwhile."""
    with _CUTTING:
        lock = _WAITING.setdefault(name, threading.Lock())
    with lock:
        yield
