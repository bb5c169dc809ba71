"""What a run says otherwise than the run before it, in words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from pipeline.tags.records import Candidate

SAME_S = 0.05
"""Times that differ by less are told as the same."""

SAME_SCORE = 0.01

SAME_SHARE = 0.02
"""Measures that differ by less than this share of the greater, or by less than ``SAME_MEASURE``, are the same."""

SAME_MEASURE = 0.05


def changes(earlier: Candidate, later: Candidate) -> str:
    """What is otherwise in the later one, as one line; empty where nothing is that anybody would see."""
    told = list(_changes(earlier, later))
    if not told and earlier.sentence != later.sentence:
        told = [f"now said: {later.sentence}"]
    return "; ".join(told)


def _changes(earlier: Candidate, later: Candidate) -> Iterator[str]:
    times = (("starts", earlier.start_s, later.start_s), ("ends", earlier.end_s, later.end_s))
    for word, before, after in (*times, ("is", earlier.t_s, later.t_s)):
        if abs(before - after) >= SAME_S:
            yield f"{word} at {after:.1f} s instead of {before:.1f} s"
    if earlier.actors != later.actors:
        yield f"players {_players(later)} instead of {_players(earlier)}"
    if earlier.team != later.team and later.team is not None:
        yield f"attack by team {later.team}" + (f" instead of {earlier.team}" if earlier.team is not None else "")
    yield from _numbers(earlier.measures, later.measures)
    for name in _names(earlier.traits, later.traits):
        before_word, after_word = (one.traits.get(name, "unknown") for one in (earlier, later))
        if before_word != after_word:
            yield f"{_spaced(name)} {_spaced(after_word)} instead of {_spaced(before_word)}"
    if earlier.ending != later.ending:
        yield f"ending {_spaced(later.ending or 'none')} instead of {_spaced(earlier.ending or 'none')}"
    if earlier.missing != later.missing:
        yield f"missing {', '.join(map(_spaced, later.missing))}" if later.missing else "nothing missing any more"
    if abs(earlier.score - later.score) >= SAME_SCORE:
        yield f"score {later.score:.2f} instead of {earlier.score:.2f}"
    if earlier.severity != later.severity:
        yield f"severity {later.severity} instead of {earlier.severity}"


def _numbers(earlier: Mapping[str, float], later: Mapping[str, float]) -> Iterator[str]:
    for name in _names(earlier, later):
        before, after = earlier.get(name), later.get(name)
        if before is None and after is not None:
            yield f"{_spaced(name)} {after:.4g}, not known before"
        elif after is None and before is not None:
            yield f"{_spaced(name)} not known any more, {before:.4g} before"
        elif before is not None and after is not None and _differ(before, after):
            yield f"{_spaced(name)} {after:.4g} instead of {before:.4g}"


def _differ(before: float, after: float) -> bool:
    return abs(before - after) > max(SAME_MEASURE, SAME_SHARE * max(abs(before), abs(after)))


def _names(earlier: Mapping[str, object], later: Mapping[str, object]) -> list[str]:
    return [*later, *(name for name in earlier if name not in later)]


def _players(candidate: Candidate) -> str:
    return ", ".join(f"{_spaced(role)} {track}" for role, track in candidate.actors) or "nobody"


def _spaced(name: str) -> str:
    return name.replace("_", " ")
