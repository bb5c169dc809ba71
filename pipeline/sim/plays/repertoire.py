"""The common sets of the trade as scripts: each run well, badly, and with one thing missing."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from pipeline.sim.plays import repertoire_ball as ball
from pipeline.sim.plays import repertoire_pairs as pairs
from pipeline.sim.plays import repertoire_screens as screens
from pipeline.sim.plays.execution import Quality
from pipeline.sim.plays.places import Places
from pipeline.sim.plays.repertoire_moves import Missing
from pipeline.sim.plays.script import Choice, Opening, Play, Script
from pipeline.sim.plays.stage import Steps

BOTH = (Missing.SCREEN, Missing.PASS)
SCATTER_FT = 0.5
"""How far from the book's places the five stand, one standard deviation."""


def _script(
    name: str,
    spots: Callable[[Places], list[np.ndarray]],
    steps: Callable[[Play], Steps],
    near: tuple[Missing, ...] = BOTH,
    opening: Opening = Opening.HALF_COURT,
) -> Script:
    def scattered(floor: Places, rng: np.random.Generator) -> np.ndarray:
        return np.array(spots(floor)) + np.clip(rng.normal(0, SCATTER_FT, (5, 2)), -1.0, 1.0)

    return Script(
        name,
        scattered,
        steps,
        dials=(Choice("missing", good=(Missing.NOTHING.value,), near=tuple(m.value for m in near)),),
        opening=opening,
        qualities=tuple(Quality),
        checked=True,
    )


ONLY_SCREEN = (Missing.SCREEN,)
REPERTOIRE: tuple[Script, ...] = (
    _script("horns", ball.horns_spots, ball.horns, ONLY_SCREEN),
    _script("floppy", screens.floppy_spots, screens.floppy),
    _script("flex", screens.flex_spots, screens.flex),
    _script("ucla", screens.ucla_spots, screens.ucla),
    _script("zipper_entry", screens.zipper_entry_spots, screens.zipper_entry),
    _script("stagger_away", screens.stagger_spots, screens.stagger_away),
    _script("pistol", ball.pistol_spots, ball.pistol),
    _script("iverson", screens.iverson_spots, screens.iverson),
    _script("stack_ball_screen", ball.stack_spots, ball.stack_ball_screen, ONLY_SCREEN),
    _script("drag", ball.drag_spots, ball.drag, opening=Opening.TRANSITION),
    _script("elevator", screens.elevator_spots, screens.elevator),
    _script("hammer", screens.hammer_spots, screens.hammer),
    _script("side_ball_screen", ball.side_spots, ball.side_ball_screen, ONLY_SCREEN),
    _script("middle_ball_screen", ball.middle_spots, ball.middle_ball_screen, ONLY_SCREEN),
    _script("post_split", ball.post_split_spots, ball.post_split),
    _script("sideline_handoff", ball.sideline_handoff_spots, ball.sideline_handoff),
    _script("pin_down_handoff", pairs.pin_down_handoff_spots, pairs.pin_down_handoff),
    _script("ram", pairs.ram_spots, pairs.ram),
    _script("double_drag", ball.drag_spots, pairs.double_drag, ONLY_SCREEN, Opening.TRANSITION),
    _script("high_low", pairs.high_low_spots, pairs.high_low, (Missing.PASS,)),
)
"""Every script of the repertoire; their names are those of the set files."""
