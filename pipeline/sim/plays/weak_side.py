"""The weak-side motion set with its endings and counters.

Written for an entry to the right. The point passes to the wing and loops by way of the high post to the weak side;
the ball is reversed through the top; the far wing screens across for the post; the point gets the ball back on the
weak-side wing. Then one of the endings, or before it one of the counters. Role names are those of the set file.
"""

from __future__ import annotations

import numpy as np

from pipeline.sim.plays.cut_scripts import zipper_off
from pipeline.sim.plays.defence import Coverage, Order, Route
from pipeline.sim.plays.execution import Quality
from pipeline.sim.plays.moves import arrive, calm, cut_along, cut_and_catch
from pipeline.sim.plays.off_ball_scripts import come_off, screen_for, stay_near
from pipeline.sim.plays.on_ball_scripts import bring_screen, use_screen
from pipeline.sim.plays.parts import release_screen, retreat_dribble, scattered, set_screen, shot
from pipeline.sim.plays.places import Places
from pipeline.sim.plays.script import Choice, Dial, Play, Script
from pipeline.sim.plays.stage import Steps

GUARD, WING, WEAK, TOP, POST = range(5)
ROLES = {"guard": GUARD, "wing": WING, "weak": WEAK, "top": TOP, "post": POST}
_AFTER_RETURN = (
    "post_entry", "zipper_straight", "zipper_curl", "zipper_fade", "side_ball_screen", "re_screen", "top_ball_screen",
    "change_of_direction",
)  # fmt: skip
_COUNTERS = ("back_cut", "handoff_other_way", "direct_zipper", "big_zippers")
_POOR = ("post_entry", "zipper_wide", "zipper_trailed", "zipper_fade", "iced", "dead_ball_screen", "top_ball_screen")
_NEAR = ("no_cross", "no_return", "no_loop")


def return_catch_uv(distance_ft: float) -> np.ndarray:
    """Where the return pass is caught on the left wing, by its distance from the ring."""
    share = float(np.interp(distance_ft, [20.0, 25.0, 28.0, 32.0], [0.5, 0.53, 0.69, 0.76]))
    return distance_ft * np.array([share, -np.sqrt(1 - share * share)])


def weak_side_motion(play: Play) -> Steps:
    """The whole set in the way that the dial ``ending`` says."""
    stage, rng = play.stage, play.stage.rng
    ending = play.word("ending")
    calm(play, attack_ft=0.8, defence_ft=0.9)
    play.defence.helps = False
    yield from retreat_dribble(play, GUARD, float(rng.uniform(0.3, 0.8)))
    began = stage.t_s
    yield from _entry(play)
    target = play.number("post_catch_ft") * np.array([0.5, -0.87])
    at_once = ending in ("direct_zipper", "big_zippers")
    cross = _no_cross(play, target) if ending == "no_cross" else _cross(play, target)
    yield from _loop_and_reversal(play, loops=ending != "no_loop", meanwhile=None if at_once else cross)
    reversal = stage.t_s
    if at_once:
        yield from _zipper_at_once(play, ending, began)
        return
    if ending in ("back_cut", "handoff_other_way", "no_return"):
        yield from _instead_of_return(play, ending, began)
        return
    yield from _return(play, reversal)
    catch_ft, wait_s = float(np.hypot(*stage.position[GUARD])), stage.marks["wait_s"]
    yield from stage.until(lambda: cross not in stage.tasks, 2.5)
    dials = {"return_catch": catch_ft, "top_wait": wait_s}
    if ending in ("no_cross", "no_loop"):
        play.played(NAME, ROLES, start_s=began, missing=(ending.removeprefix("no_"),), realised=dials)
        yield from stage.wait(0.5)
        yield from shot(play, "jump_shot")
        return
    yield from stage.wait(0.25)
    yield from _ENDINGS[ending](play, target)
    play.played(NAME, ROLES, start_s=began, ending=_NAMES.get(ending, ending), realised=dials)
    if stage.holder is not None:
        yield from shot(play, "jump_shot")


def _entry(play: Play) -> Steps:
    stage, floor = play.stage, play.floor
    play.defence.order(play.defence.guard_of(POST), Order.POST)
    away = stage.position[WING] + np.array([-3.0, -2.5])
    stage.start(stage.run(WING, [away, play.jitter(floor.wing(1), 0.4)], 12.0))
    yield from stage.wait(0.75)
    yield from stage.pass_to(WING)
    play.did("pass", {"passer": GUARD, "receiver": WING}, type="wing_entry")


def _loop_and_reversal(play: Play, *, loops: bool, meanwhile: Steps | None) -> Steps:
    """The passer loops (or only fades to the near side), the far wing drops, the ball goes to the top."""
    stage, floor, rng = play.stage, play.floor, play.stage.rng
    away = np.array([10.5, -16.5])
    if loops:
        high_post = np.array([floor.line_u_ft + 1.5, 1.0]) + rng.normal(0, 0.4, 2)
        way = [high_post, np.array([floor.line_u_ft - 1.5, -8.5]), away]
        stage.start(cut_along(play, GUARD, way, "loop_cut", float(rng.uniform(13.0, 15.0))))
    else:
        stage.go(TOP, floor.slot(-1), 8.0)
        stage.start(
            stage.run(GUARD, [floor.top(out_ft=6.0), floor.slot(-1), floor.wing(-1) + np.array([2.0, 0.0])], 13.0)
        )
    stage.go(TOP, play.jitter(floor.top(), 0.5), 10.0)
    yield from stage.wait(float(rng.uniform(0.45, 0.7)))
    stage.go(WEAK, np.array([floor.line_u_ft - 7.5, -floor.half_lane_ft - 1.0]), 11.0)
    yield from stage.until(lambda: stage.position[GUARD][1] < -4.0, 3.0)
    yield from stage.near(TOP, floor.top(), 2.5, 2.0)
    if meanwhile is not None:
        stage.start(meanwhile)
    yield from stage.pass_to(TOP)
    play.did("pass", {"passer": WING, "receiver": TOP}, type="reversal")


def _cross(play: Play, target: np.ndarray) -> Steps:
    """The far wing screens across the lane; the post goes where his defender did not."""
    stage, defence = play.stage, play.defence
    route = Route(play.word("route"))
    began = stage.t_s
    yield from screen_for(
        play, WEAK, POST, target + np.array([1.0, 0.0]), play.number("contact_ft"), set_up=np.array([-0.5, 1.8])
    )
    high = (route is Route.LOW) != (play.word("read") == "wrong")
    by = np.array([2.5, 0.2]) if high else np.array([-2.5, 0.2])
    yield from come_off(
        play, POST, WEAK, by, [target], route=route, lag_s=play.number("lag_s"), began=began, speed_ft_s=13.0,
        type="cross", group="single",
    )  # fmt: skip
    release_screen(play, WEAK)
    stage.go(WEAK, np.array([4.0, play.floor.half_lane_ft - 1.0]), 7.0)
    defence.order(defence.guard_of(POST), Order.POST)
    stage.pair_gap[(POST, defence.guard_of(POST))] = 1.9


def _no_cross(play: Play, target: np.ndarray) -> Steps:
    """The post comes across by himself; the far wing waits outside the lane."""
    stage, defence = play.stage, play.defence
    stage.go(WEAK, np.array([10.0, -14.0]), 8.0)
    yield from stage.wait(0.8)
    yield from stage.run(POST, [np.array([5.0, 1.0]), target], 12.0)
    defence.order(defence.guard_of(POST), Order.POST)


def _return(play: Play, reversal: float) -> Steps:
    """The top waits, then passes back to the point on the weak-side wing."""
    stage, defence = play.stage, play.defence
    catch = return_catch_uv(play.number("return_catch_ft"))
    if play.quality is Quality.BAD:
        defence.order(defence.guard_of(GUARD), Order.DENY)
    wait = play.number("top_wait_s")
    stage.restless_ft[GUARD] = 0.3
    yield from stage.wait(max(wait - 1.6, 0.0))
    stage.go(GUARD, catch, 13.0)
    left = reversal + wait - 0.22 - stage.t_s
    yield from stage.wait(max(left, 0.0))
    stage.marks["wait_s"] = stage.t_s + 0.22 - reversal
    yield from stage.pass_to(GUARD)
    play.did("pass", {"passer": TOP, "receiver": GUARD}, returned="yes")
    defence.order(defence.guard_of(GUARD), Order.MAN)
    if play.word("ending").startswith("zipper"):
        stage.go(WING, play.floor.corner(1), 11.0)
        stage.go(TOP, play.floor.elbow(1) + np.array([3.0, 0.0]), 11.0)
    else:
        stage.go(WING, play.floor.slot(1), 8.0)


# ---- endings ---------------------------------------------------------------------------------------------------------


def _post_entry(play: Play, target: np.ndarray) -> Steps:
    stage, floor, rng = play.stage, play.floor, play.stage.rng
    guard = play.defence.guard_of(POST)
    moving = play.quality is not Quality.BAD
    yield from stage.near(POST, target, 1.5, 2.0)
    stage.restless_ft[[POST, guard]] = 0.1, 0.2
    stage.stay(POST)
    began = stage.t_s
    stage.pose(POST, "post_up", 1.6)
    stage.pose(guard, "post_defend", 3.0)
    if moving:
        stage.start(stage.run(WEAK, [np.array([12.0, 7.5]), floor.wing(1)], 10.0))
    yield from stage.wait(0.6)
    yield from stage.pass_to(POST, style="overhead_pass" if rng.random() < 0.5 else "chest_pass", speed_ft_s=30.0)
    play.did("pass", {"passer": GUARD, "receiver": POST}, type="post_entry")
    if moving:
        stage.start(stage.run(GUARD, [np.array([floor.line_u_ft, -3.0]), floor.slot(1)], 12.0))
    yield from stage.wait(0.7)
    play.did("post_up", {"poster": POST}, start_s=began, t_s=began, end_s=stage.t_s)
    stage.dribble()
    stage.go(POST, stage.position[POST] * 0.8, 4.5)
    yield from stage.wait(1.0 if moving else 1.6)
    stage.go(POST, stage.position[POST] * 0.6 + np.array([1.0, 0.5]), 8.0)
    yield from stage.wait(0.35)


def _zipper(play: Play, target: np.ndarray) -> Steps:
    """The far wing comes up the lane off the top's down screen; the ball comes to him."""
    del target
    stage, floor = play.stage, play.floor
    ending = play.word("ending").removeprefix("zipper_")
    stage.dribble()
    stage.go(WING, floor.corner(1), 11.0)
    stage.go(WEAK, np.array([3.5, floor.half_lane_ft - 1.0]), 10.0)
    stage.go(TOP, floor.elbow(1) + np.array([3.0, 0.0]), 11.0)
    yield from arrive(play, [WEAK], 2.5, 1.0)
    route = Route.TRAIL if ending in ("curl", "wide", "trailed") else Route.HIGH
    if ending == "wide":
        play.faults.add("wide_curl")
    yield from zipper_off(
        play, WEAK, TOP, "straight" if ending == "trailed" else ending, route=route,
        lag_s=play.number("lag_s"), contact_ft=play.number("contact_ft"),
    )  # fmt: skip
    stage.go(TOP, floor.elbow(1), 8.0)
    stage.stay(GUARD)
    yield from stage.pass_to(WEAK)
    yield from stage.wait(0.35)


def _ball_screen(play: Play, target: np.ndarray) -> Steps:
    """The post (or the top) screens for the point, who goes to the middle; used, set again, iced, or refused."""
    del target
    stage, floor, defence = play.stage, play.floor, play.defence
    ending = play.word("ending")
    screener = TOP if ending == "top_ball_screen" else POST
    if screener is TOP:
        stage.go(POST, floor.corner(-1) + np.array([2.0, 3.0]), 10.0)
        stage.go(WING, floor.top(), 9.0)
    stage.go(WEAK, floor.corner(1), 10.0)
    if ending == "dead_ball_screen":
        stage.dribble()
        yield from stage.wait(0.5)
        stage.pick_up()
    else:
        stage.dribble()
    began = stage.t_s
    if ending == "dead_ball_screen":
        stage.stay(GUARD)
        stage.restless_ft[GUARD] = 0.1
        yield from _screen_without_dribble(play, screener, began)
        return
    yield from bring_screen(play, GUARD, screener, 1, play.number("contact_ft"))
    yield from stage.wait(0.2)
    if ending == "iced":
        yield from _iced(play, screener, began)
        return
    if ending == "change_of_direction":
        yield from _refused(play, screener, began)
        return
    coverage = Coverage.SWITCH if play.word("route") == "switch" else Coverage.OVER
    yield from use_screen(play, GUARD, screener, 1, coverage=coverage, began=began, slipped="no")
    if ending == "re_screen":
        release_screen(play, screener)
        again = stage.t_s
        stage.go(GUARD, stage.position[GUARD] + np.array([1.0, 2.0]), 8.0)
        yield from stage.wait(0.25)
        defence.order(defence.guard_of(GUARD), Order.MAN)
        defence.order(defence.guard_of(screener), Order.MAN)
        yield from bring_screen(play, GUARD, screener, -1, 2.2)
        yield from use_screen(play, GUARD, screener, -1, coverage=Coverage.OVER, began=again, again="yes", slipped="no")
    release_screen(play, screener)
    stage.go(screener, np.array([4.0, -4.0]), 11.0)
    aim = np.array([8.0, 1.0])
    stage.go(GUARD, aim, 16.0)
    yield from stage.near(GUARD, aim, 1.8, 2.2)


def _iced(play: Play, screener: int, began: float) -> Steps:
    """His defender stands on the screen's side; he is kept on the side and gives it up."""
    stage, defence, floor = play.stage, play.defence, play.floor
    guard = defence.guard_of(GUARD)
    stage.pair_gap[(guard, screener)] = 1.9

    def high_side() -> np.ndarray:
        way = stage.position[screener] - stage.position[GUARD]
        return stage.position[GUARD] + way / max(float(np.hypot(*way)), 1e-6) * 2.6

    defence.order(guard, Order.PLACE, high_side)
    yield from stage.wait(0.75)
    play.did(
        "on_ball_screen", {"handler": GUARD, "screener": screener}, start_s=began, coverage="iced", sent="rejected",
        slipped="no",
    )  # fmt: skip
    stage.go(GUARD, stage.position[GUARD] + np.array([-7.0, 0.5]), 12.0)
    yield from stage.wait(0.7)
    defence.order(guard, Order.MAN)
    release_screen(play, screener)
    stage.go(screener, np.array([floor.line_u_ft - 2.0, -2.0]), 9.0)
    stage.stay(GUARD)
    yield from stage.wait(0.3)
    yield from stage.pass_to(TOP)
    yield from stage.wait(0.3)


def _refused(play: Play, screener: int, began: float) -> Steps:
    """He changes direction off the big's screen and goes along the side."""
    stage, defence = play.stage, play.defence
    stage.go(GUARD, stage.position[GUARD] + np.array([-0.4, 1.6]), 8.0)
    yield from stage.wait(0.3)
    defence.freeze(defence.guard_of(GUARD), 0.45)
    play.did(
        "on_ball_screen", {"handler": GUARD, "screener": screener}, start_s=began, sent="rejected", slipped="no",
    )  # fmt: skip
    yield from stage.run_past(GUARD, stage.position[GUARD] + np.array([-6.0, -1.5]), 15.0)
    release_screen(play, screener)
    stage.go(screener, play.floor.elbow(-1), 9.0)
    stage.go(GUARD, np.array([5.0, -6.0]), 15.5)
    yield from stage.near(GUARD, np.array([5.0, -6.0]), 1.8, 2.0)


def _screen_without_dribble(play: Play, screener: int, began: float) -> Steps:
    """The dribble is dead before the screen is there; he can only pass."""
    stage, defence = play.stage, play.defence

    def heading() -> np.ndarray:
        return stage.position[GUARD] + np.array([-1.2, 6.0])

    yield from set_screen(play, screener, defence.guard_of(GUARD), heading, play.number("contact_ft"))
    stage.restless_ft[screener] = 0.0
    stage.pose(screener, "screen", 1.2)
    play.faults.add("dead_dribble_early")
    play.did(
        "on_ball_screen", {"handler": GUARD, "screener": screener}, start_s=began, live_dribble="no", slipped="no",
    )  # fmt: skip
    stage.go(GUARD, stage.position[GUARD] + np.array([0.6, 1.2]), 6.0)
    yield from stage.wait(0.7)
    release_screen(play, screener)
    yield from stage.pass_to(TOP)
    yield from stage.wait(0.3)


# ---- counters --------------------------------------------------------------------------------------------------------


def _instead_of_return(play: Play, ending: str, began: float) -> Steps:
    """Back cut against denial, handoff to the other side, or a swing back that is no set."""
    stage, floor, defence = play.stage, play.floor, play.defence
    guard = defence.guard_of(GUARD)
    if ending == "back_cut":
        stage.go(GUARD, np.array([13.0, -19.0]), 11.0)
        defence.order(guard, Order.DENY)
        denied = stage.t_s
        yield from stage.wait(1.5)
        play.did("denial", {"receiver": GUARD}, start_s=denied + 0.7, t_s=denied + 0.7, end_s=stage.t_s)
        stage.go(WEAK, floor.wing(1) + np.array([-2.0, 1.0]), 9.0)
        stage.go(POST, floor.short_corner(1), 9.0)
        stage.tasks.clear()
        defence.freeze(guard, 0.4)
        yield from cut_and_catch(play, GUARD, [np.array([9.0, -12.0]), np.array([1.5, -1.5])], "back_cut", 15.5)
        play.played(NAME, ROLES, start_s=began, ending="", missing=())
        yield from shot(play, "lay_up")
        return
    yield from stage.wait(0.8)
    stage.dribble()
    meet = stage.position[TOP] * 0.5 + stage.position[WING] * 0.5 + np.array([2.0, 0.0])
    if ending == "handoff_other_way":
        stage.go(TOP, meet, 9.5)
        yield from stage.wait(0.25)
        stage.go(WING, lambda: stage.position[TOP] + np.array([1.2, 1.4]), 11.0)
        yield from stage.until(lambda: stage.gap(TOP, WING) < 3.4, 2.5)
        stage.go(WING, stage.position[TOP] + np.array([0.0, -7.0]), 10.0, stops=False)
        yield from stage.handoff(WING)
        play.did("handoff", {"giver": TOP, "receiver": WING}, start_s=stage.t_s - 0.2)
        play.played(NAME, ROLES, start_s=began, ending="", missing=())
        stage.dribble()
        yield from stage.wait(0.5)
    else:
        yield from stage.wait(0.6)
        yield from stage.pass_to(WING)
        play.played(NAME, ROLES, start_s=began, missing=("return",))
        yield from stage.wait(0.5)
    yield from shot(play, "jump_shot")


def _zipper_at_once(play: Play, ending: str, began: float) -> Steps:
    """No cross screen: the far wing fakes it and comes up himself, or the big fakes his cut and does."""
    stage, floor = play.stage, play.floor
    stage.go(GUARD, return_catch_uv(23.5), 10.0)
    if ending == "direct_zipper":
        cutter, fake = WEAK, np.array([3.6, -floor.half_lane_ft + 4.0])
        end = floor.slot(-1) + np.array([-0.5, 1.0])
    else:
        cutter, fake = POST, np.array([3.4, floor.half_lane_ft - 1.5])
        end = floor.slot(1)
        stage.go(WEAK, np.array([7.0, -floor.half_lane_ft - 3.0]), 8.0)
        play.defence.order(play.defence.guard_of(POST), Order.MAN)
    stay_near(play, [cutter], 0.6)
    stage.go(cutter, fake, 11.0)
    yield from stage.near(cutter, fake, 1.2, 1.6)
    yield from stage.wait(0.15)
    play.defence.freeze(play.defence.guard_of(cutter), 0.4)
    way = [np.array([floor.line_u_ft, fake[1] * 0.9]), end]
    yield from cut_along(play, cutter, way, "zipper_cut", 14.5, end="straight")
    yield from stage.pass_to(cutter)
    play.did("pass", {"passer": TOP, "receiver": cutter})
    play.played(NAME, ROLES, start_s=began, ending="")
    yield from stage.wait(0.4)
    yield from shot(play, "jump_shot")


_ENDINGS = {
    "post_entry": _post_entry,
    **{f"zipper_{end}": _zipper for end in ("straight", "curl", "fade", "wide", "trailed")},
    **dict.fromkeys(("side_ball_screen", "re_screen", "top_ball_screen"), _ball_screen),
    **dict.fromkeys(("change_of_direction", "iced", "dead_ball_screen"), _ball_screen),
}  # fmt: skip
_NAMES = {
    "re_screen": "side_ball_screen", "iced": "side_ball_screen", "dead_ball_screen": "side_ball_screen",
    "zipper_wide": "zipper_curl", "zipper_trailed": "zipper_straight", "change_of_direction": "",
}  # fmt: skip
"""Ways of a script to the endings of the set file; a counter has none."""
NAME = "weak_side_motion"


def _spots(floor: Places, rng: np.random.Generator) -> np.ndarray:
    spots = [floor.slot(1), floor.wing(1), floor.wing(-1), floor.slot(-1, out_ft=2.5), floor.block(1)]
    return scattered(spots, rng)


WEAK_SIDE_MOTION = Script(
    NAME, _spots, weak_side_motion,
    dials=(
        Choice("ending", (*_AFTER_RETURN, *_COUNTERS), bad=_POOR, near=_NEAR),
        Choice("route", ("high", "low", "trail", "switch")),
        Choice("read", ("right",), bad=("right", "wrong")),
        Dial("return_catch_ft", good=(21.5, 24.0), bad=(28.5, 31.5), near=(25.5, 27.2)),
        Dial("top_wait_s", good=(0.8, 1.4), bad=(2.8, 3.6), near=(1.8, 2.2)),
        Dial("contact_ft", good=(1.9, 2.6)),
        Dial("lag_s", good=(0.35, 0.6), bad=(0.1, 0.25)),
        Dial("post_catch_ft", good=(6.5, 9.0), bad=(10.5, 12.0)),
    ),
    qualities=(Quality.GOOD, Quality.BAD, Quality.NEAR_MISS), checked=True, seed=0,
)  # fmt: skip
