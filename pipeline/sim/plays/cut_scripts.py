"""Every cut of the glossary, each with the passes that go with it; and runs that are none of them."""

from __future__ import annotations

import numpy as np

from pipeline.sim.plays.defence import Order, Route
from pipeline.sim.plays.execution import Quality
from pipeline.sim.plays.moves import arrive, calm, cut_along, cut_and_catch, park
from pipeline.sim.plays.off_ball_scripts import come_off, screen_for, stay_near
from pipeline.sim.plays.parts import release_screen, retreat_dribble, scattered, shot
from pipeline.sim.plays.places import Places
from pipeline.sim.plays.script import Choice, Dial, Play, Script
from pipeline.sim.plays.stage import Steps

HANDLER, CUTTER, FAR, BIG, OTHER = 0, 1, 2, 3, 4
WING_SHARE = 14.0 / 22.0
"""The wing begins at this share of the way out to the corner's three-point line (glossary, NBA floor)."""
NEARLY_WING_FT = 8.0
"""Who passes from this little inside the wing may be said to pass from it."""


def _spots(floor: Places, rng: np.random.Generator) -> np.ndarray:
    return scattered([floor.slot(-1), floor.wing(1), floor.corner(-1), floor.elbow(1), floor.corner(1)], rng)


def give_and_shoot(play: Play, to: int) -> Steps:
    """The handler finds the cutter, who shoots."""
    stage = play.stage
    yield from stage.wait(0.1)
    if stage.holder is not None and stage.holder != to:
        yield from stage.pass_to(to)
    yield from stage.wait(0.35)
    far = float(np.hypot(*stage.position[to])) > 8.0
    yield from shot(play, "jump_shot" if far else "lay_up")


def cut(play: Play) -> Steps:
    """One cut in the way that the dial says."""
    calm(play)
    play.defence.helps = False
    yield from retreat_dribble(play, HANDLER, 0.5)
    way = play.word("way")
    if way.startswith("zipper"):
        yield from _zipper(play, way.removeprefix("zipper_"))
    else:
        yield from _WAYS[way](play)


def zipper_off(
    play: Play, cutter: int, screener: int, end: str, *, route: Route, lag_s: float, contact_ft: float
) -> Steps:  # fmt: skip
    """Up the lane line off a down screen on the cutter's side: straight, curl, wide (curl), fade or rejected."""
    stage, floor, defence = play.stage, play.floor, play.defence
    side = 1.0 if stage.position[cutter][1] > 0 else -1.0
    guard = defence.guard_of(cutter)
    began = stage.t_s
    start_u = float(stage.position[cutter][0])
    lane = floor.half_lane_ft
    stay_near(play, [cutter], 0.4)
    yield from screen_for(
        play, screener, cutter, np.array([15.0, side * (lane - 1.0)]), contact_ft, set_up=np.array([-1.6, -1.4 * side])
    )
    s = stage.position[screener].copy()
    trails = route is Route.TRAIL
    high = start_u + 12.0
    cut_from = stage.t_s
    top = np.array([floor.arc_ft + 1.5, side * 5.0])
    if end == "rejected":
        defence.freeze(guard, 0.35)
        away = s + np.array([2.0, -3.8 * side])
        stage.pair_gap[(cutter, screener)] = 1.9
        yield from stage.run(cutter, [away, np.array([floor.arc_ft + 1.0, -3.0 * side])], 14.0)
        play.did(
            "zipper_cut", {"cutter": cutter}, start_s=cut_from, t_s=(cut_from + stage.t_s) / 2, end_s=stage.t_s,
            end="rejected", defender_trails="no",
        )  # fmt: skip
    else:
        ways = {
            "straight": [s + np.array([7.0, 0.6 * side]), top],
            "curl": [
                np.array([high - 1.5, s[1] + 1.6 * side]),
                np.array([high, s[1] - 1.2 * side]),
                np.array([high - 3.0, s[1] - 4.2 * side]),
                np.array([6.5, -0.5 * side]),
            ],
            "wide": [
                np.array([high, s[1] + 2.5 * side]),
                np.array([high + 5.0, s[1] - 6.0 * side]),
                np.array([high + 4.0, s[1] - 15.0 * side]),
            ],
            "fade": [s + np.array([5.5, 2.5 * side]), floor.wing(int(side)) + np.array([4.0, -1.5 * side])],
        }
        speed = 13.0 if end == "curl" else 14.0
        yield from come_off(
            play, cutter, screener, np.array([0.6, 2.2 * side]), ways[end], route=route, lag_s=lag_s, began=began,
            speed_ft_s=speed, type="down", group="single"
        )  # fmt: skip
        play.did(
            "zipper_cut", {"cutter": cutter}, start_s=cut_from, t_s=(cut_from + stage.t_s) / 2, end_s=stage.t_s,
            end="curl" if end == "wide" else end, said={"defender_trails": "yes"} if trails else None,
        )  # fmt: skip
    release_screen(play, screener)
    stage.pair_gap.pop((cutter, screener), None)


def _zipper(play: Play, end: str) -> Steps:
    stage, floor = play.stage, play.floor
    park(play, {CUTTER: np.array([3.5, floor.half_lane_ft]), BIG: floor.elbow(1) + np.array([3.0, 0.0])}, 11.0)
    stage.dribble()
    yield from arrive(play, [CUTTER, BIG])
    yield from stage.wait(0.4)
    began = stage.t_s
    route = {"curl": Route.TRAIL, "wide": Route.TRAIL, "fade": Route.HIGH, "straight": Route.HIGH}.get(end, Route.HIGH)
    yield from zipper_off(
        play, CUTTER, BIG, end, route=route, lag_s=play.number("lag_s"), contact_ft=play.number("contact_ft")
    )
    stage.go(BIG, floor.elbow(1), 8.0)
    inside_ft = WING_SHARE * floor.corner_v_ft - stage.position[HANDLER][1]
    yield from give_and_shoot(play, CUTTER)
    if end == "straight" and inside_ft < NEARLY_WING_FT:
        roles = {"guard": HANDLER, "cutter": CUTTER, "big": BIG}
        play.played("zipper_entry", roles, start_s=began, certain=inside_ft < 0)


def _loop(play: Play) -> Steps:
    """Entry to the wing, then by way of the high post to the other wing, opposite the pass."""
    stage, floor = play.stage, play.floor
    park(play, {HANDLER: floor.slot(1), BIG: floor.slot(-1, out_ft=5.0), OTHER: np.array([3.0, 12.5])}, 10.0)
    stage.go(CUTTER, floor.wing(1), 9.0)
    stage.dribble()
    yield from arrive(play, [HANDLER, BIG])
    yield from stage.pass_to(CUTTER)
    yield from stage.wait(0.25)
    way = [np.array([floor.line_u_ft + 1.5, 0.5]), np.array([floor.line_u_ft - 1.0, -9.0]), floor.wing(-1)]
    yield from cut_along(play, HANDLER, way, "loop_cut", 13.5)
    yield from stage.wait(0.3)
    yield from shot(play, "jump_shot")


def _back(play: Play) -> Steps:
    """Denied, then behind."""
    stage, defence = play.stage, play.defence
    guard = defence.guard_of(CUTTER)
    park(play, {BIG: play.floor.corner(-1), FAR: play.floor.wing(-1), OTHER: play.floor.slot(-1, out_ft=8.0)}, 10.0)
    stage.go(HANDLER, play.floor.slot(1) + np.array([1.0, -5.0]), 8.0)
    stage.dribble()
    began = stage.t_s
    defence.order(guard, Order.DENY)
    yield from stage.wait(2.0)
    play.did("denial", {"receiver": CUTTER}, start_s=began + 0.9, t_s=began + 0.9, end_s=stage.t_s)
    defence.freeze(guard, 0.35)
    yield from cut_and_catch(play, CUTTER, [np.array([9.0, 13.0]), np.array([2.0, 2.5])], "back_cut", 15.5)
    yield from shot(play, "lay_up")


def _deep(play: Play) -> Steps:
    """Down towards the baseline, then back out to the ball."""
    stage, floor = play.stage, play.floor
    park(play, {OTHER: floor.wing(-1), FAR: floor.corner(-1), BIG: floor.slot(-1, out_ft=8.0)}, 11.0)
    stage.go(HANDLER, floor.top(), 9.0)
    stage.dribble()
    yield from arrive(play, [HANDLER, OTHER])
    way = [np.array([6.0, 16.5]), np.array([2.0, 15.0]), np.array([1.0, 18.0]), np.array([4.0, 20.5]), floor.wing(1)]
    yield from cut_along(play, CUTTER, way, "deep_cut", 13.0)
    yield from give_and_shoot(play, CUTTER)


def _flash(play: Play) -> Steps:
    """From the weak side up to the ball at the high post."""
    stage, floor = play.stage, play.floor
    park(play, {CUTTER: np.array([3.0, floor.half_lane_ft + 2.0]), BIG: floor.wing(1), OTHER: floor.corner(1)}, 11.0)
    stage.go(HANDLER, floor.slot(-1), 8.0)
    stage.dribble()
    yield from arrive(play, [CUTTER, BIG])
    yield from stage.wait(0.8)
    yield from cut_along(play, CUTTER, [np.array([floor.line_u_ft - 0.5, -4.5])], "flash_cut", 14.0)
    yield from give_and_shoot(play, CUTTER)


def _basket(play: Play) -> Steps:
    """Pass and straight to the ring."""
    stage, floor = play.stage, play.floor
    park(play, {BIG: floor.corner(-1), FAR: floor.wing(-1), OTHER: floor.corner(1), HANDLER: floor.top()}, 11.0)
    stage.dribble()
    yield from arrive(play, [HANDLER, BIG, OTHER])
    yield from stage.pass_to(CUTTER)
    yield from stage.wait(0.2)
    play.defence.freeze(play.defence.guard_of(HANDLER), 0.4)
    yield from cut_and_catch(play, HANDLER, [np.array([12.0, 3.0]), np.array([2.0, 1.5])], "basket_cut", 15.0)
    yield from shot(play, "lay_up")


def _ucla(play: Play) -> Steps:
    """Entry to the wing, then to the block over the big's screen at the elbow."""
    stage, floor = play.stage, play.floor
    park(play, {HANDLER: floor.slot(1), BIG: floor.elbow(1), OTHER: floor.slot(-1), FAR: floor.corner(-1)}, 11.0)
    stage.dribble()
    yield from arrive(play, [HANDLER, OTHER])
    yield from stage.pass_to(CUTTER)
    guard = play.defence.guard_of(HANDLER)
    began = stage.t_s
    stage.restless_ft[BIG] = 0.0
    stay_near(play, [HANDLER], 0.3)
    yield from screen_for(
        play, BIG, HANDLER, np.array([4.0, 4.0]), play.number("contact_ft"), set_up=np.array([1.0, -1.5])
    )
    play.defence.freeze(guard, play.number("lag_s"))
    cut_from = stage.t_s
    yield from come_off(
        play, HANDLER, BIG, np.array([0.5, -2.2]), [floor.block(1) + np.array([-0.5, -2.5])], route=Route.TRAIL,
        lag_s=play.number("lag_s"), began=began, type="back", group="single",
    )  # fmt: skip
    play.did(
        "ucla_cut", {"cutter": HANDLER}, start_s=cut_from, t_s=(cut_from + stage.t_s) / 2, end_s=stage.t_s,
    )  # fmt: skip
    release_screen(play, BIG)
    stage.go(BIG, floor.top(), 9.0)
    yield from give_and_shoot(play, HANDLER)


def _iverson(play: Play) -> Steps:
    """From wing to wing over both elbows."""
    stage, floor = play.stage, play.floor
    elbows = {BIG: floor.elbow(1) + np.array([1.0, 0.0]), OTHER: floor.elbow(-1) + np.array([1.0, 0.0])}
    park(play, elbows | {FAR: floor.corner(-1), HANDLER: floor.top(out_ft=6.0)}, 11.0)
    stage.dribble()
    yield from arrive(play, [BIG, OTHER, HANDLER], 1.5, 3.0)
    stage.restless_ft[[BIG, OTHER]] = 0.0
    u = floor.line_u_ft + 3.6
    play.defence.order(play.defence.guard_of(CUTTER), Order.TRAIL)
    way = [np.array([u, 9.0]), np.array([u, -9.0]), floor.wing(-1) + np.array([2.0, 0.5])]
    yield from cut_along(play, CUTTER, way, "iverson_cut", 14.5)
    play.defence.order(play.defence.guard_of(CUTTER), Order.MAN)
    yield from give_and_shoot(play, CUTTER)


def _shallow(play: Play) -> Steps:
    """The wing comes over the top as the ball is dribbled at him."""
    stage, floor = play.stage, play.floor
    park(play, {BIG: floor.corner(-1) + np.array([1.0, 8.0]), HANDLER: floor.top()}, 10.0)
    park(play, {BIG: floor.short_corner(-1)}, 10.0)
    stage.dribble()
    yield from arrive(play, [HANDLER])
    stage.go(HANDLER, floor.wing(1) + np.array([1.0, -1.5]), 10.0)
    yield from stage.wait(0.25)
    stage.go(FAR, floor.wing(-1) + np.array([-4.0, 0.0]), 8.0)
    way = [np.array([floor.line_u_ft + 2.5, 12.0]), np.array([floor.arc_ft + 2.5, 0.0])]
    yield from cut_along(play, CUTTER, way, "shallow_cut", 13.0)
    yield from give_and_shoot(play, CUTTER)


def _drift(play: Play) -> Steps:
    """A few steps up and back, too short for a cut."""
    stage = play.stage
    here = stage.position[CUTTER].copy()
    yield from stage.run(CUTTER, [here + np.array([-3.0, -2.0]), here], 9.0)
    yield from stage.wait(0.4)
    yield from give_and_shoot(play, CUTTER)


def _half_zipper(play: Play) -> Steps:
    """From the block up to the free-throw line only: too short for a zipper."""
    stage, floor = play.stage, play.floor
    park(play, {CUTTER: np.array([5.5, floor.half_lane_ft]), BIG: floor.slot(-1, out_ft=9.0)}, 11.0)
    stage.dribble()
    yield from arrive(play, [CUTTER])
    yield from stage.wait(0.4)
    yield from stage.run(CUTTER, [np.array([11.5, floor.half_lane_ft])], 11.0)
    yield from stage.wait(0.3)
    yield from give_and_shoot(play, CUTTER)


_WAYS = {
    "loop": _loop, "back": _back, "deep": _deep, "flash": _flash, "basket": _basket, "ucla": _ucla,
    "iverson": _iverson, "shallow": _shallow, "drift": _drift, "half_zipper": _half_zipper,
}  # fmt: skip
_ZIPPERS = ("zipper_straight", "zipper_curl", "zipper_fade", "zipper_rejected")
CUT = Script(
    "cut", _spots, cut,
    dials=(
        Choice(
            "way", (*_ZIPPERS, "loop", "back", "deep", "flash", "basket", "ucla", "iverson", "shallow"),
            near=("drift", "half_zipper"),
        ),
        Dial("contact_ft", good=(2.0, 2.6)),
        Dial("lag_s", good=(0.3, 0.55)),
    ),
    qualities=(Quality.GOOD, Quality.NEAR_MISS), checked=True,
)  # fmt: skip
CUT_SCRIPTS = (CUT,)
