"""Small moves that the scripts of actions and faults are made of."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from pipeline.sim.plays.script import Play
from pipeline.sim.plays.stage import DEFENCE, OFFENCE, Steps


def calm(play: Play, *, attack_ft: float = 0.5, defence_ft: float = 0.7) -> None:
    """Who has no part stands nearly still."""
    play.stage.restless_ft[list(OFFENCE)] = attack_ft
    play.stage.restless_ft[list(DEFENCE)] = defence_ft


def park(play: Play, spots: Mapping[int, np.ndarray], speed_ft_s: float = 8.0) -> None:
    """Send bodies to where they wait."""
    for body, spot in spots.items():
        play.stage.go(body, spot, speed_ft_s)


def arrive(play: Play, bodies: Sequence[int], within_ft: float = 1.5, timeout_s: float = 3.0) -> Steps:
    """Let time pass until bodies have come to where they were sent."""
    stage = play.stage
    yield from stage.until(lambda: all(stage.distance(b, stage.goal[b]) < within_ft for b in bodies), timeout_s)


def cut_along(
    play: Play, body: int, way: Sequence[np.ndarray], kind: str, speed_ft_s: float = 14.0, **said: str
) -> Steps:
    """A cut through places, written down as a deed of its kind."""
    stage = play.stage
    began = stage.t_s
    stage.restless_ft[body] = 0.3
    yield from stage.run(body, list(way), speed_ft_s)
    play.did(kind, {"cutter": body}, start_s=began, t_s=(began + stage.t_s) / 2, end_s=stage.t_s, said=said)


def cut_and_catch(
    play: Play, body: int, way: Sequence[np.ndarray], kind: str, speed_ft_s: float = 15.0, *, early_ft: float = 8.5,
    **said: str,
) -> Steps:  # fmt: skip
    """A cut on which the pass comes ``early_ft`` before its end; the deed ends with the catch."""
    stage = play.stage
    began = stage.t_s
    stage.restless_ft[body] = 0.3
    stage.start(stage.run(body, list(way), speed_ft_s))
    yield from stage.near(body, way[-1], early_ft, 3.0)
    yield from stage.pass_to(body, windup_s=0.12)
    play.did(kind, {"cutter": body}, start_s=began, t_s=(began + stage.t_s) / 2, end_s=stage.t_s, said=said)
