"""Whether a game's floor was misread, and what staff can do about it."""

from __future__ import annotations

import pyarrow as pa
import pyarrow.compute as pc

from pipeline.library.games import Game
from pipeline.library.pins import read_pins

LEAST_QUALITY = 0.45
"""Median quality of the registered frames, which is measured by all that they show, under which the floor is doubted:
of 57 simulated films 56 have 0.49 or more; the one whose lines are white on nearly white wood has 0.23."""


def floor_doubt(game: Game, cameras: pa.Table) -> str:
    """One sentence where a film's lines were misread or hardly seen; empty where not, or where staff pinned a frame.

    Parameters
    ----------
    game : Game
        What staff told of it decides what is advised.
    cameras : pa.Table
        ``cameras`` table of the film's live play.
    """
    registered = cameras.filter(pc.equal(cameras["status"], "registered"))
    quality = pc.approximate_median(registered["quality"]).as_py()
    if quality is None or quality >= LEAST_QUALITY or read_pins(game):
        return ""
    told = game.file().rule_book
    named = "" if told else f", and the rule book '{registered['rule_book'][0].as_py()}' is a guess"
    name = "" if told else "name the floor's rule_book in game.toml or "
    return (
        f"The lines on the floor were hardly seen or misread: the cameras explain them by {quality:.2f} of 1 where 0.6 "
        f"or more is usual, so places may be feet off{named}; look with 'elbowroom court show {game.name} --at 1:00', "
        f"{name}pin four landmarks ('elbowroom court pin') and run the film again."
    )
