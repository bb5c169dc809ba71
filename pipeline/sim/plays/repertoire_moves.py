"""Moves that the sets of the repertoire are made of: screens with and without the ball, cuts off them, endings.

A set that lacks one thing (``Missing``) is run with everything else in place: the screener stays away, or the pass does
not come. Such a run looks like the set and is none.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from enum import Enum

import numpy as np

from pipeline.sim.plays.defence import Coverage, Order, Route, unit
from pipeline.sim.plays.parts import finish_drive, release_screen, set_screen
from pipeline.sim.plays.script import Play
from pipeline.sim.plays.stage import OFFENCE, Steps

SHOULDER_FT = 2.1
"""How near a cutter passes the screener's middle."""
LOOSEST_CONTACT_FT = 3.4
"""A badly set screen still comes this near to the defender; farther off it would be none (glossary: 3.5 ft)."""
SCREENER_YIELDS = 0.12
"""How far a set screener gives way to who runs into him, 0..1."""


class Missing(Enum):
    """What a near miss of a set leaves out."""

    NOTHING = "nothing"
    SCREEN = "screen"
    PASS = "pass"


def uv(u_ft: float, v_ft: float) -> np.ndarray:
    """A place in the attack frame."""
    return np.array([u_ft, v_ft])


def calm(play: Play, bodies: Sequence[int] = OFFENCE, *, within_ft: float = 0.9) -> None:
    """Who waits for his part in a set stands nearly still."""
    play.stage.restless_ft[list(bodies)] = within_ft


def guard_closely(play: Play, attackers: Sequence[int], *, sag: float = 0.55) -> None:
    """The defenders of these attackers stay near them, as they do on shooters."""
    for attacker in attackers:
        play.defence.duties[play.defence.guard_of(attacker)].sag = sag


def contact_ft(play: Play) -> float:
    """How near the screeners of this run come to the defenders."""
    return min(play.execution.contact_ft, LOOSEST_CONTACT_FT)


def stand_as_screen(play: Play, screener: int, spot: np.ndarray) -> None:
    """Take a screening stance at a spot and stay there."""
    stage = play.stage
    stage.go(screener, spot, 9.0)
    stage.restless_ft[screener] = 0.0
    stage.yields[screener] = SCREENER_YIELDS


def cut_off(
    play: Play,
    cutter: int,
    screener: int,
    way: Sequence[np.ndarray],
    *,
    by: np.ndarray,
    speed_ft_s: float = 14.0,
    kind: str = "down",
    group: str = "single",
) -> Steps:
    """Run past a set screener and on; the cutter's guard gets round the screen as the execution says.

    Parameters
    ----------
    way : sequence of ndarray of shape (2,)
        Places after the screen; the cutter stops on the last.
    by : ndarray of shape (2,)
        From the screener to where the cutter passes him.
    kind : str
        The screen's type as the vocabulary has it; ``"any"`` where none is meant.
    group : str
        Whether it stands alone, likewise.
    """
    stage, defence, ex = play.stage, play.defence, play.execution
    guard = defence.guard_of(cutter)
    began = stage.t_s
    stage.pair_gap[(cutter, screener)] = 1.9
    stage.pose(screener, "screen", 1.2)
    route = Route.TRAIL if ex.route is Route.SWITCH else ex.route
    stage.start(defence.round_screen(guard, screener, route))
    if contact_ft(play) < 3.2:
        defence.freeze(guard, ex.lag_s)
    stage.restless_ft[cutter] = 0.5
    yield from stage.run_past(cutter, stage.position[screener] + by, speed_ft_s, 1.3)
    moment = stage.t_s
    roles = {"screener": screener, "cutter": cutter}
    if kind == "any":
        play.did("off_ball_screen", roles, t_s=moment, start_s=began, group=group)
    else:
        play.did("off_ball_screen", roles, t_s=moment, start_s=began, type=kind, group=group)
    if way:
        yield from stage.run(cutter, list(way), speed_ft_s)


def did_cut(play: Play, kind: str, cutter: int, began_s: float) -> None:
    """Write a cut down that ends now."""
    now = play.stage.t_s
    play.did(kind, {"cutter": cutter}, t_s=(began_s + now) / 2, start_s=began_s, end_s=now)


def walk_into_screen(
    play: Play, screener: int, cutter: int, heading: np.ndarray, *, away_ft: np.ndarray | None = None
) -> Steps:
    """The screener finds the cutter's guard while the cutter takes a step away first."""
    stage = play.stage
    guard = play.defence.guard_of(cutter)
    step = -unit(heading - stage.position[cutter]) * 2.0 if away_ft is None else away_ft
    stage.go(cutter, stage.position[cutter] + step, 7.0)
    stage.restless_ft[screener] = 0.2
    yield from set_screen(play, screener, guard, lambda: heading, contact_ft(play))
    stage.restless_ft[screener] = 0.0
    yield from stage.wait(0.25)


def set_ball_screen(play: Play, handler: int, screener: int, *, side: int) -> Steps:
    """Set a ball screen on the handler's ``side`` (+1: towards +v) and turn the corner off it."""
    stage, defence, ex = play.stage, play.defence, play.execution
    on_ball, big = defence.guard_of(handler), defence.guard_of(screener)
    began = stage.t_s
    stage.dribble()
    stage.stay(handler)
    stage.restless_ft[handler] = 1.5
    stage.restless_ft[screener] = 0.2

    def heading() -> np.ndarray:
        return stage.position[handler] + np.array([-1.2, 6.0 * side])

    yield from set_screen(play, screener, on_ball, heading, contact_ft(play))
    stage.restless_ft[screener] = 0.0
    stage.pose(screener, "screen", 1.3)
    stage.go(handler, stage.position[handler] + np.array([-0.8, -2.6 * side]), 8.0)
    yield from stage.wait(float(stage.rng.uniform(0.35, 0.6)))
    stage.start(defence.ball_screen(on_ball, screener, ex.coverage))
    if contact_ft(play) < 3.2 and ex.coverage is not Coverage.SWITCH:
        defence.freeze(on_ball, 0.18 + 0.5 * ex.lag_s)
    defence.order(big, Order.PLACE, lambda: stage.position[handler] * 0.6 + np.array([0.0, -0.5 * side]))
    stage.pose(handler, "use_screen", 0.5, delay_s=0.15)
    corner = stage.position[screener] + np.array([1.0, 2.4 * side])
    yield from stage.run_past(handler, corner, 14.5)
    play.did("on_ball_screen", {"handler": handler, "screener": screener}, start_s=began)
    release_screen(play, screener)
    stage.restless_ft[screener] = 1.0


def stays_away(play: Play, body: int, spot: np.ndarray, seconds: float = 1.2) -> Steps:
    """In a near miss: the would-be screener goes elsewhere, and the same time passes."""
    play.stage.go(body, spot, 9.0)
    yield from play.stage.wait(seconds)


def go_by_without_screen(play: Play, handler: int, *, side: int) -> Steps:
    """The handler beats his man with a change of direction where the screen would have been."""
    stage = play.stage
    stage.dribble()
    stage.go(handler, stage.position[handler] + np.array([-0.8, -2.6 * side]), 8.0)
    yield from stage.wait(0.45)
    play.defence.freeze(play.defence.guard_of(handler), 0.2 + 0.4 * play.execution.lag_s)
    yield from stage.run_past(handler, stage.position[handler] + np.array([-3.0, 6.0 * side]), 14.5)


def drive_to(play: Play, handler: int, aim: np.ndarray, *, finish: str | None) -> Steps:
    """Drive to a place and finish there; ``finish`` None leaves the ball in his hands."""
    stage = play.stage
    stage.dribble()
    stage.go(handler, aim, 16.5)
    yield from stage.near(handler, aim, 1.8, 2.6)
    lasts_till_here(play)
    if finish is not None:
        yield from finish_drive(play, handler, finish)


def what_is_missing(play: Play) -> Missing:
    """What this run leaves out."""
    return Missing(play.word("missing"))


def let_big_recover(play: Play, screener: int) -> None:
    """The screener's guard, who showed at the screen, goes back to his man."""
    big = play.defence.guard_of(screener)
    play.defence.order(big, Order.MAN)


def lasts_till_here(play: Play) -> None:
    """The drive or pass that came out of the set played last belongs to it."""
    if play.sets:
        play.sets[-1] = replace(play.sets[-1], end_s=play.stage.t_s)


def find_shooter(play: Play, shooter: int) -> Steps:
    """The holder passes to a man who is about to shoot, and he has it in his hands for a moment."""
    yield from play.stage.pass_to(shooter)
    yield from play.stage.wait(0.3)


def keep_and_score(play: Play, holder: int, *, side: int) -> Steps:
    """The pass does not come: the holder dribbles on, waits, and goes himself."""
    stage = play.stage
    stage.dribble()
    stage.go(holder, stage.position[holder] + np.array([1.0, 2.0 * side]), 7.0)
    yield from stage.wait(float(stage.rng.uniform(1.6, 2.4)))
    play.defence.freeze(play.defence.guard_of(holder), 0.3)
    yield from drive_to(play, holder, np.array([8.5, 2.5 * side]), finish="jump_shot")
