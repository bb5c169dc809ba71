"""Everybody's boxes as MOTChallenge text.

Milan, Leal-Taixé, Reid, Roth, Schindler, MOT16: A Benchmark for Multi-Object Tracking, arXiv:1603.00831, table 3:
frame, identity, left, top, width, height, confidence, x, y, z; frames, identities and pixels count from 1, what does
not apply is -1.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pyarrow as pa

from pipeline.clips.tag_film import stretch_of
from pipeline.errors import ExportError
from pipeline.film.decode import TIME_SLACK_S
from pipeline.library.games import Library
from pipeline.players.tables import TRACKS
from pipeline.settings import Settings
from pipeline.tags import Tag


def boxes_text(library: Library, tags: Sequence[Tag], settings: Settings) -> str:
    """Boxes of players and officials in the stretches that the tags' clips show.

    The frame is the film's picture, counted from 1; pictures that were not analysed have no lines. The identity is the
    track's number plus 1. Bodies that were not seen are left out.

    Raises
    ------
    ExportError
        If the tags are of several games, or their game has no boxes there, as one that came as tracking data.
    """
    games = sorted({tag.game for tag in tags})
    if len(games) > 1:
        raise ExportError(
            f"Boxes are counted in the frames of one film and these tags are of {len(games)} games "
            f"({', '.join(games)}); choose tags of one."
        )
    tracks = TRACKS.read(library.game(games[0]).tables)
    lines = _lines(tracks, [stretch_of(tag, settings.clips) for tag in tags])
    if not lines:
        raise ExportError(f"Game '{games[0]}' has no boxes there; a game that came as tracking data has none at all.")
    return "\n".join(lines) + "\n"


def _lines(tracks: pa.Table, stretches: Sequence[tuple[float, float]]) -> list[str]:
    times = tracks["t_s"].to_numpy()
    inside = np.zeros(len(times), dtype=bool)
    for start_s, end_s in stretches:
        inside |= (times >= start_s - TIME_SLACK_S) & (times < end_s - TIME_SLACK_S)
    seen = tracks.filter(pa.array(inside)).sort_by([("frame", "ascending"), ("track", "ascending")])
    lines = []
    for row in seen.select(["frame", "track", "x1_px", "y1_px", "x2_px", "y2_px", "score"]).to_pylist():
        if row["x1_px"] is None:
            continue
        corner = f"{row['x1_px'] + 1:.2f},{row['y1_px'] + 1:.2f}"
        size = f"{row['x2_px'] - row['x1_px']:.2f},{row['y2_px'] - row['y1_px']:.2f}"
        score = 1.0 if row["score"] is None else row["score"]
        lines.append(f"{row['frame'] + 1},{row['track'] + 1},{corner},{size},{score:.4f},-1,-1,-1")
    return lines
