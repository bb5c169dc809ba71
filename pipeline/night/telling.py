"""What a run and an import tell when they are through."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from pipeline.night.import_tracks import Imported
from pipeline.night.run import FilmRun
from pipeline.tags.telling import merge_lines

SHOWN = 12
"""Games of an import that have a line of their own."""


def run_lines(result: FilmRun) -> Iterator[str]:
    """What a run of a film saw."""
    done = [ran.stage for ran in result.stages if not ran.ran]
    yield f"Game '{result.game.name}' in {result.game.folder}"
    yield (
        f"{result.length_s:.1f} s of film, {result.live_s:.1f} s of live play, "
        f"floor found in {result.registered_frames} of {result.live_frames} live frames, "
        f"{result.possessions} possession(s)."
    )
    if result.damage:
        yield f"The film is damaged: {result.damage}"
    if result.doubt:
        yield result.doubt
    if done:
        yield f"Unchanged since the last run: {', '.join(done)}."
    yield from merge_lines(result.merge, result.tags)


def import_lines(done: Sequence[Imported]) -> Iterator[str]:
    """What was read from tracking data, a line for each of the first games."""
    for one in done[:SHOWN]:
        yield (
            f"Game '{one.game.name}' in {one.game.folder}: {one.length_s:.1f} s in {one.stretches} stretch(es) of play,"
            f" {one.possessions} possession(s), {len(one.tags)} candidate(s)."
        )
        if one.merge.changed or one.merge.missing:
            yield from merge_lines(one.merge, one.tags)
    if len(done) > SHOWN:
        possessions, tags = sum(one.possessions for one in done), sum(len(one.tags) for one in done)
        yield f"... {len(done)} games in all: {possessions} possessions, {tags} candidates."
    merged = [(one, at_s) for one in done for at_s in one.merged]
    if merged:
        first, at_s = merged[0]
        stretches = sum(one.stretches for one in done)
        yield (
            f"In {len(merged)} of {stretches} stretch(es) two players stand at one and the same place for a while,"
            f" first in game '{first.game.name}' at {at_s:.1f} s: one body told twice; how far apart they are is"
            " unknown there."
        )
    unused = sorted({name for one in done for name in one.unused})
    if unused:
        yield f"Columns that were not read: {', '.join(unused)}."
