"""Pictures of runs for the page: the film's still with the floor drawn on, or where there is no film a half court."""

from __future__ import annotations

import io
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path

from PIL import Image

from pipeline.clips.half_court_page import HalfCourt, names_of
from pipeline.clips.half_court_sheet import DEPTH_FT, PX_PER_FT, Frame, frame_marks
from pipeline.clips.lesson_source import lesson_of
from pipeline.clips.stills import still_of_tag
from pipeline.errors import ElbowroomError
from pipeline.library.games import Library
from pipeline.reports.document import Still
from pipeline.reports.runs import Run
from pipeline.sets.ink import Page, as_picture
from pipeline.settings import Settings
from pipeline.tags import Tag

WIDEST_PX = 720
"""Wider pictures are scaled down: a page is sent around."""


def moments_of(library: Library, runs: Sequence[Run], settings: Settings) -> Mapping[int, Still]:
    """A picture of each run that is a tag; runs whose picture cannot be had are left out and told in words."""
    found: dict[int, Still] = {}
    with tempfile.TemporaryDirectory() as folder, library.tag_store() as store:
        for run in runs:
            if run.tag is not None:
                still = _still(library, store.tag(run.tag), Path(folder), settings)
                if still is not None:
                    found[run.tag] = still
    return found


def _still(library: Library, tag: Tag, folder: Path, settings: Settings) -> Still | None:
    path = folder / f"{tag.tag}.png"
    try:
        still_of_tag(library, tag, path, settings)
        with Image.open(path) as picture:
            return Still(_png(picture), f"The moment of tag {tag.tag} in the film, the floor drawn on it.", "", ())
    except ElbowroomError:
        told = "there is no film of it, or it moved"
    try:
        return Still(
            _png(_half_court(library, tag, settings)), f"The moment of tag {tag.tag} seen from above: {told}.", "", ()
        )
    except ElbowroomError:
        return None  # a table is missing or of an older run


def _half_court(library: Library, tag: Tag, settings: Settings) -> Image.Image:
    """Everybody at a tag's moment, on a half court."""
    lesson = lesson_of(tag, library.game(tag.game), settings)
    t_s = tag.candidate.t_s
    court = HalfCourt(lesson.book, lesson.end, (0.0, 0.0), PX_PER_FT, DEPTH_FT)
    names = names_of(lesson, lesson.playback.bodies(t_s))
    marks = frame_marks(lesson, Frame("the moment", t_s, t_s), court, names)
    size = (round(lesson.book.width_ft * PX_PER_FT), round(DEPTH_FT * PX_PER_FT))
    return as_picture(Page(*size, tuple(marks)))


def _png(picture: Image.Image) -> bytes:
    shown = picture.convert("RGB")
    if shown.width > WIDEST_PX:
        shown = shown.resize((WIDEST_PX, round(shown.height * WIDEST_PX / shown.width)), Image.Resampling.LANCZOS)
    stream = io.BytesIO()
    shown.quantize(192, method=Image.Quantize.MEDIANCUT).save(stream, "PNG", optimize=True)
    return stream.getvalue()
