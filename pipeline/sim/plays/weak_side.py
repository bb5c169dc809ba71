"""The weak-side motion set as full games play it: entry, loop, reversal, cross screen, return pass, three endings."""

from __future__ import annotations

import numpy as np

from pipeline.sim.plays.ball_screens import DrivePlan, ball_screen_drive
from pipeline.sim.plays.defence import Order, Route, unit
from pipeline.sim.plays.execution import Curl, Ending
from pipeline.sim.plays.parts import release_screen, retreat_dribble, scattered, set_screen, shot
from pipeline.sim.plays.places import Places
from pipeline.sim.plays.script import Play, Script
from pipeline.sim.plays.stage import Steps


def return_catch_uv(distance_ft: float) -> np.ndarray:
    """Where the return pass is caught on the left wing, by its distance from the ring."""
    share = float(np.interp(distance_ft, [20.0, 25.0, 28.0, 32.0], [0.5, 0.53, 0.69, 0.76]))
    return distance_ft * np.array([share, -np.sqrt(1 - share * share)])


def weak_side_motion(play: Play) -> Steps:
    """Entry, loop, reversal, cross screen, return pass, then the ending of the execution."""
    stage, defence, floor, ex, rng = play.stage, play.defence, play.floor, play.execution, play.stage.rng
    post_guard = defence.guard_of(4)
    began = stage.t_s
    yield from retreat_dribble(play, 0, float(rng.uniform(0.3, 0.9)))
    stage.start(stage.run(1, [stage.position[1] + np.array([-3.0, -2.5]), play.jitter(floor.wing(1), 0.5)], 12.0))
    defence.order(post_guard, Order.POST)
    yield from stage.wait(0.55)
    yield from stage.pass_to(1)
    stage.event("wing_entry", began, stage.t_s, {"passer": 0, "receiver": 1})
    # the passer loops by way of the high post to the weak-side wing
    catch = return_catch_uv(ex.catch_distance_ft)
    loop_from = stage.t_s
    high_post = np.array([floor.line_u_ft + 1.5, 1.0]) + rng.normal(0, 0.5, 2)
    low = return_catch_uv(20.5) + np.array([-2.5, 2.5])
    stage.start(stage.run(0, [high_post, np.array([floor.line_u_ft - 1.5, -8.5]), low], float(rng.uniform(13.0, 15.5))))
    stage.go(3, play.jitter(floor.top(), 0.6), 10.0)
    yield from stage.wait(float(rng.uniform(0.45, 0.8)))
    # the weak-side wing leaves as he comes
    stage.go(2, np.array([floor.line_u_ft - 6.0, -floor.half_lane_ft - 1.5]), 11.0)
    yield from stage.until(lambda: stage.position[0][1] < -3.0, 2.5)
    yield from stage.near(3, floor.top(), 3.0, 2.0)
    yield from stage.pass_to(3)
    reversal = stage.t_s
    stage.event("reversal", loop_from, reversal, {"passer": 1, "receiver": 3})
    # cross screen while the ball is at the top
    if ex.denial > 0.5:
        defence.order(defence.guard_of(0), Order.DENY)
    target = np.array([ex.post_catch_ft * 0.5, -ex.post_catch_ft * 0.87])
    stage.restless_ft[[0, 4]] = 0.6
    stage.start(_cross_screen(play, post_guard, target))
    stage.start(_return_spot(play, catch, ex.top_wait_s))
    yield from stage.wait(ex.top_wait_s)
    yield from stage.near(0, catch, 2.0, 1.2)
    stage.go(0, catch, 9.0)
    yield from stage.pass_to(0)
    stage.event(
        "return_pass",
        reversal,
        stage.t_s,
        {"passer": 3, "receiver": 0},
        catch_distance_ft=float(np.hypot(*stage.position[0])),
    )
    stage.restless_ft[0] = 5.0
    stage.event("loop", loop_from, stage.t_s, {"cutter": 0})
    defence.order(defence.guard_of(0), Order.MAN)
    stage.go(1, floor.slot(1) + rng.normal(0, 1, 2), 8.0)
    yield from stage.wait(0.3)
    if ex.ending is Ending.POST_ENTRY:
        yield from _post_entry(play, target)
    elif ex.ending is Ending.ZIPPER:
        yield from _zipper(play)
    else:
        big = 3
        stage.go(4, floor.corner(-1) + np.array([2.0, 4.0]), 10.0)
        yield from ball_screen_drive(
            play, DrivePlan(0, big, 1, None, (6.5, -1.0), "kick_out" if rng.random() < 0.4 else "lay_up")
        )


def _return_spot(play: Play, catch: np.ndarray, wait_s: float) -> Steps:
    """Get open for the return pass: a step in, then out to the catch."""
    stage = play.stage
    yield from stage.wait(max(wait_s - 0.9, 0.0))
    stage.go(0, catch, 12.5)
    yield


def _cross_screen(play: Play, guard: int, target: np.ndarray) -> Steps:
    stage, defence, floor, ex = play.stage, play.defence, play.floor, play.execution
    began = stage.t_s
    # the cutter sets his man up with a step away
    stage.go(4, stage.position[4] + np.array([-1.5, 1.5]), 6.0)
    yield from set_screen(play, 2, guard, lambda: target + np.array([1.0, 0.0]), ex.contact_ft)
    stage.pose(2, "screen", 1.1)
    yield from stage.wait(0.3)
    contact = stage.gap(2, guard)
    away_high = ex.route in (Route.HIGH,)
    low_cut = away_high if ex.read_right else not away_high
    if ex.route in (Route.TRAIL, Route.SWITCH):
        low_cut = not ex.read_right
    by = np.array([-2.6, 0.3]) if low_cut else np.array([2.6, 0.3])
    stage.pair_gap[(4, 2)] = 1.9
    stage.start(defence.round_screen(guard, 2, ex.route))
    if ex.contact_ft < 3.2 and ex.route is not Route.SWITCH:
        defence.freeze(guard, ex.lag_s)
    moment = stage.t_s
    before = stage.gap(4, guard)
    yield from stage.run(4, [stage.position[2] + by, target], 14.0)
    stage.event(
        "off_ball_screen",
        began,
        moment + 0.4,
        {"screener": 2, "cutter": 4, "defender": guard},
        contact_ft=contact,
        separation_before_ft=before,
        separation_after_ft=stage.gap(4, defence.guard_of(4)),
        cross=1.0,
    )
    release_screen(play, 2)
    stage.go(2, np.array([6.0, floor.half_lane_ft * 0.2]), 7.0)
    defence.order(defence.guard_of(4), Order.POST)
    stage.pair_gap[(4, defence.guard_of(4))] = 1.9
    stage.look[4] = lambda: stage.ball_uv
    stage.pose(4, "post_up", 1.6)


def _post_entry(play: Play, target: np.ndarray) -> Steps:
    stage, defence, floor, rng = play.stage, play.defence, play.floor, play.stage.rng
    began = stage.t_s
    stage.start(stage.run(2, [np.array([12.0, 7.5]), floor.wing(1)], 9.0))
    yield from stage.near(4, target, 2.0, 2.0)
    guard = defence.guard_of(4)
    defence.order(guard, Order.POST)
    stage.pair_gap[(4, guard)] = 1.9
    stage.stay(4)
    stage.pose(4, "post_up", 1.2)
    stage.pose(guard, "post_defend", 3.0)
    yield from stage.wait(0.5)
    yield from stage.pass_to(4, style="overhead_pass" if rng.random() < 0.5 else "chest_pass", speed_ft_s=30.0)
    stage.event(
        "post_entry",
        began,
        stage.t_s,
        {"passer": 0, "receiver": 4},
        catch_distance_ft=float(np.hypot(*stage.position[4])),
    )
    # the passer cuts, the others space
    stage.start(stage.run(0, [np.array([floor.line_u_ft, -2.0]), floor.slot(1)], 11.0))
    stage.pose(4, "post_up", 1.0)
    yield from stage.wait(0.4)
    stage.dribble()
    stage.go(4, stage.position[4] * 0.75, 5.0)
    yield from stage.wait(0.9)
    stage.event("post_up", began, began, {"player": 4})
    stage.go(4, stage.position[4] * 0.55 + np.array([1.0, 1.0]), 8.0)
    yield from stage.wait(0.35)
    yield from shot(play, "jump_shot")


def _zipper(play: Play) -> Steps:
    stage, defence, floor, ex = play.stage, play.defence, play.floor, play.execution
    cutter, screener = 2, 3
    began = stage.t_s
    guard = defence.guard_of(cutter)
    stage.go(cutter, np.array([4.5, -floor.half_lane_ft + 1.0]), 9.0)
    stage.start(retreat_dribble(play, 0, 1.2))
    yield from set_screen(play, screener, guard, lambda: stage.position[guard] + np.array([3.0, -1.0]), ex.contact_ft)
    stage.pose(screener, "screen", 1.2)
    yield from stage.wait(0.25)
    contact = stage.gap(screener, guard)
    trails = ex.route is not Route.HIGH
    stage.start(defence.round_screen(guard, screener, Route.TRAIL if trails else ex.route))
    defence.freeze(guard, ex.lag_s)
    moment = stage.t_s
    top = np.array([floor.arc_ft + 0.5, -3.5])
    elbow = np.array([floor.line_u_ft + 1.5, -floor.half_lane_ft - 0.5])
    stage.pair_gap[(cutter, screener)] = 1.9
    if ex.curl is Curl.CURL:
        s = stage.position[screener]
        yield from stage.run(cutter, [s + np.array([1.0, -2.6]), s + np.array([3.0, 1.0])], 14.0)
        stage.start(stage.run(cutter, [np.array([8.0, 0.5])], 13.0))
    elif ex.curl is Curl.WIDE:
        s = stage.position[screener]
        yield from stage.run(cutter, [s + np.array([3.5, -6.0]), s + np.array([9.5, -2.0])], 14.0)
        stage.start(stage.run(cutter, [np.array([13.0, 6.0])], 12.0))
    elif ex.curl is Curl.FADE:
        yield from stage.run(cutter, [elbow, floor.wing(-1) + np.array([-8.0, -2.0])], 13.5)
    else:
        yield from stage.run(cutter, [elbow, top], 14.5)
    stage.event(
        "off_ball_screen",
        began,
        moment + 0.4,
        {"screener": screener, "cutter": cutter, "defender": guard},
        contact_ft=contact,
        separation_after_ft=stage.gap(cutter, defence.guard_of(cutter)),
        down=1.0,
    )
    stage.event("zipper", moment, stage.t_s, {"cutter": cutter, "screener": screener})
    release_screen(play, screener)
    stage.go(screener, floor.slot(-1), 8.0)
    if stage.holder == 0:
        yield from stage.pass_to(cutter)
    yield from stage.wait(0.25)
    r = float(np.hypot(*stage.position[cutter]))
    if r < 17:
        stage.dribble()
        stage.go(cutter, unit(stage.position[cutter]) * 3.0, 14.0)
        yield from stage.near(cutter, np.zeros(2), 6.5, 1.6)
        yield from shot(play, "lay_up" if stage.distance(cutter, np.zeros(2)) < 8 else "jump_shot")
    else:
        yield from shot(play, "jump_shot")


def _spots(floor: Places, rng: np.random.Generator) -> np.ndarray:
    spots = [floor.slot(1), floor.wing(1), floor.wing(-1), floor.slot(-1, out_ft=2.5), floor.block(1)]
    return scattered(spots, rng)


WEAK_SIDE_MOTION = Script("weak_side_motion", _spots, weak_side_motion, seed=0)
