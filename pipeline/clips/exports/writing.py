"""One door to every form of list."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from pathlib import Path

from pipeline.clips.exports.boxes import boxes_text
from pipeline.clips.exports.chapters import film_chapters, reel_chapters
from pipeline.clips.exports.rows import as_csv, as_parquet, listed
from pipeline.clips.exports.timeline import as_edl, as_otio, timeline_of
from pipeline.clips.writing import write_whole
from pipeline.errors import ExportError
from pipeline.library.games import Library
from pipeline.settings import Settings
from pipeline.tags import Reel, Tag, TagStore


class ExportForm(StrEnum):
    """Forms of list."""

    CSV = "csv"  # RFC 4180, one line a tag
    WEBVTT = "webvtt"  # chapters of one film, or of a reel's film
    EDL = "edl"  # CMX 3600
    OTIO = "otio"  # OpenTimelineIO JSON
    MOT = "mot"  # MOTChallenge text: everybody's boxes
    PARQUET = "parquet"  # one row a tag


def listed_tags(
    store: TagStore, numbers: Sequence[int], reel: int | None, *, game: str | None = None, kind: str | None = None
) -> tuple[tuple[Tag, ...], Reel | None]:
    """Tags by number, those of a reel, or all there are; of these the ones of a game and a kind.

    Raises
    ------
    ExportError
        If numbers and a reel are named both.
    LibraryError
        If there is no such tag or reel.
    """
    if reel is not None:
        if numbers or game is not None or kind is not None:
            raise ExportError("A reel is written as it is; leave out the tags, --game and --kind.")
        own = store.reel(reel)
        return tuple(store.tag(number) for number in dict.fromkeys(item.tag for item in own.items)), own
    tags = tuple(store.tag(number) for number in numbers) if numbers else store.tags()
    kept = (tag for tag in tags if game in (None, tag.game) and kind in (None, tag.candidate.kind))
    return tuple(kept), None


def export(
    library: Library, tags: Sequence[Tag], form: ExportForm, out: Path, settings: Settings, *, reel: Reel | None = None
) -> Path:
    """Write tags, or a reel, to a file for other programs.

    Parameters
    ----------
    library : Library
    tags : sequence of Tag
        In the order wanted; with a reel, those it holds must be among them.
    form : ExportForm
    out : Path
        File to write, whole or not at all; its folder is made when needed.
    settings : Settings
    reel : Reel, optional
        Gives order, titles and notes; WebVTT then holds the chapters of the reel's film.

    Returns
    -------
    Path
        ``out``.

    Raises
    ------
    ExportError
        If there is nothing to write, or the form cannot hold it (an EDL of films of two rates, chapters of two films).
    LibraryError, FilmError
        If a game or film that the form needs is not where the library says.
    """
    chosen = listed(tags, reel)
    if not chosen:
        raise ExportError("There are no tags to write; choose some, 'elbowroom list' shows their numbers.")
    match form:
        case ExportForm.CSV:
            data = as_csv(library, chosen, settings).encode()
        case ExportForm.PARQUET:
            data = as_parquet(library, chosen, settings)
        case ExportForm.WEBVTT if reel is not None:
            data = reel_chapters(library, reel, tags, settings).encode()
        case ExportForm.WEBVTT:
            data = film_chapters(library, [tag for tag, _ in chosen], settings).encode()
        case ExportForm.EDL:
            data = as_edl(timeline_of(library, chosen, settings, reel), settings.clips).encode()
        case ExportForm.OTIO:
            data = as_otio(timeline_of(library, chosen, settings, reel)).encode()
        case ExportForm.MOT:
            data = boxes_text(library, [tag for tag, _ in chosen], settings).encode()
    write_whole(data, out)
    return out
