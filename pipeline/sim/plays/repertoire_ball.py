"""Sets about the ball: horns, stack and drag ball screens, pistol, handoffs, side and middle ball screens, post split.

Attack frame, strong side +v. Bodies: 0 has the ball, 1 and 2 are wings, 3 and 4 bigs, unless a set says otherwise.
"""

from __future__ import annotations

from collections.abc import Generator

import numpy as np

from pipeline.sim.plays.defence import Order
from pipeline.sim.plays.parts import release_screen, retreat_dribble, set_screen, shot
from pipeline.sim.plays.places import Places
from pipeline.sim.plays.repertoire_moves import (
    Missing,
    calm,
    contact_ft,
    cut_off,
    did_cut,
    drive_to,
    find_shooter,
    go_by_without_screen,
    guard_closely,
    keep_and_score,
    lasts_till_here,
    let_big_recover,
    set_ball_screen,
    stays_away,
    uv,
    walk_into_screen,
    what_is_missing,
)
from pipeline.sim.plays.script import Play
from pipeline.sim.plays.stage import OFFENCE, Steps

FINISHES = ("lay_up", "jump_shot", "kick_out")


def drive_off(play: Play, handler: int, screener: int, *, side: int) -> Steps:
    """Turn the corner and drive; the screener rolls or pops."""
    stage, rng = play.stage, play.stage.rng
    if rng.random() < 0.6:
        stage.go(screener, uv(3.0, -3.0 * side), 12.0)
    else:
        stage.go(screener, play.floor.top() + uv(0.0, -4.0 * side), 10.0)
    stage.start(_recover(play, screener))
    finish = FINISHES[int(rng.integers(3))]
    yield from drive_to(play, handler, uv(float(rng.uniform(3.0, 8.0)), 1.5 * side), finish=finish)


def _recover(play: Play, screener: int) -> Steps:
    yield from play.stage.wait(0.9)
    let_big_recover(play, screener)


# ---- horns ------------------------------------------------------------


def horns_spots(floor: Places) -> list[np.ndarray]:
    """Ball at the top, bigs at the elbows, wings in the corners."""
    lift = uv(1.0, 0.0)
    return [floor.top(out_ft=4.5), floor.corner(1), floor.corner(-1), floor.elbow(-1) + lift, floor.elbow(1) + lift]


def horns(play: Play) -> Steps:
    """One of the two bigs at the elbows screens for the ball, the other steps out."""
    missing, began = what_is_missing(play), play.stage.t_s
    stage, floor = play.stage, play.floor
    calm(play)
    roles = {"guard": 0, "big": 4, "other_big": 3}
    yield from retreat_dribble(play, 0, 1.3)
    if missing is Missing.SCREEN:
        play.played("horns", roles, start_s=began, missing=("screen",))
        yield from stays_away(play, 4, floor.wing(1) + uv(3.0, -2.0), 1.0)
        yield from go_by_without_screen(play, 0, side=1)
        yield from drive_to(play, 0, uv(6.0, 1.5), finish="jump_shot")
        return
    began = stage.t_s
    yield from set_ball_screen(play, 0, 4, side=1)
    play.played("horns", roles, start_s=began)
    stage.go(3, floor.slot(-1), 9.0)
    stage.start(_recover(play, 4))
    stage.go(4, uv(3.0, 3.0), 12.0)
    if stage.rng.random() < 0.4:
        yield from drive_to(play, 0, uv(15.0, 6.0), finish=None)
        stage.stay(0)
        yield from find_shooter(play, 3)
        lasts_till_here(play)
        yield from shot(play, "jump_shot")
    else:
        yield from drive_off(play, 0, 4, side=1)


# ---- stack ball screen ------------------------------------------------------------


def stack_spots(floor: Places) -> list[np.ndarray]:
    """Ball at the top, the big and behind him the shooter in the middle, the others in the corners."""
    below, above = uv(floor.line_u_ft - 6.5, 0.5), uv(floor.line_u_ft + 2.5, 2.5)
    return [floor.top(out_ft=5.0), below, floor.corner(-1), floor.corner(1), above]


def stack_ball_screen(play: Play) -> Steps:
    """Ball screen in the middle; as the big rolls the shooter screens the big's defender from behind and pops."""
    missing, began = what_is_missing(play), play.stage.t_s
    stage, defence, floor = play.stage, play.defence, play.floor
    calm(play)
    yield from retreat_dribble(play, 0, 0.9)
    big_guard = defence.guard_of(4)
    roles = {"guard": 0, "big": 4, "shooter": 1}
    yield from set_ball_screen(play, 0, 4, side=1)
    # the big's guard shows at the level of the line
    defence.order(big_guard, Order.PLACE, uv(15.5, 3.5))
    stage.go(0, uv(18.0, 13.0), 12.0)
    if missing is Missing.SCREEN:
        stage.go(1, floor.slot(-1), 10.0)
        stage.start(stage.run(4, [uv(2.0, -1.0)], 13.0))
        yield from stage.wait(0.9)
    else:
        stage.restless_ft[1] = 0.0
        stage.go(4, stage.position[4] + uv(-1.0, -1.0), 6.0)
        yield from set_screen(play, 1, big_guard, lambda: uv(2.0, -1.0), contact_ft(play))
        yield from cut_off(play, 4, 1, [], by=uv(-0.5, -2.1), speed_ft_s=13.0, kind="back")
        release_screen(play, 1)
        stage.start(stage.run(4, [uv(1.5, -1.0)], 13.0))
        stage.go(1, floor.top() + uv(0.5, -2.0), 13.0)
        yield from stage.wait(0.5)
    let_big_recover(play, 4)
    play.played("stack_ball_screen", roles, start_s=began, missing=("back",) if missing is Missing.SCREEN else ())
    stage.stay(0)
    if missing is Missing.NOTHING and stage.rng.random() < 0.5:
        yield from stage.pass_to(4, style="overhead_pass")
        yield from shot(play, "lay_up")
        return
    yield from stage.near(1, floor.top(), 6.0, 1.2)
    yield from find_shooter(play, 1)
    yield from shot(play, "jump_shot")


# ---- drag ------------------------------------------------------------


def drag_spots(floor: Places) -> list[np.ndarray]:
    """Where the five come to in early offence: ball in the slot, the trailing big in the middle."""
    return [floor.slot(1, out_ft=5.0), floor.corner(1), floor.corner(-1), floor.top(out_ft=6.0), floor.wing(-1)]


def drag(play: Play) -> Steps:
    """In transition the trailing big screens for the ball before the defence has settled."""
    missing, stage, floor = what_is_missing(play), play.stage, play.floor
    guard, big = yield from bring_it_fast(play)
    began = stage.t_s
    roles = {"guard": guard, "big": big}
    calm(play)
    if missing is Missing.SCREEN:
        play.played("drag", roles, start_s=began, missing=("screen",))
        stage.go(big, floor.block(-1), 15.0)
        yield from go_by_without_screen(play, guard, side=-1)
        yield from drive_to(play, guard, uv(6.0, -1.5), finish="jump_shot")
        return
    if missing is Missing.PASS:
        # late: the screen comes when everybody has long been in place
        stage.go(big, floor.elbow(-1), 9.0)
        yield from retreat_dribble(play, guard, float(stage.rng.uniform(6.0, 7.0)))
    yield from set_ball_screen(play, guard, big, side=-1)
    yield from drive_off(play, guard, big, side=-1)


def bring_it_fast(play: Play) -> Generator[None, None, tuple[int, int]]:
    """Outlet and up the floor at a run, the wings ahead, the big beside the ball; guard and big."""
    stage, floor, rng = play.stage, play.floor, play.stage.rng
    rebounder = stage.holder if stage.holder is not None else 4
    guard = 0 if rebounder != 0 else 1
    big = 3 if rebounder != 3 else 4
    half, spots = floor.half_court_u_ft, drag_spots(floor)
    lanes = dict(zip([k for k in OFFENCE if k not in (rebounder, guard, big)], (spots[1], spots[2]), strict=False))
    for k, spot in lanes.items():
        stage.go(k, spot, float(rng.uniform(17.0, 20.0)))
    stage.go(big, uv(half - 6.0, 2.0), float(rng.uniform(15.0, 17.0)))
    if rebounder != guard:
        outlet = stage.position[rebounder] + uv(-13.0, 9.0)
        outlet[1] = np.clip(outlet[1], 3.0 - floor.half_width_ft, floor.half_width_ft - 3.0)
        stage.go(guard, outlet, 14.0)
        yield from stage.near(guard, outlet, 4.0, 1.5)
        yield from stage.pass_to(guard, speed_ft_s=36.0, windup_s=0.2)
        stage.go(rebounder, spots[4], float(rng.uniform(12.0, 14.0)))
    stage.dribble()
    yield from stage.run(guard, [uv(half, 11.0)], 17.0, near_ft=3.0)
    stage.go(guard, uv(31.0, 11.0), 13.0)
    stage.go(big, uv(31.0, 2.0), 15.0)
    yield from stage.near(guard, uv(31.0, 11.0), 4.0, 2.0)
    return guard, big


# ---- pistol ------------------------------------------------------------


def pistol_spots(floor: Places) -> list[np.ndarray]:
    """Ball high on the strong side, the wing ahead of it near the sideline, the trailing big in the middle."""
    return [uv(35.0, 13.0), uv(24.0, 20.0), floor.wing(-1), floor.corner(-1), uv(34.0, 0.0)]


def pistol(play: Play) -> Steps:
    """Pass ahead to the wing, handoff back to the passer, and the trailer's ball screen at once."""
    missing, began = what_is_missing(play), play.stage.t_s
    stage, floor = play.stage, play.floor
    calm(play, (1, 2, 3))
    roles = {"guard": 0, "wing": 1, "big": 4}
    yield from retreat_dribble(play, 0, 0.4)
    stage.go(1, uv(22.5, 19.0), 8.0)
    yield from stage.pass_to(1)
    stage.go(4, uv(26.0, 8.0), 11.0)
    stage.go(0, lambda: stage.position[1] + uv(2.2, 0.6), 13.0)
    yield from stage.until(lambda: stage.gap(0, 1) < 3.2, 2.0)
    if missing is Missing.PASS:
        # the wing keeps it
        play.played("pistol", roles, start_s=began, missing=("handoff",))
        stage.go(0, floor.corner(1), 12.0)
        yield from stage.wait(0.8)
        yield from set_ball_screen(play, 1, 4, side=-1)
        yield from drive_off(play, 1, 4, side=-1)
        return
    yield from stage.handoff(0)
    play.did("handoff", {"giver": 1, "receiver": 0})
    stage.dribble()
    stage.go(1, floor.corner(1), 11.0)
    stage.go(0, uv(23.5, 16.0), 9.0)
    if missing is Missing.SCREEN:
        play.played("pistol", roles, start_s=began, missing=("screen",))
        stage.go(4, floor.block(-1), 12.0)
        yield from stage.wait(1.0)
        yield from go_by_without_screen(play, 0, side=-1)
        yield from drive_to(play, 0, uv(6.0, 1.5), finish="jump_shot")
        return
    yield from stage.wait(0.3)
    yield from set_ball_screen(play, 0, 4, side=-1)
    play.played("pistol", roles, start_s=began)
    yield from drive_off(play, 0, 4, side=-1)


# ---- side and middle ball screens ------------------------------------------------------------


def side_spots(floor: Places) -> list[np.ndarray]:
    """Ball on the wing, the big at the block on that side, the others spaced."""
    wide = uv(floor.line_u_ft, floor.half_width_ft - 3.5)
    return [wide, floor.slot(-1), floor.corner(-1), floor.top() + uv(0.0, 2.0), floor.block(1)]


def side_ball_screen(play: Play) -> Steps:
    """The big comes up from the block and screens for the ball on the wing."""
    missing, began = what_is_missing(play), play.stage.t_s
    floor = play.floor
    calm(play)
    yield from retreat_dribble(play, 0, 0.9)
    roles = {"guard": 0, "big": 4}
    if missing is Missing.SCREEN:
        play.played("side_ball_screen", roles, start_s=began, missing=("screen",))
        yield from stays_away(play, 4, floor.elbow(-1), 1.0)
        yield from go_by_without_screen(play, 0, side=-1)
        yield from drive_to(play, 0, uv(6.0, 2.0), finish="jump_shot")
        return
    yield from set_ball_screen(play, 0, 4, side=-1)
    yield from drive_off(play, 0, 4, side=-1)


def middle_spots(floor: Places) -> list[np.ndarray]:
    """Ball at the top, the big at the block, corners and the far wing filled."""
    return [floor.top(), floor.corner(1), floor.corner(-1), floor.wing(-1) + uv(5.0, 0.0), floor.block(1)]


def middle_ball_screen(play: Play) -> Steps:
    """The big comes up and screens for the ball in the middle."""
    missing, began = what_is_missing(play), play.stage.t_s
    stage, floor = play.stage, play.floor
    calm(play)
    yield from retreat_dribble(play, 0, 0.9)
    roles = {"guard": 0, "big": 4}
    if missing is Missing.SCREEN:
        play.played("middle_ball_screen", roles, start_s=began, missing=("screen",))
        yield from stays_away(play, 4, floor.short_corner(1), 1.0)
        yield from go_by_without_screen(play, 0, side=1)
        yield from drive_to(play, 0, uv(6.0, 2.0), finish="jump_shot")
        return
    stage.go(4, floor.elbow(1), 12.0)
    yield from stage.near(4, floor.elbow(1), 4.0, 1.5)
    yield from set_ball_screen(play, 0, 4, side=1)
    yield from drive_off(play, 0, 4, side=1)


# ---- post split ------------------------------------------------------------


def post_split_spots(floor: Places) -> list[np.ndarray]:
    """Ball on the wing, the post at the block, a guard in the slot on that side."""
    return [floor.wing(1), floor.slot(1) + uv(0.0, -3.0), floor.corner(-1), floor.wing(-1), floor.block(1, out_ft=0.5)]


def post_split(play: Play) -> Steps:
    """Post entry, then the passer screens for the man in the slot, who cuts, and steps back out."""
    missing, began = what_is_missing(play), play.stage.t_s
    stage, defence, floor = play.stage, play.defence, play.floor
    calm(play)
    post_guard = defence.guard_of(4)
    roles = {"passer": 0, "post": 4, "mate": 1}
    defence.order(post_guard, Order.POST)
    stage.pair_gap[(4, post_guard)] = 1.9
    stage.pose(4, "post_up", 2.0)
    guard_closely(play, (1,))
    yield from retreat_dribble(play, 0, 0.9)
    if missing is Missing.PASS:
        # the entry does not come: the ball goes back to the slot
        play.played("post_split", roles, start_s=began, missing=("feed",))
        yield from stage.wait(0.8)
        yield from stage.pass_to(1)
        yield from keep_and_score(play, 1, side=-1)
        return
    stage.stay(4)
    yield from stage.pass_to(4, style="overhead_pass", speed_ft_s=30.0)
    stage.pose(4, "post_up", 2.5)
    stage.stay(4)
    stage.restless_ft[4] = 0.3
    basket = uv(2.5, -3.0)
    if missing is Missing.SCREEN:
        stage.start(stage.run(0, [floor.corner(1)], 9.0))
        yield from stage.run(1, [floor.top() + uv(0.0, -8.0)], 9.0)
        yield from stage.wait(0.8)
    else:
        yield from walk_into_screen(play, 0, 1, uv(13.0, 6.0), away_ft=uv(1.5, -1.5))
        cut_at = stage.t_s
        yield from cut_off(play, 1, 0, [basket], by=uv(0.3, -2.1), kind="back")
        did_cut(play, "basket_cut", 1, cut_at)
        release_screen(play, 0)
        stage.go(0, floor.slot(1), 11.0)
        yield from stage.wait(0.4)
    play.played("post_split", roles, start_s=began, missing=("split",) if missing is Missing.SCREEN else ())
    if missing is Missing.NOTHING and stage.rng.random() < 0.5:
        yield from stage.near(0, floor.slot(1), 3.0, 1.5)
        yield from find_shooter(play, 0)
        yield from shot(play, "jump_shot")
        return
    stage.dribble()
    stage.go(4, uv(3.0, 4.0), 7.0)
    yield from stage.wait(0.8)
    yield from shot(play, "jump_shot")


# ---- sideline handoff ------------------------------------------------------------


def sideline_handoff_spots(floor: Places) -> list[np.ndarray]:
    """Ball at the top, a big in the strong slot, the taker in the corner below him."""
    return [floor.top(), floor.corner(1) + uv(1.0, 0.0), floor.corner(-1), floor.wing(-1), floor.slot(1)]


def sideline_handoff(play: Play) -> Steps:
    """The big catches in the slot, dribbles at the sideline and hands off to the man who comes up from the corner."""
    missing, began = what_is_missing(play), play.stage.t_s
    stage, floor = play.stage, play.floor
    calm(play)
    yield from retreat_dribble(play, 0, 0.7)
    yield from stage.pass_to(4)
    yield from stage.wait(0.3)
    began = stage.t_s
    stage.dribble()
    roles = {"big": 4, "taker": 1}
    meet = floor.wing(1) + uv(5.0, -0.5)
    stage.go(4, meet, 8.5)
    stage.go(0, floor.slot(-1), 8.0)
    yield from stage.wait(0.35)
    if missing is Missing.NOTHING:
        stage.go(1, lambda: stage.position[4] + uv(0.6, 2.0), 13.0)
        yield from stage.until(lambda: stage.gap(1, 4) < 3.0, 2.5)
        yield from stage.handoff(1)
        play.did("handoff", {"giver": 4, "receiver": 1})
        play.played("sideline_handoff", roles, start_s=began)
        stage.go(4, stage.position[4] + uv(0.5, 0.0), 4.0)
        play.defence.freeze(play.defence.guard_of(1), 0.15 + 0.5 * play.execution.lag_s)
        yield from stage.run_past(1, stage.position[4] + uv(2.0, -3.5), 13.0)
        stage.go(4, uv(3.0, 3.0), 11.0)
        yield from drive_to(play, 1, uv(7.0, -1.0), finish=FINISHES[int(stage.rng.integers(3))])
        return
    play.played("sideline_handoff", roles, start_s=began, missing=("handoff",))
    # he keeps it: the man from the corner cuts behind instead, or takes a pass from far off
    yield from stage.run(1, [uv(8.0, 19.0)], 11.0)
    if missing is Missing.SCREEN:
        stage.start(stage.run(1, [uv(1.5, 3.0), floor.corner(-1) + uv(8.0, 6.0)], 14.0))
        yield from stage.wait(0.9)
        yield from keep_and_score(play, 4, side=-1)
        return
    stage.stay(4)
    yield from stage.near(4, meet, 2.0, 1.0)
    stage.go(1, floor.corner(1) + uv(5.0, -1.0), 8.0)
    yield from stage.wait(0.5)
    yield from find_shooter(play, 1)
    yield from shot(play, "jump_shot")
