"""What is said of a set that was found."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from pipeline.sets.definition import Phase, SetDefinition
from pipeline.sets.emphasis import Grade, Point, measure_name, said
from pipeline.sets.phrases import roles_by_word

UNSEEN = "unseen"
"""Trait of a row that names a phase which was taken on trust."""

SCREENS = ("off_ball_screen", "on_ball_screen")
"""What is taken on trust where two met; anything else because the ball was out of sight."""

ENDING = "ending"
"""What a row calls an ending that must be there and is missing."""


def sentence_of(row: Mapping[str, Any], definition: SetDefinition, called: Callable[[int], str | None]) -> str:
    """The sentence of a tag: the set, how it went on and ended, what did not come or was not seen, what was poor, else
    what was good.

    Parameters
    ----------
    row : mapping
        A row of ``set_candidates``.
    definition : SetDefinition
        Of its kind.
    called : callable
        What to call a track (name or number), None where it is not known.
    """
    traits = dict(row["traits"] or [])
    head = definition.title
    if traits.get("counter", "none") != "none":
        head += f", counter: {_spaced(traits['counter'])}"
    if row["ending"]:
        head += f", {_spaced(row['ending'])}"
    names = player_words(row, definition, called)
    points = points_of(row, definition)
    poor = [said(point, names) for point in points if point.grade is Grade.POOR]
    good = [said(point, names) for point in points if point.grade is Grade.GOOD]
    told = [text for text in poor if text] or [text for text in good if text]
    return " ".join([f"{head}.", *missed_of(row, definition, names), *told])


def missed_of(row: Mapping[str, Any], definition: SetDefinition, names: Mapping[str, str]) -> tuple[str, ...]:
    """A sentence for each thing that must be there and was not found: "The return pass from … to … did not come.",
    or that nobody saw, with the reason.

    Parameters
    ----------
    row : mapping
        A row of ``set_candidates``.
    definition : SetDefinition
        Of its kind.
    names : mapping of str to str
        What to call its players, see :func:`player_words`.
    """
    counter = dict(row["traits"] or []).get("counter", "none")
    blocks = [c.block for c in definition.counters if c.block.name == counter]
    blocks += [definition.main, *(b for b in definition.endings if b.name == row["ending"])]
    phases: dict[str, Phase] = {}
    for block in blocks:
        for phase in block.phases:
            phases.setdefault(phase.name, phase)

    def told(name: str) -> str:
        return _asked(phases[name], names) if name in phases else _spaced(name)

    missing = [
        "It came to none of its endings." if name == ENDING else f"The {told(name)} did not come."
        for name in row["missing"] or ()
    ]
    unseen = [f"The {told(name)} was not seen, {why_unseen(phases.get(name))}." for name in unseen_in(row)]
    return (*missing, *unseen)


def unseen_in(row: Mapping[str, Any]) -> tuple[str, ...]:
    """The phases of a row of ``set_candidates`` that were taken on trust."""
    return tuple(value for name, value in row["traits"] or () if name == UNSEEN)


def why_unseen(phase: Phase | None) -> str:
    """Why a phase that was taken on trust was not seen, as the end of a sentence."""
    if phase is not None and any(action.kind in SCREENS for action in phase.actions):
        return "only that the two met"
    return "the ball being out of sight"


def _asked(phase: Phase, names: Mapping[str, str]) -> str:
    """What a phase asks for, in words: its first alternative and who plays it."""
    action = phase.actions[0]
    words = {role: word for word, role in roles_by_word(action.kind).items()}
    who = "".join(f" {words[role]} {names.get(player, player)}" for role, player in action.roles if role in words)
    return f"{action.phrase}{who}"


def points_of(row: Mapping[str, Any], definition: SetDefinition) -> tuple[Point, ...]:
    """The points of emphasis that a row of ``set_candidates`` keeps."""
    measures, traits = dict(row["measures"] or []), dict(row["traits"] or [])
    found = []
    for emphasis in definition.emphases:
        number = measures.get(measure_name(emphasis))
        value: float | str = traits.get(f"{emphasis.name}_was", float("nan") if number is None else float(number))
        found.append(Point(emphasis, value, Grade(traits.get(emphasis.name, Grade.UNKNOWN))))
    return tuple(found)


def player_words(
    row: Mapping[str, Any], definition: SetDefinition, called: Callable[[int], str | None]
) -> dict[str, str]:
    """What to call each player of a set: by name or number where it is known, else as the file calls him."""
    tracks = {actor["role"]: actor["track"] for actor in row["actors"] or []}
    return {
        player.name: (called(tracks[player.name]) if player.name in tracks else None) or f"the {_spaced(player.name)}"
        for player in definition.players
    }


def _spaced(name: str) -> str:
    return name.replace("_", " ")
