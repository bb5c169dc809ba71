"""Pictures of runs for the page: the film's still with the floor drawn on it."""

from __future__ import annotations

import io
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path

from PIL import Image

from pipeline.clips.stills import still_of_tag
from pipeline.errors import ElbowroomError
from pipeline.library.games import Library
from pipeline.reports.document import Still
from pipeline.reports.runs import Run
from pipeline.settings import Settings

WIDEST_PX = 720
"""Wider pictures are scaled down: a page is sent around."""


def moments_of(library: Library, runs: Sequence[Run], settings: Settings) -> Mapping[int, Still]:
    """A picture of each run that is a tag of a game with a film; runs whose picture cannot be had are left out."""
    found: dict[int, Still] = {}
    with tempfile.TemporaryDirectory() as folder, library.tag_store() as store:
        for run in runs:
            if run.tag is None:
                continue
            path = Path(folder) / f"{run.tag}.png"
            try:
                if library.game(run.game).file().film is None:
                    continue
                still_of_tag(library, store.tag(run.tag), path, settings)
            except ElbowroomError:
                continue  # the film moved, or a table is of an older run: the run is told in words instead
            found[run.tag] = Still(_scaled(path), f"The moment of tag {run.tag}, the floor drawn on it.", "", ())
    return found


def _scaled(path: Path) -> bytes:
    with Image.open(path) as picture:
        shown = picture.convert("RGB")
        if shown.width > WIDEST_PX:
            shown = shown.resize((WIDEST_PX, round(shown.height * WIDEST_PX / shown.width)), Image.Resampling.LANCZOS)
        stream = io.BytesIO()
        shown.quantize(192, method=Image.Quantize.MEDIANCUT).save(stream, "PNG", optimize=True)
    return stream.getvalue()
