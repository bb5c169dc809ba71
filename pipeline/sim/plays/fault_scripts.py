"""One script for every spacing and timing fault, with near misses just on the right side of its threshold.

In a bad run the fault must be in the paths, in a near miss it must not.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.sim.plays.ball_screens import DrivePlan, ball_screen_drive
from pipeline.sim.plays.cut_scripts import give_and_shoot, zipper_off
from pipeline.sim.plays.defence import Coverage, Order, Route
from pipeline.sim.plays.execution import Quality
from pipeline.sim.plays.moves import arrive, calm, park
from pipeline.sim.plays.off_ball_scripts import come_off, screen_for, stay_near
from pipeline.sim.plays.on_ball_scripts import bring_screen, left_early, off_screen, use_screen
from pipeline.sim.plays.parts import release_screen, retreat_dribble, scattered, set_screen, shot
from pipeline.sim.plays.places import Places
from pipeline.sim.plays.script import Choice, Dial, Play, Script, Spots
from pipeline.sim.plays.stage import Steps

_BAD_AND_NEAR = (Quality.BAD, Quality.NEAR_MISS)


def _wide_spots(floor: Places, rng: np.random.Generator) -> np.ndarray:
    return scattered([floor.top(), floor.wing(1), floor.wing(-1), floor.corner(1), floor.corner(-1)], rng)


def _far_spots(floor: Places, rng: np.random.Generator) -> np.ndarray:
    return scattered([np.array([35.5, 0.0]), floor.wing(1), floor.wing(-1), floor.corner(1), floor.corner(-1)], rng)


def _big_spots(floor: Places, rng: np.random.Generator) -> np.ndarray:
    return scattered([floor.top(), floor.corner(1), floor.wing(-1), floor.elbow(1), floor.corner(-1)], rng)


def judge(play: Play, fault: str) -> None:
    """The fault must come in a bad run and must not in a near miss."""
    (play.spared if play.quality is Quality.NEAR_MISS else play.faults).add(fault)


def _swing_and_shoot(play: Play, to: int) -> Steps:
    stage = play.stage
    if stage.holder is not None and stage.holder != to:
        yield from stage.pass_to(to)
    yield from stage.wait(0.4)
    yield from shot(play, "jump_shot")


def screen_into_traffic(play: Play) -> Steps:
    """Three who stand in the way as the corner is turned, or a screen in the paint at the same time; or only two."""
    stage, defence, rng = play.stage, play.defence, play.stage.rng
    calm(play)
    judge(play, "screen_into_traffic")
    if play.word("way") == "overlap":
        yield from _overlap(play)
        return
    bodies = 3 if play.quality is Quality.BAD else 1
    side = 1
    defence.helps = False
    tag, big, far = defence.guard_of(2), defence.guard_of(3), defence.guard_of(4)
    spots = [np.array([9.0, 1.5]), np.array([6.0, -3.0]), np.array([13.0, -2.0])]
    away = [np.array([2.0, -18.0]), np.array([22.0, -17.0]), np.array([1.0, -19.0])]
    yield from retreat_dribble(play, 0, float(rng.uniform(0.5, 0.9)))
    for k, defender in enumerate((tag, far, big)):
        defence.order(defender, Order.PLACE, spots[k] if k < bodies else away[k])
        stage.restless_ft[defender] = 0.2
    defence.order(defence.guard_of(1), Order.PLACE, stage.position[1] + np.array([0.5, -1.0]))
    began = stage.t_s
    yield from bring_screen(play, 0, 3, side, 2.2)
    yield from stage.wait(0.2)
    stage.go(0, stage.position[0] + np.array([-0.4, -2.2 * side]), 8.0)
    yield from stage.wait(0.4)
    guard = defence.guard_of(0)
    defence.freeze(guard, 1.6)
    yield from stage.run_past(0, stage.position[3] + np.array([1.2, 2.2 * side]), 14.0)
    play.did("on_ball_screen", {"handler": 0, "screener": 3}, start_s=began, slipped="no")
    stage.go(0, np.array([11.0, 3.5]), 14.0)
    yield from stage.wait(0.9)
    play.did("corner_turned", {"handler": 0}, t_s=stage.t_s - 0.5)
    release_screen(play, 3)
    stage.stay(0)
    yield from stage.wait(0.25)
    yield from _swing_and_shoot(play, 2)


def _overlap(play: Play) -> Steps:
    """An off-ball screen in the paint as the ball screen is used; in the near miss three seconds later."""
    stage, floor = play.stage, play.floor
    near = play.quality is Quality.NEAR_MISS
    park(play, {1: np.array([3.6, floor.half_lane_ft - 1.5]), 2: np.array([4.0, -floor.half_lane_ft - 1.0])}, 11.0)
    stay_near(play, [1], 0.5)
    yield from retreat_dribble(play, 0, 0.6)
    yield from arrive(play, [1, 2])
    began = stage.t_s
    if near:
        yield from bring_screen(play, 0, 3, 1, 2.2)
        yield from use_screen(play, 0, 3, 1, coverage=Coverage.OVER, began=began, slipped="no")
        release_screen(play, 3)
        stage.go(0, floor.wing(1) + np.array([4.0, 0.0]), 11.0)
        stage.go(3, floor.top(), 9.0)
        yield from arrive(play, [0], 2.0)
        yield from stage.wait(1.0)
        yield from _cross(play)
    else:
        stage.start(_later(play, 0.5, _cross(play)))
        yield from bring_screen(play, 0, 3, 1, 2.2)
        yield from stage.until(lambda: stage.marks.get("crossing", 0.0) > 0, 2.5)
        yield from use_screen(play, 0, 3, 1, coverage=Coverage.OVER, began=began, slipped="no")
        release_screen(play, 3)
        stage.go(0, floor.wing(1) + np.array([4.0, 0.0]), 11.0)
    yield from stage.wait(1.2)
    stage.stay(0)
    yield from _swing_and_shoot(play, 1 if near else 4)


def _later(play: Play, seconds: float, steps: Steps) -> Steps:
    yield from play.stage.wait(seconds)
    yield from steps


def _cross(play: Play) -> Steps:
    stage, floor = play.stage, play.floor
    began = stage.t_s
    target = np.array([3.6, -floor.half_lane_ft - 1.0])
    yield from screen_for(play, 2, 1, target, 2.1, set_up=np.array([-0.4, 1.6]))
    stage.marks["crossing"] = 1.0
    yield from come_off(
        play, 1, 2, np.array([-2.5, 0.2]), [target], route=Route.HIGH, lag_s=0.4, began=began, speed_ft_s=13.0,
        type="cross", group="single",
    )  # fmt: skip
    release_screen(play, 2)
    stage.go(2, floor.corner(1), 10.0)


def pushed_out_catch(play: Play) -> Steps:
    """The wing catches far beyond the line, or at the line extended."""
    stage, floor = play.stage, play.floor
    calm(play)
    judge(play, "pushed_out_catch")
    far = play.number("catch_ft")
    share = float(np.interp(far, [21.0, 25.0, 28.0, 33.0], [0.58, 0.6, 0.7, 0.78]))
    spot = far * np.array([share, np.sqrt(1 - share * share)])
    spot[1] = min(spot[1], floor.half_width_ft - 1.6)
    spot[0] = np.sqrt(max(far * far - spot[1] ** 2, 1.0))
    if far > 28 and play.word("denied") == "yes":
        play.defence.order(play.defence.guard_of(1), Order.DENY)
    yield from retreat_dribble(play, 0, 0.5)
    stage.restless_ft[1] = 0.0
    yield from stage.run(1, [stage.position[1] + np.array([-3.0, -3.0]), spot], 11.0)
    yield from stage.until(lambda: stage.distance(1, spot) < 0.5, 1.2)
    stage.stay(0)
    yield from stage.pass_to(1)
    yield from stage.wait(0.6)
    yield from _swing_and_shoot(play, 3)


def stalled_ball(play: Play) -> Steps:
    """The ball is held at the slot without a dribble, too long or just not, then passed."""
    stage, floor = play.stage, play.floor
    calm(play)
    judge(play, "stalled_ball")
    stage.go(1, floor.slot(1), 9.0)
    stage.go(0, floor.slot(-1) + np.array([0.0, -3.0]), 9.0)
    stage.go(3, floor.wing(1), 9.0)
    stage.dribble()
    yield from arrive(play, [0, 1])
    yield from stage.pass_to(1)
    stage.stay(1)
    stage.restless_ft[1] = 0.1
    yield from stage.wait(max(play.number("held_s") - 0.22, 0.1))
    yield from stage.pass_to(3)
    yield from stage.wait(0.5)
    yield from shot(play, "jump_shot")


def post_up_without_movement(play: Play) -> Steps:
    """The big posts up and nobody moves; or one of the others goes through."""
    stage, floor, defence = play.stage, play.floor, play.defence
    calm(play, attack_ft=0.25)
    judge(play, "post_up_without_movement")
    guard = defence.guard_of(3)
    spot = floor.block(1)
    park(play, {1: floor.wing(1), 4: floor.corner(-1), 2: floor.wing(-1), 0: floor.top()}, 9.0)
    yield from retreat_dribble(play, 0, 0.4)
    yield from stage.pass_to(1)
    defence.order(guard, Order.POST)
    stage.pair_gap[(3, guard)] = 1.9
    stage.restless_ft[[3, guard]] = 0.05, 0.2
    yield from arrive(play, [0, 1, 2, 4], 1.0)
    yield from stage.wait(0.6)
    stage.go(3, spot, 11.0)
    yield from stage.near(3, spot, 1.0, 3.0)
    began = stage.t_s
    stage.pose(3, "post_up", 2.2)
    stage.pose(guard, "post_defend", 3.0)
    moves = play.quality is Quality.NEAR_MISS
    yield from stage.wait(0.9)
    if moves:
        stage.start(stage.run(2, [np.array([18.0, -6.0]), np.array([19.5, -15.5])], 9.5))
    yield from stage.pass_to(3)
    yield from stage.wait(play.number("held_s"))
    play.did("post_up", {"poster": 3}, start_s=began, t_s=began, end_s=stage.t_s)
    stage.dribble()
    stage.go(3, spot * 0.55, 7.0)
    yield from stage.wait(0.4)
    yield from shot(play, "jump_shot")


def wasted_cutter(play: Play) -> Steps:
    """The screener goes to the corner and is forgotten; or he gets the ball there, or moves on to the wing."""
    stage, floor = play.stage, play.floor
    calm(play)
    judge(play, "wasted_cutter")
    stay_near(play, [1])
    yield from retreat_dribble(play, 0, 0.4)
    park(play, {1: floor.block(1), 0: floor.slot(-1), 4: floor.wing(-1), 2: floor.corner(-1)}, 10.0)
    yield from arrive(play, [1, 0])
    began = stage.t_s
    yield from screen_for(play, 3, 1, np.array([14.0, 14.0]), 2.2, set_up=np.array([-2.0, -2.0]))
    way = play.word("way")
    end = np.array([17.0, 15.0]) if way == "passed_to" else floor.slot(1)
    stage.start(_leave(play, 3, 1, floor.corner(1) if way != "to_wing" else floor.wing(1)))
    yield from come_off(
        play, 1, 3, np.array([0.8, 2.1]), [end], route=Route.TRAIL, lag_s=0.4, began=began,
        type="down", group="single",
    )  # fmt: skip
    if way == "passed_to":
        yield from stage.pass_to(3, style="overhead_pass", speed_ft_s=40.0)
        yield from stage.wait(1.4)
    else:
        yield from stage.pass_to(1)
        yield from stage.wait(0.9)
        stage.dribble()
        yield from stage.wait(2.2)
    yield from shot(play, "jump_shot")


def _leave(play: Play, screener: int, cutter: int, spot: np.ndarray) -> Steps:
    """Once the cutter is by, the screener goes his way."""
    stage = play.stage
    yield from stage.until(lambda: stage.gap(screener, cutter) < 3.2, 3.0)
    yield from stage.until(lambda: stage.gap(screener, cutter) > 4.5, 1.0)
    release_screen(play, screener)
    stage.restless_ft[screener] = 0.2
    stage.go(screener, spot, 12.0)


def twins(play: Play) -> Steps:
    """Two on the perimeter stand together; or just far enough apart."""
    stage, floor = play.stage, play.floor
    calm(play, attack_ft=0.15)
    judge(play, "twins")
    apart = play.number("apart_ft")
    wing = floor.wing(1)
    mate = wing + apart * np.array([-np.cos(0.35), np.sin(0.35)]) * np.array([1.0, 0.4])
    mate = wing + (mate - wing) / np.hypot(*(mate - wing)) * apart
    if np.hypot(*mate) < 17.5:
        mate = wing + apart * np.array([0.95, -0.3]) / np.hypot(0.95, 0.3)
    stage.go(1, wing, 9.0)
    stage.go(3, mate, 9.0)
    stage.go(4, floor.corner(-1), 9.0)
    stage.go(0, floor.slot(-1), 8.0)
    stage.dribble()
    yield from arrive(play, [1, 3, 0], 0.6)
    yield from stage.wait(play.number("lasted_s") * 0.6)
    yield from stage.pass_to(2)
    yield from stage.wait(play.number("lasted_s") * 0.6)
    yield from shot(play, "jump_shot")


def dead_dribble_early(play: Play) -> Steps:
    """The dribble dies before the screener is there; or just after he is set."""
    stage, defence = play.stage, play.defence
    calm(play)
    judge(play, "dead_dribble_early")
    yield from retreat_dribble(play, 0, 1.2)
    stage.stay(0)
    stage.restless_ft[0] = 0.1
    began = stage.t_s
    if play.quality is Quality.BAD:
        stage.pick_up()
        yield from stage.wait(play.number("early_s"))

    def heading() -> np.ndarray:
        return stage.position[0] + np.array([-1.2, 6.0])

    yield from set_screen(play, 3, defence.guard_of(0), heading, 2.2)
    stage.restless_ft[3] = 0.0
    stage.pose(3, "screen", 1.5)
    if play.quality is Quality.NEAR_MISS:
        yield from stage.wait(0.35)
        yield from use_screen(play, 0, 3, 1, coverage=Coverage.OVER, began=began, slipped="no")
        stage.pick_up()
        stage.stay(0)
    else:
        play.did("on_ball_screen", {"handler": 0, "screener": 3}, start_s=began, live_dribble="no", slipped="no")
        stage.go(0, stage.position[0] + np.array([0.5, 1.4]), 6.0)
    yield from stage.wait(0.5)
    release_screen(play, 3)
    yield from _swing_and_shoot(play, 2)


def early_or_not(play: Play) -> Steps:
    """The handler goes while the screener runs; or as soon as he stands."""
    stage = play.stage
    calm(play)
    play.defence.helps = False
    yield from retreat_dribble(play, 0, float(stage.rng.uniform(0.4, 0.8)))
    began = stage.t_s
    if play.quality is Quality.BAD:
        yield from left_early(play, 1, began)
        return
    play.spared.add("left_early")
    yield from bring_screen(play, 0, 3, 1, 2.2)
    yield from use_screen(play, 0, 3, 1, coverage=Coverage.OVER, began=began, slipped="no")
    yield from off_screen(play, 0, 3, 1)


def wide_curl(play: Play) -> Steps:
    """His man trails: a wide curl that points away from the ring, or a tight one at it."""
    stage, floor = play.stage, play.floor
    calm(play)
    play.defence.helps = False
    judge(play, "wide_curl")
    park(play, {1: np.array([3.5, floor.half_lane_ft]), 3: floor.elbow(1) + np.array([3.0, 0.0])}, 11.0)
    park(play, {0: floor.slot(-1), 2: floor.wing(-1), 4: floor.corner(-1)}, 9.0)
    yield from retreat_dribble(play, 0, 0.5)
    yield from arrive(play, [1, 3])
    yield from stage.wait(0.4)
    end = "wide" if play.quality is Quality.BAD else "curl"
    yield from zipper_off(play, 1, 3, end, route=Route.TRAIL, lag_s=play.number("lag_s"), contact_ft=2.2)
    stage.go(3, floor.corner(1), 8.0)
    yield from give_and_shoot(play, 1)


def overloaded_side(play: Play) -> Steps:
    """Four on the ball's side; or the fourth stands in the middle."""
    stage, floor = play.stage, play.floor
    calm(play, attack_ft=0.3)
    judge(play, "overloaded_side")
    fourth = (
        floor.slot(1) + np.array([1.0, -1.0]) if play.quality is Quality.BAD else np.array([floor.arc_ft + 3.6, 0.0])
    )
    park(play, {1: floor.wing(1), 3: floor.corner(1), 4: floor.block(1), 0: fourth, 2: floor.wing(-1)}, 10.0)
    stage.dribble()
    yield from arrive(play, [0, 3, 4])
    yield from stage.pass_to(1)
    stage.dribble()
    stage.restless_ft[1] = 0.4
    yield from stage.wait(play.number("lasted_s"))
    yield from stage.pass_to(3)
    yield from stage.wait(0.4)
    yield from shot(play, "jump_shot")


def shrunk_spacing(play: Play) -> Steps:
    """The attackers stand together as the ball comes in; or spread just enough."""
    stage, defence = play.stage, play.defence
    calm(play, attack_ft=0.3, defence_ft=0.4)
    judge(play, "shrunk_spacing")
    defence.helps = False
    small = play.quality is Quality.BAD
    reach = play.number("reach")
    if small:
        spots = {
            1: np.array([13.0, 12.0]),
            2: np.array([13.0, -7.0]),
            3: np.array([8.0, 10.0]),
            4: np.array([7.0, -6.0]),
        }
        wide = {
            6: np.array([16.0, 16.0]),
            7: np.array([15.0, -14.0]),
            8: np.array([2.0, 13.0]),
            9: np.array([1.0, -12.0]),
        }
        for d, spot in wide.items():
            defence.order(d, Order.PLACE, spot * np.array([1.0, reach]))
    else:
        spots = {
            1: np.array([15.0, 19.0]),
            2: np.array([15.0, -19.0]),
            3: np.array([3.0, 17.0]),
            4: np.array([3.0, -17.0]),
        }
    park(play, spots, 10.0)
    stage.dribble()
    yield from arrive(play, [1, 2, 3, 4], 1.2)
    yield from stage.wait(0.8)
    yield from stage.run(0, [np.array([25.0, 1.0])], 9.0)
    for d in range(5, 10):
        defence.order(d, Order.MAN)
    yield from stage.wait(0.4)
    yield from _swing_and_shoot(play, 1)


def crowded_paint(play: Play) -> Steps:
    """A ball screen driven into five or more others in the paint; or into exactly four."""
    stage, defence = play.stage, play.defence
    judge(play, "crowded_paint")
    bodies = round(play.number("bodies"))
    play.execution = replace(play.execution, coverage=Coverage.OVER, contact_ft=2.2, lag_s=0.5, bodies=bodies)
    order = [defence.guard_of(3), 4, defence.guard_of(4), defence.guard_of(2), 2, defence.guard_of(1), 1]
    yield from retreat_dribble(play, 0, float(stage.rng.uniform(0.6, 1.2)))
    stage.go(3, stage.position[0] * 0.8, 9.0)
    side = -1 if stage.position[0][1] > 4 else 1
    plan = DrivePlan(0, 3, side, tuple(order[:bodies]), (8.5, 1.2 * side), "kick_out")
    yield from ball_screen_drive(play, plan)


def _drive_spots(floor: Places, rng: np.random.Generator) -> np.ndarray:
    handler = floor.slot(1) if rng.random() < 0.5 else floor.wing(1, out_ft=2.0) + np.array([4.0, 0.0])
    spots = [handler, floor.corner(1), floor.wing(-1), floor.elbow(1) + np.array([1.0, 1.0]), floor.block(-1)]
    return scattered(spots, rng)


def _fault(name: str, spots: Spots, steps, *dials) -> Script:  # type: ignore[no-untyped-def]
    return Script(f"fault_{name}", spots, steps, dials=dials, qualities=_BAD_AND_NEAR, checked=True)


FAULT_SCRIPTS = (
    _fault("crowded_paint", _drive_spots, crowded_paint, Dial("bodies", (2, 2), bad=(4.6, 6.4), near=(4, 4))),
    _fault("screen_into_traffic", _big_spots, screen_into_traffic, Choice("way", ("bodies", "overlap"))),
    _fault(
        "pushed_out_catch", _wide_spots, pushed_out_catch,
        Choice("denied", ("yes", "no")), Dial("catch_ft", (21.5, 24.0), bad=(28.8, 31.5), near=(25.5, 27.1)),
    ),
    _fault("stalled_ball", _wide_spots, stalled_ball, Dial("held_s", (0.5, 1.5), bad=(2.8, 3.8), near=(1.7, 2.1))),
    _fault(
        "post_up_without_movement", _wide_spots, post_up_without_movement,
        Dial("held_s", (0.6, 1.0), bad=(1.3, 2.0), near=(1.3, 2.0)),
    ),
    _fault("wasted_cutter", _big_spots, wasted_cutter, Choice("way", ("to_corner",), near=("passed_to", "to_wing"))),
    _fault(
        "twins", _wide_spots, twins,
        Dial("apart_ft", (14.0, 18.0), bad=(5.5, 6.9), near=(9.5, 10.8)), Dial("lasted_s", (2.0, 2.6)),
    ),
    _fault("dead_dribble_early", _big_spots, dead_dribble_early, Dial("early_s", (0.0, 0.0), bad=(0.1, 0.7))),
    _fault("left_early", _big_spots, early_or_not),
    _fault("wide_curl", _big_spots, wide_curl, Dial("lag_s", (0.35, 0.55))),
    _fault("overloaded_side", _wide_spots, overloaded_side, Dial("lasted_s", (2.8, 3.6))),
    _fault("shrunk_spacing", _far_spots, shrunk_spacing, Dial("reach", (1.0, 1.1))),
)  # fmt: skip
"""One script per fault of the glossary."""
