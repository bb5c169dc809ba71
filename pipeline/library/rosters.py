"""Who wears which number: rosters as staff write them in ``game.toml``, and how a player is called in a sentence."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pyarrow as pa

from pipeline.players.jersey_votes import NUMBERS

Rosters = Mapping[int, Mapping[str, str]]
"""By team (0, 1): names by number."""


def check_roster(roster: Mapping[str, str]) -> None:
    """Raise ValueError, one sentence, unless all numbers are ones that rule books allow and all names say something."""
    for number, name in roster.items():
        if number not in NUMBERS:
            raise ValueError(f"'{number}' is no jersey number; write 0, 00 or 1 to 99, as the jersey shows it")
        if not name.strip():
            raise ValueError(f"number {number} has no name; write one, or leave the line out")


def jersey_of(tracks: pa.Table) -> dict[int, tuple[int, str]]:
    """Team and number of every track whose number is known."""
    known = tracks.filter(tracks["jersey"].is_valid())
    names, first = np.unique(known["track"].to_numpy(), return_index=True)
    chosen = known.take(pa.array(first))
    worn = zip(chosen["team"].to_pylist(), chosen["jersey"].to_pylist(), strict=True)
    return {int(name): (int(team), number) for name, (team, number) in zip(names, worn, strict=True)}


def called(track: int | None, jerseys: Mapping[int, tuple[int, str]], rosters: Rosters) -> str | None:
    """How to call a track's player: by name, else by number, else None.

    A player whose team is not known goes by a name only where no other name has that number.
    """
    if track is None or track not in jerseys:
        return None
    team, number = jerseys[track]
    names = [roster[number] for side, roster in rosters.items() if number in roster and team in (side, -1)]
    return f"{names[0]} ({number})" if len(names) == 1 else f"number {number}"
