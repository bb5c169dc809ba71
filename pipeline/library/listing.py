"""Tags of a library as they are listed: rows for people, objects for programs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from pipeline.library.game_time import game_times
from pipeline.library.games import Library
from pipeline.tags import Tag

HEAD = ("tag", "game", "kind", "time", "clock", "score", "state", "what")
"""Columns of :func:`tag_rows`: ``time`` is the film's, ``clock`` the game's where it is known."""


def tag_rows(library: Library, tags: Sequence[Tag]) -> Iterator[tuple[str, ...]]:
    """A row of :data:`HEAD` for each tag."""
    times = game_times(library, tags)
    for tag in tags:
        seen = tag.candidate
        yield (
            str(tag.tag),
            tag.game,
            seen.kind,
            _film_time(seen.t_s),
            str(times.get(tag.tag, "")),
            f"{seen.score:.2f}",
            tag.state.value,
            seen.sentence,
        )


def tags_as_json(library: Library, tags: Sequence[Tag]) -> list[dict[str, Any]]:
    """The same for programs, with everything that was measured."""
    times = game_times(library, tags)
    found = []
    for tag in tags:
        seen, time = tag.candidate, times.get(tag.tag)
        found.append(
            {
                "tag": tag.tag,
                "game": tag.game,
                "kind": seen.kind,
                "state": tag.state.value,
                "shot": seen.shot,
                "start_s": seen.start_s,
                "end_s": seen.end_s,
                "t_s": seen.t_s,
                "period": None if time is None else time.period,
                "game_clock_s": None if time is None else round(time.clock_s, 2),
                "score": seen.score,
                "severity": seen.severity,
                "sentence": seen.sentence,
                "actors": [{"role": role, "track": track} for role, track in seen.actors],
                "measures": dict(seen.measures),
            }
        )
    return found


def _film_time(t_s: float) -> str:
    minutes, seconds = divmod(t_s, 60)
    return f"{int(minutes)}:{seconds:04.1f}"
