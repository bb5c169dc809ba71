"""The scripts by name. A further script is a ``Script`` in one of these tuples."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from pipeline.errors import SettingsError
from pipeline.sim.plays.ball_screens import CLEAR_DRIVE, CROWDED_DRIVE
from pipeline.sim.plays.ball_scripts import BALL_SCRIPTS
from pipeline.sim.plays.cut_scripts import CUT_SCRIPTS
from pipeline.sim.plays.fault_scripts import FAULT_SCRIPTS
from pipeline.sim.plays.free_play import TRANSITION, UNSCRIPTED
from pipeline.sim.plays.off_ball_scripts import OFF_BALL_SCRIPTS
from pipeline.sim.plays.on_ball_scripts import ON_BALL_SCRIPTS
from pipeline.sim.plays.repertoire import REPERTOIRE
from pipeline.sim.plays.script import Script
from pipeline.sim.plays.stoppages import FREE_THROWS
from pipeline.sim.plays.weak_side import WEAK_SIDE_MOTION

GAME_SCRIPTS: tuple[Script, ...] = (
    WEAK_SIDE_MOTION, CROWDED_DRIVE, CLEAR_DRIVE, UNSCRIPTED, TRANSITION, FREE_THROWS,
)  # fmt: skip
"""What full games are made of."""
SET_SCRIPTS: tuple[Script, ...] = (WEAK_SIDE_MOTION, *REPERTOIRE)
"""Whole sets."""
SCRIPTS: Mapping[str, Script] = MappingProxyType(
    {
        s.name: s
        for s in (
            *GAME_SCRIPTS,
            *REPERTOIRE,
            *BALL_SCRIPTS,
            *ON_BALL_SCRIPTS,
            *OFF_BALL_SCRIPTS,
            *CUT_SCRIPTS,
            *FAULT_SCRIPTS,
        )
    }
)
"""Every script."""


def script_named(name: str) -> Script:
    """The script of a name.

    Raises
    ------
    SettingsError
        When there is none.
    """
    if name not in SCRIPTS:
        raise SettingsError(f"There is no script '{name}'; the scripts are {', '.join(SCRIPTS)}.")
    return SCRIPTS[name]
