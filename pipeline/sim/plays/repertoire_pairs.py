"""Sets in which one thing feeds the next: pin-down into a handoff, screen for the screener, two drags, high-low.

Attack frame, strong side +v. Bodies: 0 has the ball, 1 and 2 are wings, 3 and 4 bigs.
"""

from __future__ import annotations

import numpy as np

from pipeline.sim.plays.defence import Order
from pipeline.sim.plays.parts import release_screen, retreat_dribble, shot
from pipeline.sim.plays.places import Places
from pipeline.sim.plays.repertoire_ball import FINISHES, bring_it_fast, drive_off
from pipeline.sim.plays.repertoire_moves import (
    Missing,
    calm,
    cut_off,
    did_cut,
    drive_to,
    go_by_without_screen,
    guard_closely,
    keep_and_score,
    set_ball_screen,
    stand_as_screen,
    stays_away,
    uv,
    walk_into_screen,
    what_is_missing,
)
from pipeline.sim.plays.script import Play
from pipeline.sim.plays.stage import Steps

# ---- pin-down into a handoff ------------------------------------------------------------


def pin_down_handoff_spots(floor: Places) -> list[np.ndarray]:
    """Ball at the top, a big in the strong slot, the other big on the wing above the man in the corner."""
    return [
        floor.top(),
        floor.corner(1) + uv(1.0, -0.5),
        floor.corner(-1),
        floor.wing(1) + uv(0.0, -5.0),
        floor.slot(1),
    ]


def pin_down_handoff(play: Play) -> Steps:
    """The man in the corner comes up off a down screen and straight into a handoff from the big in the slot."""
    missing, stage, floor = what_is_missing(play), play.stage, play.floor
    began = stage.t_s
    roles = {"taker": 1, "screener": 3, "big": 4}
    calm(play)
    guard_closely(play, (1,))
    yield from retreat_dribble(play, 0, 0.7)
    yield from stage.pass_to(4)
    stage.go(0, floor.slot(-1), 8.0)
    began = stage.t_s
    meet = floor.slot(1) + uv(-1.0, -2.5)
    if missing is Missing.SCREEN:
        yield from stays_away(play, 3, floor.block(-1), 1.4)
        stage.dribble()
        stage.go(4, meet, 7.0)
        yield from stage.run(1, [uv(12.0, 19.0)], 13.0)
    else:
        yield from walk_into_screen(play, 3, 1, uv(12.0, 18.0), away_ft=uv(-1.0, 0.5))
        stage.dribble()
        stage.go(4, meet, 7.0)
        yield from cut_off(play, 1, 3, [], by=uv(0.6, 2.0))
        release_screen(play, 3)
        stage.go(3, floor.corner(1), 8.0)
    if missing is Missing.PASS:
        # the big keeps it, the cutter goes through
        play.played("pin_down_handoff", roles, start_s=began, missing=("handoff",))
        stage.start(stage.run(1, [uv(12.0, 3.0), floor.wing(-1) + uv(-4.0, 0.0)], 13.0))
        yield from stage.wait(0.8)
        yield from keep_and_score(play, 4, side=1)
        return
    stage.go(1, lambda: stage.position[4] + uv(0.8, 1.8), 13.5)
    yield from stage.until(lambda: stage.gap(1, 4) < 3.0, 2.5)
    yield from stage.handoff(1)
    play.did("handoff", {"giver": 4, "receiver": 1})
    play.played("pin_down_handoff", roles, start_s=began, missing=("down",) if missing is Missing.SCREEN else ())
    stage.go(4, stage.position[4], 4.0)
    play.defence.freeze(play.defence.guard_of(1), 0.15 + 0.5 * play.execution.lag_s)
    yield from stage.run_past(1, stage.position[4] + uv(1.5, -3.5), 13.0)
    stage.go(4, uv(3.0, 3.0), 11.0)
    yield from drive_to(play, 1, uv(7.0, -1.0), finish=FINISHES[int(stage.rng.integers(3))])


# ---- screen for the screener ------------------------------------------------------------


def ram_spots(floor: Places) -> list[np.ndarray]:
    """Ball in the strong slot, the big low on that side, a second man at the elbow above him."""
    return [floor.slot(1), floor.wing(-1), floor.corner(-1), floor.elbow(1) + uv(0.0, 1.5), floor.block(1, out_ft=2.0)]


def ram(play: Play) -> Steps:
    """A screen frees the big at the block, and he runs into a ball screen before his man is back."""
    missing, stage, floor = what_is_missing(play), play.stage, play.floor
    began = stage.t_s
    roles = {"guard": 0, "big": 4, "helper": 3}
    calm(play)
    guard_closely(play, (4,))
    stage.start(retreat_dribble(play, 0, 1.5))
    above = uv(floor.line_u_ft + 3.0, floor.half_lane_ft + 1.5)
    if missing is Missing.SCREEN:
        yield from stays_away(play, 3, floor.block(-1), 1.0)
        stage.go(4, above, 13.0)
        yield from stage.near(4, above, 3.0, 2.0)
    else:
        yield from walk_into_screen(play, 3, 4, above, away_ft=uv(-1.2, 0.5))
        yield from cut_off(play, 4, 3, [], by=uv(0.3, 2.1))
        release_screen(play, 3)
        stage.go(3, floor.corner(1), 9.0)
    if missing is Missing.PASS:
        # no ball screen after it: the big steps out for a pass instead
        play.played("ram", roles, start_s=began, missing=("ball_screen",))
        stage.go(4, floor.wing(1) + uv(4.0, 0.0), 12.0)
        yield from stage.near(4, floor.wing(1) + uv(4.0, 0.0), 2.5, 2.0)
        yield from go_by_without_screen(play, 0, side=-1)
        yield from drive_to(play, 0, uv(7.0, -1.0), finish="jump_shot")
        return
    yield from set_ball_screen(play, 0, 4, side=-1)
    play.played("ram", roles, start_s=began, missing=("down",) if missing is Missing.SCREEN else ())
    yield from drive_off(play, 0, 4, side=-1)


# ---- two drag screens ------------------------------------------------------------


def double_drag(play: Play) -> Steps:
    """In transition two bigs in a row screen for the ball; the first rolls, the second steps out."""
    missing, stage, floor = what_is_missing(play), play.stage, play.floor
    guard, big = yield from bring_it_fast(play)
    second = next(k for k in (4, 3, 2) if k not in (guard, big))
    began = stage.t_s
    roles = {"guard": guard, "first": big, "second": second}
    calm(play)
    if missing is Missing.SCREEN:
        stage.go(second, floor.block(-1), 14.0)
        yield from set_ball_screen(play, guard, big, side=-1)
        play.played("double_drag", roles, start_s=began, missing=("second_screen",))
        yield from drive_off(play, guard, big, side=-1)
        return
    stage.go(second, uv(29.0, -6.0), 17.0)
    yield from set_ball_screen(play, guard, big, side=-1)
    # the second big stands one stride farther on: the handler does not stop
    spot = stage.position[big] + uv(0.5, -7.5)
    stand_as_screen(play, second, spot)
    stage.go(second, spot, 15.0)
    stage.pose(second, "screen", 1.2)
    stage.go(big, uv(4.0, 3.0), 11.0)
    met = stage.t_s
    # the handler's man is still behind him, and runs into the second screen
    stage.start(_into_second(play, guard))
    yield from stage.run_past(guard, spot + uv(2.3, 0.3), 13.0)
    play.did("on_ball_screen", {"handler": guard, "screener": second}, start_s=met)
    release_screen(play, second)
    play.played("double_drag", roles, start_s=began)
    yield from drive_off(play, guard, second, side=-1)


def _into_second(play: Play, handler: int) -> Steps:
    """The handler's man follows in his footsteps until both are past the second screen."""
    defence = play.defence
    for _ in range(12):
        guard = defence.guard_of(handler)
        defence.order(guard, Order.TRAIL, lambda: defence.footsteps(handler))
        yield from play.stage.wait(0.1)
    defence.order(defence.guard_of(handler), Order.MAN)


# ---- high-low ------------------------------------------------------------


def high_low_spots(floor: Places) -> list[np.ndarray]:
    """Ball in the strong slot, one big at each block, the wings wide."""
    return [floor.slot(1), floor.wing(1), floor.wing(-1), floor.block(-1), floor.block(1, out_ft=0.0)]


def high_low(play: Play) -> Steps:
    """One big flashes to the high post and passes down to the other, who seals his man at the ring."""
    missing, stage, defence, floor = what_is_missing(play), play.stage, play.defence, play.floor
    began = stage.t_s
    roles = {"guard": 0, "high": 3, "low": 4}
    calm(play)
    yield from retreat_dribble(play, 0, 0.8)
    post_guard = defence.guard_of(4)
    high = uv(floor.line_u_ft + 1.0, 0.5)
    cut_at = stage.t_s
    yield from stage.run(3, [high], 14.0)
    did_cut(play, "flash_cut", 3, cut_at)
    yield from stage.pass_to(3)
    # the low big seals his man behind him
    seal = uv(3.0, 3.5)
    defence.order(post_guard, Order.PLACE, lambda: stage.position[4] * 0.45)
    stage.pair_gap[(4, post_guard)] = 1.9
    stage.go(4, seal, 8.0)
    stage.pose(4, "post_up", 1.5)
    yield from stage.near(4, seal, 1.5, 1.2)
    yield from stage.wait(0.25)
    if missing is Missing.PASS:
        play.played("high_low", roles, start_s=began, missing=("lob",))
        yield from stage.pass_to(2)
        yield from keep_and_score(play, 2, side=1)
        return
    stage.stay(4)
    yield from stage.pass_to(4, style="overhead_pass", speed_ft_s=28.0)
    yield from stage.wait(0.3)
    play.played("high_low", roles, start_s=began)
    yield from shot(play, "lay_up")
