"""WebVTT chapters: places to jump to in a film, or in a reel's film.

W3C, WebVTT: The Web Video Text Tracks Format (Candidate Recommendation, 2019), sections 4.1 (file structure), 4.2.1
(cue text with escapes) and 1.4 (chapters: cues are nested or lie beside each other, a title is one line).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from pipeline.clips.reels import plan_reel
from pipeline.clips.titles import title_of
from pipeline.errors import ExportError
from pipeline.library.games import Library
from pipeline.settings import Settings
from pipeline.tags import Reel, Tag

HOUR_MS, MINUTE_MS, SECOND_MS = 3_600_000, 60_000, 1_000


@dataclass(frozen=True, slots=True)
class Cue:
    """One chapter, in whole milliseconds."""

    name: str
    start_ms: int
    end_ms: int
    title: str


def film_chapters(library: Library, tags: Sequence[Tag], settings: Settings) -> str:
    """Chapters of the film that tags are in; the times are those that staff left.

    Raises
    ------
    ExportError
        If the tags are of several games.
    """
    games = sorted({tag.game for tag in tags})
    if len(games) > 1:
        raise ExportError(
            f"Chapters belong to one film and these tags are of {len(games)} games ({', '.join(games)}); choose tags "
            "of one, or write the chapters of a reel."
        )
    film = library.game(games[0]).film()
    cues = []
    for tag in tags:
        title, sentence = title_of(tag.candidate.kind, settings), tag.candidate.sentence
        words = sentence if sentence.startswith(title) else ": ".join(one for one in (title, sentence) if one)
        cues.append(Cue(f"tag-{tag.tag}", _ms(tag.start_s), _ms(tag.end_s), words))
    return webvtt(f"Chapters of {film.name}", cues)


def reel_chapters(library: Library, reel: Reel, tags: Sequence[Tag], settings: Settings) -> str:
    """Chapters of a reel's film, as :func:`~pipeline.clips.reels.reel_film` would write it."""
    plan = plan_reel(library, reel, tags, settings)
    cues = [
        Cue(f"clip-{number}-tag-{one.tag}", _ms(one.start_s), _ms(one.end_s), one.title)
        for number, one in enumerate(plan.chapters, start=1)
    ]
    return webvtt(f"Chapters of the reel {reel.title}", cues)


def webvtt(note: str, cues: Sequence[Cue]) -> str:
    """A WebVTT file of chapters; one that would run into the next ends where that begins."""
    blocks = ["WEBVTT", f"NOTE {_one_line(note)}"]
    for cue in _nested(cues):
        times = f"{_clock(cue.start_ms)} --> {_clock(cue.end_ms)}"
        blocks.append(f"{cue.name}\n{times}\n{_one_line(cue.title) or cue.name}")
    return "\n\n".join(blocks) + "\n"


def _nested(cues: Sequence[Cue]) -> list[Cue]:
    """In order of time, each either within another or beside it."""
    longer = [replace(cue, end_ms=max(cue.end_ms, cue.start_ms + 1)) for cue in cues]
    ordered = sorted(longer, key=lambda cue: (cue.start_ms, -cue.end_ms))
    for place, cue in enumerate(ordered):
        end_ms = cue.end_ms
        for later in ordered[place + 1 :]:
            if cue.start_ms < later.start_ms < end_ms < later.end_ms:
                end_ms = later.start_ms
                break
        ordered[place] = replace(cue, end_ms=end_ms)
    return ordered


def _one_line(text: str) -> str:
    """Words as the cue text of one line; the arrow that ends a cue cannot come up, ``>`` is escaped."""
    words = " ".join(text.split())
    return words.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def _ms(t_s: float) -> int:
    return max(0, round(t_s * SECOND_MS))


def _clock(ms: int) -> str:
    hours, rest = divmod(ms, HOUR_MS)
    minutes, rest = divmod(rest, MINUTE_MS)
    seconds, rest = divmod(rest, SECOND_MS)
    return f"{hours:02d}:{minutes:02d}:{seconds:02d}.{rest:03d}"
