"""Passes, handoffs, dead dribbles, lost balls, rebounds; post-ups, isolations, drives and denials."""

from __future__ import annotations

import numpy as np

from pipeline.sim.plays.defence import Order, unit
from pipeline.sim.plays.execution import Quality
from pipeline.sim.plays.moves import arrive, calm, cut_and_catch, park
from pipeline.sim.plays.parts import finish_drive, retreat_dribble, scattered, shot
from pipeline.sim.plays.places import Places
from pipeline.sim.plays.script import Choice, Dial, Play, Script
from pipeline.sim.plays.stage import Steps

_ALL = (Quality.GOOD, Quality.BAD, Quality.NEAR_MISS)


def perimeter_spots(floor: Places, rng: np.random.Generator) -> np.ndarray:
    """Top, both wings, both corners."""
    return scattered([floor.top(), floor.wing(1), floor.wing(-1), floor.corner(1), floor.corner(-1)], rng)


def passing(play: Play) -> Steps:
    """The ball goes round: entry to the wing, reversal, skip, kick-out, return, or a post entry."""
    stage, floor, rng = play.stage, play.floor, play.stage.rng
    way = play.word("way")
    calm(play)
    yield from retreat_dribble(play, 0, float(rng.uniform(0.5, 1.0)))
    play.did("pass", {"passer": 0, "receiver": 1}, t_s=stage.t_s + 0.9, type="wing_entry")
    yield from stage.pass_to(1)
    yield from stage.wait(float(rng.uniform(0.4, 0.9)))
    if way == "return":
        yield from stage.pass_to(0)
        play.did("pass", {"passer": 1, "receiver": 0}, returned="yes")
        yield from stage.wait(0.5)
        yield from stage.pass_to(2)
    elif way == "reversal":
        yield from stage.pass_to(0)
        play.did("pass", {"passer": 1, "receiver": 0}, type="reversal")
        yield from stage.wait(0.4)
        yield from stage.pass_to(2)
    elif way == "skip":
        yield from stage.pass_to(2, style="overhead_pass", speed_ft_s=40.0)
        play.did("pass", {"passer": 1, "receiver": 2}, type="skip")
    elif way == "kick_out":
        stage.dribble()
        play.defence.freeze(play.defence.guard_of(1), 0.4)
        yield from stage.run(1, [np.array([11.0, 13.0]), np.array([7.0, 3.0])], 15.0)
        stage.stay(1)
        yield from stage.pass_to(2, windup_s=0.15)
        play.did("pass", {"passer": 1, "receiver": 2}, type="kick_out")
    else:
        spot = floor.block(1)
        stage.go(3, spot, 11.0)
        yield from arrive(play, [3])
        yield from stage.wait(0.4)
        yield from stage.pass_to(3)
        play.did("pass", {"passer": 1, "receiver": 3}, type="post_entry")
        yield from stage.wait(0.8)
    yield from stage.wait(0.4)
    yield from shot(play, "jump_shot")


def dead_dribble(play: Play) -> Steps:
    """The dribble is picked up and the ball held: too long, or just not."""
    stage = play.stage
    calm(play)
    yield from retreat_dribble(play, 0, 1.4)
    began = stage.t_s
    stage.pick_up()
    stage.stay(0)
    held = play.number("held_s")
    yield from stage.wait(max(held - 0.22, 0.05))
    if play.quality is not Quality.NEAR_MISS:
        play.did("dead_dribble", {"handler": 0}, t_s=began, start_s=began, end_s=stage.t_s)
    yield from stage.pass_to(1)
    yield from stage.wait(0.5)
    yield from stage.pass_to(3)
    yield from stage.wait(0.3)
    yield from shot(play, "jump_shot")


def handoff(play: Play) -> Steps:
    """A handoff to a man who comes, from one who stands or dribbles at him; or he only runs by."""
    stage, floor, rng = play.stage, play.floor, play.stage.rng
    way = play.word("way")
    calm(play)
    giver, taker = 0, 1
    if way == "stands":
        big = floor.elbow(1) + np.array([5.0, 1.0])
        stage.go(3, big, 9.0)
        yield from retreat_dribble(play, 0, 0.8)
        yield from arrive(play, [3])
        yield from stage.pass_to(3)
        giver = 3
        stage.stay(3)
        stage.go(0, floor.slot(-1), 8.0)
        yield from stage.wait(0.5)
    else:
        yield from retreat_dribble(play, 0, 0.8)
    meet = stage.position[giver] * 1.0
    if way != "stands":
        meet = stage.position[giver] * 0.55 + stage.position[taker] * 0.45
        stage.dribble()
        stage.go(giver, meet, 9.0)
    play.stage.pair_gap[(giver, taker)] = 1.9
    ahead = np.array([2.0, -1.0])
    stage.go(taker, lambda: stage.position[giver] + ahead, 12.0)
    yield from stage.until(lambda: stage.gap(giver, taker) < 3.4, 3.0)
    if play.quality is Quality.NEAR_MISS:
        stage.go(taker, np.array([floor.arc_ft + 2.0, -6.0]), 12.0)
        yield from stage.wait(0.8)
        stage.dribble()
        yield from stage.wait(0.6)
    else:
        stage.go(taker, stage.position[giver] + np.array([3.0, -7.0]), 10.0, stops=False)
        yield from stage.handoff(taker)
        play.did("handoff", {"giver": giver, "receiver": taker}, start_s=stage.t_s - 0.2)
        stage.dribble()
        yield from stage.wait(0.4)
        stage.go(giver, floor.elbow(1) if giver == 3 else floor.wing(1), 8.0)
    yield from stage.wait(float(rng.uniform(0.4, 0.8)))
    yield from shot(play, "jump_shot")


def lost_ball(play: Play) -> Steps:
    """A pass is picked off, or the other team gets the rebound, or the shooter's own does."""
    stage, defence, rng = play.stage, play.defence, play.stage.rng
    way = play.word("way")
    calm(play)
    yield from retreat_dribble(play, 0, float(rng.uniform(0.6, 1.2)))
    yield from stage.pass_to(1)
    yield from stage.wait(float(rng.uniform(0.5, 1.0)))
    if way == "turnover":
        thief = defence.guard_of(0)
        lane = (stage.position[1] + stage.position[0]) / 2
        defence.order(thief, Order.PLACE, lane)
        yield from stage.near(thief, lane, 1.2, 2.0)
        moment = stage.t_s
        yield from stage.stolen(thief)
        play.did("turnover", {"loser": 1, "taker": thief}, t_s=moment + 0.2)
        yield from stage.wait(1.0)
        return
    yield from stage.pass_to(3)
    yield from stage.wait(0.3)
    crasher = 4
    stage.go(crasher, np.array([4.0, -6.0]), 12.0)
    yield from arrive(play, [crasher], 2.0)
    yield from stage.shoot(style="jump_shot", made=False)
    spot = np.array([3.5, -2.5]) + rng.normal(0, 0.5, 2)
    stage.go(crasher, spot, 13.0)
    yield from stage.loose_to(crasher, 0.9, made=False)
    play.did("rebound", {"rebounder": crasher}, by="attack")
    stage.marks["end_s"] = stage.t_s
    yield from stage.wait(0.6)


def post_up(play: Play) -> Steps:
    """The big posts up on the ball's side and gets it; or he only passes through."""
    stage, floor, defence = play.stage, play.floor, play.defence
    way = play.word("way")
    calm(play)
    guard = defence.guard_of(3)
    spot = {
        "block": floor.block(1), "short_corner": floor.short_corner(1),
        "mid_post": np.array([7.6, floor.half_lane_ft + 0.8]), "through": floor.block(1),
    }[way]  # fmt: skip
    yield from retreat_dribble(play, 0, 0.5)
    stage.go(3, floor.elbow(1), 11.0)
    yield from stage.pass_to(1)
    yield from arrive(play, [3], 3.0)
    if way == "through":
        yield from cut_through(play, 3, [spot, np.array([0.0, 0.0]), floor.corner(-1)])
        stage.go(4, floor.wing(-1), 9.0)
        yield from stage.wait(0.5)
        yield from shot(play, "jump_shot")
        return
    defence.order(guard, Order.POST)
    stage.pair_gap[(3, guard)] = 1.9
    stage.restless_ft[[3, guard]] = 0.1, 0.2
    stage.go(3, spot, 9.0)
    stage.go(4, floor.wing(-1) + np.array([4.0, 2.0]), 8.0)
    yield from stage.near(3, spot, 1.0, 3.0)
    began = stage.t_s
    stage.pose(3, "post_up", 2.2)
    stage.pose(guard, "post_defend", 2.5)
    stage.look[3] = lambda: stage.position[1]
    yield from stage.wait(play.number("sealed_s"))
    stage.look.pop(3, None)
    yield from stage.pass_to(3)
    stage.start(stage.run(1, [floor.slot(1)], 8.0))
    yield from stage.wait(0.5)
    play.did("post_up", {"poster": 3}, start_s=began, t_s=began, end_s=stage.t_s)
    stage.dribble()
    stage.go(3, spot * 0.8, 4.0)
    yield from stage.wait(0.8)
    stage.go(3, spot * 0.55, 8.0)
    yield from stage.wait(0.35)
    yield from shot(play, "jump_shot")


def cut_through(play: Play, body: int, way: list[np.ndarray]) -> Steps:
    """Run through places without a stop; no deed."""
    yield from play.stage.run(body, way, 12.0, near_ft=1.5)


def isolation(play: Play) -> Steps:
    """A clear side for one man; or a mate stays too near for that."""
    stage, floor, rng = play.stage, play.floor, play.stage.rng
    calm(play)
    near = play.quality is Quality.NEAR_MISS
    spot = floor.wing(1) + np.array([5.0, -3.0])
    park(play, {0: spot, 1: floor.slot(-1), 3: floor.corner(-1), 4: floor.wing(-1) + np.array([9.0, 3.0])}, 10.0)
    stage.go(2, floor.wing(-1), 8.0)
    if near:
        stage.go(1, spot + np.array([-6.0, 5.0]), 9.0)
    stage.dribble()
    yield from arrive(play, [0, 1, 3], 2.0, 3.5)
    began = stage.t_s
    yield from retreat_dribble(play, 0, play.number("held_s"))
    side = -1 if rng.random() < 0.5 else 1
    play.defence.freeze(play.defence.guard_of(0), 0.4)
    if not near:
        play.did("isolation", {"handler": 0}, start_s=began, t_s=began, end_s=stage.t_s)
    yield from stage.run_past(0, stage.position[0] + np.array([-5.0, 3.5 * side]), 15.5, 2.4)
    yield from _to_the_ring(play, 0, play.number("depth_ft"))


def _to_the_ring(play: Play, body: int, depth_ft: float) -> Steps:
    stage = play.stage
    began = stage.t_s
    aim = unit(stage.position[body]) * depth_ft
    stage.go(body, aim, 16.5)
    yield from stage.near(body, aim, 1.8, 2.5)
    if depth_ft < 11 and stage.distance(body, np.zeros(2)) < 12.5:
        play.did("drive", {"handler": body}, t_s=began - 0.3, start_s=began)
    yield from finish_drive(play, body, str(stage.rng.choice(["lay_up", "jump_shot", "kick_out"])))


def short_drive(play: Play) -> Steps:
    """A few hard steps and a stop well outside: no drive."""
    stage, rng = play.stage, play.stage.rng
    calm(play)
    yield from retreat_dribble(play, 0, float(rng.uniform(0.6, 1.0)))
    stage.stay(0)
    stage.go(0, stage.position[0] + np.array([-5.5, float(rng.uniform(-1.5, 1.5))]), 13.0)
    yield from stage.wait(0.9)
    stage.stay(0)
    yield from stage.pass_to(2)
    yield from stage.wait(0.4)
    yield from shot(play, "jump_shot")


def straight_drive(play: Play) -> Steps:
    """The point goes by his man to the ring."""
    if play.quality is Quality.NEAR_MISS:
        yield from short_drive(play)
        return
    stage = play.stage
    calm(play)
    yield from retreat_dribble(play, 0, 0.7)
    side = 1 if stage.rng.random() < 0.5 else -1
    play.defence.freeze(play.defence.guard_of(0), 0.35)
    yield from stage.run_past(0, stage.position[0] + np.array([-5.0, 4.0 * side]), 15.5, 2.2)
    yield from _to_the_ring(play, 0, play.number("depth_ft"))


def denied(play: Play) -> Steps:
    """The wing is denied and cuts behind; or his man gives him room."""
    stage, floor, defence = play.stage, play.floor, play.defence
    calm(play)
    guard = defence.guard_of(1)
    park(play, {3: floor.corner(-1), 4: floor.slot(-1)}, 10.0)
    near = play.quality is Quality.NEAR_MISS
    stage.look[0] = lambda: stage.position[1]
    stage.dribble()
    stage.go(0, floor.slot(1) + np.array([1.0, -4.0]), 7.0)
    began = stage.t_s
    if near:
        defence.duties[guard].sag = 1.5
        yield from stage.wait(play.number("lasted_s") + 0.6)
    else:
        defence.order(guard, Order.DENY)
        yield from stage.wait(play.number("lasted_s") + 0.6)
        play.did("denial", {"receiver": 1}, start_s=began + 0.6, t_s=began + 0.6, end_s=stage.t_s)
    stage.look.pop(0, None)
    if near or play.word("way") == "away":
        yield from stage.pass_to(2)
    else:
        defence.freeze(guard, 0.3)
        yield from cut_and_catch(play, 1, [np.array([9.0, 13.0]), np.array([2.0, 2.5])], "back_cut", 15.5)
    yield from stage.wait(0.3)
    assert stage.holder is not None
    yield from shot(play, "lay_up" if stage.distance(stage.holder, np.zeros(2)) < 8 else "jump_shot")


PASSING = Script(
    "passing", perimeter_spots, passing,
    dials=(Choice("way", ("reversal", "skip", "kick_out", "return", "post_entry")),), qualities=(Quality.GOOD,),
    checked=True,
)  # fmt: skip
DEAD_DRIBBLE = Script(
    "dead_dribble", perimeter_spots, dead_dribble,
    dials=(Dial("held_s", good=(0.9, 1.2), bad=(1.3, 2.2), near=(0.3, 0.5)),), qualities=_ALL, checked=True,
)  # fmt: skip
HANDOFF = Script(
    "handoff", perimeter_spots, handoff, dials=(Choice("way", ("dribbles_at", "stands")),),
    qualities=(Quality.GOOD, Quality.NEAR_MISS), checked=True,
)  # fmt: skip
LOST_BALL = Script(
    "lost_ball", perimeter_spots, lost_ball, dials=(Choice("way", ("turnover", "own_rebound")),),
    qualities=(Quality.GOOD,), checked=True,
)  # fmt: skip
POST_UP = Script(
    "post_up", perimeter_spots, post_up,
    dials=(
        Choice("way", ("block", "short_corner", "mid_post"), near=("through",)),
        Dial("sealed_s", good=(0.6, 1.1), bad=(1.2, 2.0)),
    ),
    qualities=_ALL, checked=True,
)  # fmt: skip
ISOLATION = Script(
    "isolation", perimeter_spots, isolation,
    dials=(Dial("held_s", good=(3.6, 4.6), bad=(4.6, 6.0)), Dial("depth_ft", good=(4.0, 8.0))),
    qualities=_ALL, checked=True,
)  # fmt: skip
STRAIGHT_DRIVE = Script(
    "straight_drive", perimeter_spots, straight_drive, dials=(Dial("depth_ft", good=(4.0, 9.0)),),
    qualities=(Quality.GOOD, Quality.NEAR_MISS), checked=True,
)  # fmt: skip
DENIED = Script(
    "denied", perimeter_spots, denied,
    dials=(Choice("way", ("back_cut", "away")), Dial("lasted_s", good=(0.9, 1.4), bad=(1.4, 2.4))),
    qualities=_ALL, checked=True,
)  # fmt: skip
BALL_SCRIPTS = (PASSING, DEAD_DRIBBLE, HANDOFF, LOST_BALL, POST_UP, ISOLATION, STRAIGHT_DRIVE, DENIED)
