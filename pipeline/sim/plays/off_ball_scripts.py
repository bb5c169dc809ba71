"""Screens for a man without the ball: every type, group and route of the defender; and screeners who stay away."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipeline.sim.plays.defence import Order, Route
from pipeline.sim.plays.execution import Quality
from pipeline.sim.plays.moves import arrive, calm, park
from pipeline.sim.plays.parts import release_screen, retreat_dribble, scattered, set_screen, shot
from pipeline.sim.plays.places import Places
from pipeline.sim.plays.script import Choice, Dial, Play, Script
from pipeline.sim.plays.stage import Steps

HANDLER, CUTTER, FAR, SCREENER, SECOND = 0, 1, 2, 3, 4
_ROUTE_WORDS = {Route.TRAIL: "trails", Route.SWITCH: "switches"}
"""Routes that the paths must show; which side of a screen he took is read from them."""


def stay_near(play: Play, attackers: Sequence[int], sag: float = 0.4) -> None:
    """The defenders of these attackers stay close to them, as on a shooter."""
    for attacker in attackers:
        play.defence.duties[play.defence.guard_of(attacker)].sag = sag


def screen_for(
    play: Play, screener: int, cutter: int, towards: np.ndarray, contact_ft: float, *, set_up: np.ndarray
) -> Steps:
    """The screener finds the cutter's defender on the side of ``towards``; the cutter steps away first."""
    stage = play.stage
    guard = play.defence.guard_of(cutter)
    stage.restless_ft[[cutter, screener]] = 0.2, 0.1
    stage.start(stage.run(cutter, [stage.position[cutter] + set_up], 7.0))
    yield from set_screen(play, screener, guard, lambda: towards, contact_ft)
    stage.restless_ft[screener] = 0.0
    stage.pose(screener, "screen", 1.4)
    yield from stage.wait(0.22)


def come_off(
    play: Play, cutter: int, screener: int, by: np.ndarray, way: Sequence[np.ndarray], *, route: Route, lag_s: float,
    began: float, speed_ft_s: float = 14.0, **said: str,
) -> Steps:  # fmt: skip
    """Past the screener's shoulder ``by`` and on; his defender takes the route."""
    stage, defence = play.stage, play.defence
    guard = defence.guard_of(cutter)
    stage.pair_gap[(cutter, screener)] = 1.9
    stage.start(defence.round_screen(guard, screener, route))
    if route is not Route.SWITCH:
        defence.freeze(guard, lag_s)
    yield from stage.run_past(cutter, stage.position[screener] + by, speed_ft_s, 1.4)
    told = {"route": _ROUTE_WORDS[route]} if route in _ROUTE_WORDS else {}
    play.did("off_ball_screen", {"screener": screener, "cutter": cutter}, start_s=began, said=dict(said) | told)
    yield from stage.run(cutter, list(way), speed_ft_s)


def _spots(floor: Places, rng: np.random.Generator) -> np.ndarray:
    return scattered([floor.slot(-1), floor.block(1), floor.corner(-1), floor.elbow(1), floor.wing(-1)], rng)


def _finish(play: Play, shooter: int) -> Steps:
    """The ball comes to the man off the screen and he shoots."""
    stage = play.stage
    yield from stage.wait(0.15)
    if stage.gap(HANDLER, shooter) > 5.0:
        yield from stage.pass_to(shooter)
    yield from stage.wait(0.35)
    far = float(np.hypot(*stage.position[shooter])) > 8.0
    yield from shot(play, "jump_shot" if far else "lay_up")


def off_ball_screen(play: Play) -> Steps:
    """One off-ball screen in the way that the dial says, a pass off it and a shot."""
    way = play.word("way")
    calm(play)
    play.defence.helps = False
    play.stage.marks["cutter"] = float(CUTTER)
    yield from retreat_dribble(play, HANDLER, 0.4)
    yield from _WAYS[way](play)
    if play.stage.holder is not None:
        yield from _finish(play, int(play.stage.marks["cutter"]))


def _down(play: Play) -> Steps:
    stage, floor, route = play.stage, play.floor, Route(play.word("route"))
    stay_near(play, [CUTTER])
    began = stage.t_s
    top = floor.slot(1)
    yield from screen_for(
        play, SCREENER, CUTTER, np.array([14.0, 14.0]), play.number("contact_ft"), set_up=np.array([-2.0, -2.2])
    )
    yield from come_off(
        play, CUTTER, SCREENER, np.array([0.8, 2.1]), [top], route=route, lag_s=play.number("lag_s"), began=began,
        type="down", group="single",
    )  # fmt: skip
    release_screen(play, SCREENER)
    # with the ball between top and wing it may be called a zipper entry
    play.played("zipper_entry", {"guard": HANDLER, "cutter": CUTTER, "big": SCREENER}, start_s=began, certain=False)


def _back(play: Play) -> Steps:
    """The big comes up from the block and frees the wing for the ring."""
    stage, floor, route = play.stage, play.floor, Route(play.word("route"))
    stay_near(play, [CUTTER], 0.35)
    park(play, {CUTTER: floor.wing(1), SCREENER: floor.block(1), HANDLER: floor.top()}, 10.0)
    stage.dribble()
    yield from arrive(play, [CUTTER, SCREENER])
    yield from stage.wait(0.5)
    began = stage.t_s
    yield from screen_for(
        play, SCREENER, CUTTER, np.array([4.0, 4.0]), play.number("contact_ft"), set_up=np.array([2.2, 1.0])
    )
    low = np.array([-0.6, 2.2]) if route is not Route.LOW else np.array([1.6, -1.9])
    yield from come_off(
        play, CUTTER, SCREENER, low, [np.array([3.5, 3.0])], route=route, lag_s=play.number("lag_s"), began=began,
        type="back", group="single",
    )  # fmt: skip
    release_screen(play, SCREENER)


def _cross(play: Play) -> Steps:
    """From one block to the other below the free-throw line."""
    stage, floor, route = play.stage, play.floor, Route(play.word("route"))
    park(play, {SCREENER: floor.block(-1) + np.array([0.5, 0.0]), FAR: floor.corner(1)}, 11.0)
    play.defence.order(play.defence.guard_of(CUTTER), Order.POST)
    yield from arrive(play, [SCREENER, FAR])
    began = stage.t_s
    target = floor.block(-1)
    yield from screen_for(
        play, SCREENER, CUTTER, target + np.array([1.0, 0.0]), play.number("contact_ft"), set_up=np.array([-0.5, 2.2])
    )
    high = route is Route.LOW
    by = np.array([2.5, 0.2]) if high else np.array([-2.5, 0.2])
    yield from come_off(
        play, CUTTER, SCREENER, by, [target], route=route, lag_s=play.number("lag_s"), began=began, speed_ft_s=13.0,
        type="cross", group="single",
    )  # fmt: skip
    release_screen(play, SCREENER)
    play.defence.order(play.defence.guard_of(CUTTER), Order.MAN)
    stage.go(SCREENER, floor.elbow(1), 9.0)


def _flare(play: Play) -> Steps:
    """The slot man fades away from the ball to the wing."""
    stage, floor, route = play.stage, play.floor, Route(play.word("route"))
    stay_near(play, [CUTTER], 0.4)
    park(play, {CUTTER: floor.slot(1), SCREENER: floor.elbow(1)}, 11.0)
    yield from arrive(play, [CUTTER, SCREENER])
    yield from stage.wait(0.4)
    began = stage.t_s
    wing = floor.wing(1)
    yield from screen_for(
        play, SCREENER, CUTTER, wing + np.array([-2.0, 0.0]), play.number("contact_ft"), set_up=np.array([0.5, -2.4])
    )
    yield from come_off(
        play, CUTTER, SCREENER, np.array([2.2, 1.2]), [wing], route=route, lag_s=play.number("lag_s"), began=began,
        type="flare", group="single",
    )  # fmt: skip
    release_screen(play, SCREENER)


def _pin_in(play: Play) -> Steps:
    """The big seals the corner man's defender inside; the corner man lifts to the wing behind him."""
    stage, floor, route = play.stage, play.floor, Route.HIGH
    guard = play.defence.guard_of(CUTTER)
    park(play, {CUTTER: floor.corner(1), SCREENER: floor.elbow(1)}, 11.0)
    stay_near(play, [CUTTER], 0.75)
    yield from arrive(play, [CUTTER, SCREENER])
    yield from stage.wait(0.5)
    began = stage.t_s
    out = floor.wing(1) + np.array([-1.0, 0.0])
    yield from screen_for(
        play, SCREENER, CUTTER, stage.position[guard] + np.array([3.0, 6.0]), play.number("contact_ft"),
        set_up=np.array([0.5, -2.0]),
    )  # fmt: skip
    yield from come_off(
        play, CUTTER, SCREENER, np.array([1.0, 3.0]), [out], route=route, lag_s=0.5, began=began,
        type="pin_in", group="single",
    )  # fmt: skip
    release_screen(play, SCREENER)


def _two_screens(
    play: Play, spots: Sequence[np.ndarray], bys: Sequence[np.ndarray], end: np.ndarray, group: str
) -> Steps:
    """Two mates stand at their spots; the cutter runs by both, his defender after him."""
    stage, defence, floor = play.stage, play.defence, play.floor
    guard = defence.guard_of(CUTTER)
    park(play, {CUTTER: floor.corner(1), SCREENER: spots[0], SECOND: spots[1], FAR: floor.wing(-1)}, 11.0)
    stay_near(play, [CUTTER], 0.3)
    stage.restless_ft[[SCREENER, SECOND, CUTTER]] = 0.0
    yield from arrive(play, [CUTTER, SCREENER, SECOND], 1.2, 4.0)
    yield from stage.wait(0.5)
    for screener in (SCREENER, SECOND):
        stage.yields[screener] = 0.12
        stage.pose(screener, "screen", 2.5)
        stage.pair_gap[(CUTTER, screener)] = 1.9
        stage.pair_gap[(screener, guard)] = 1.9
    began = stage.t_s
    yield from stage.run(CUTTER, [stage.position[CUTTER] + np.array([-1.0, -2.0])], 7.0)
    defence.order(guard, Order.TRAIL)
    for screener, by in zip((SCREENER, SECOND), bys, strict=True):
        yield from stage.run_past(CUTTER, stage.position[screener] + by, 13.5, 1.4)
        play.did(
            "off_ball_screen", {"screener": screener, "cutter": CUTTER}, start_s=began, type="down", group=group,
            route="trails",
        )  # fmt: skip
    yield from stage.run(CUTTER, [end], 13.5)
    defence.order(guard, Order.MAN)
    for screener in (SCREENER, SECOND):
        release_screen(play, screener)


def _stagger(play: Play) -> Steps:
    spots = [np.array([7.5, 15.0]), np.array([15.0, 9.5])]
    bys = [np.array([0.8, 2.2]), np.array([1.6, 1.8])]
    began = play.stage.t_s
    yield from _two_screens(play, spots, bys, play.floor.top(), "stagger")
    # with the catch that follows it may be called the set
    roles = {"guard": HANDLER, "shooter": CUTTER, "first": SCREENER, "second": SECOND}
    play.played("stagger_away", roles, start_s=began, certain=False)


def _double(play: Play) -> Steps:
    spots = [np.array([9.0, 12.5]), np.array([11.2, 11.0])]
    bys = [np.array([0.2, 2.4]), np.array([1.2, 2.2])]
    yield from _two_screens(play, spots, bys, play.floor.slot(1), "double")


def _elevator(play: Play) -> Steps:
    """Up the middle between two who close the door behind him."""
    stage, defence, floor = play.stage, play.defence, play.floor
    guard = defence.guard_of(CUTTER)
    u = floor.line_u_ft + 1.0
    doors = {SCREENER: np.array([u, 3.0]), SECOND: np.array([u, -3.0])}
    park(play, {CUTTER: np.array([5.0, 0.5]), FAR: floor.corner(-1)} | doors, 11.0)
    stage.go(HANDLER, floor.wing(-1), 9.0)
    stay_near(play, [CUTTER], 0.3)
    stage.restless_ft[[SCREENER, SECOND, CUTTER]] = 0.0
    yield from arrive(play, [CUTTER, SCREENER, SECOND], 1.2, 4.0)
    yield from stage.wait(0.4)
    began = stage.t_s
    for screener in doors:
        stage.pair_gap[(CUTTER, screener)] = 1.9
        stage.pair_gap[(screener, guard)] = 1.9
    stage.go(CUTTER, np.array([3.0, 0.5]), 7.0)
    yield from stage.wait(0.35)
    defence.order(guard, Order.TRAIL)
    yield from stage.run_past(CUTTER, np.array([u, 0.0]), 13.5, 1.5)
    for screener in doors:
        play.did(
            "off_ball_screen", {"screener": screener, "cutter": CUTTER}, start_s=began, type="down", group="elevator",
            route="trails",
        )  # fmt: skip
        stage.yields[screener] = 0.12
        stage.go(screener, np.array([u, np.sign(doors[screener][1]) * 1.3]), 6.0)
        stage.pose(screener, "screen", 1.4)
    yield from stage.run(CUTTER, [floor.top()], 13.5)
    defence.order(guard, Order.MAN)
    for screener in doors:
        release_screen(play, screener)


def _air(play: Play) -> Steps:
    """The cutter comes up as off a down screen; the screener never leaves the elbow's far side."""
    stage, floor = play.stage, play.floor
    stay_near(play, [CUTTER])
    stage.go(SCREENER, floor.elbow(-1) + np.array([-1.0, 2.0]), 9.0)
    stage.go(CUTTER, stage.position[CUTTER] + np.array([-1.5, -1.0]), 7.0)
    yield from stage.wait(0.8)
    stage.restless_ft[SCREENER] = 0.1
    yield from stage.run(CUTTER, [floor.wing(1)], 13.0)


def _far_screen(play: Play) -> Steps:
    """The screener stands, but the cutter takes his way a good eight feet off him."""
    stage, floor = play.stage, play.floor
    stay_near(play, [CUTTER])
    stage.go(SCREENER, np.array([8.0, -1.0]), 9.0)
    stage.restless_ft[SCREENER] = 0.1
    yield from stage.wait(0.9)
    yield from stage.run(CUTTER, [floor.block(1) + np.array([0.0, 4.0]), floor.wing(1)], 13.0)


_WAYS = {
    "down": _down, "back": _back, "cross": _cross, "flare": _flare, "pin_in": _pin_in, "stagger": _stagger,
    "double": _double, "elevator": _elevator, "air": _air, "far_screen": _far_screen,
}  # fmt: skip
OFF_BALL_SCREEN = Script(
    "off_ball_screen", _spots, off_ball_screen,
    dials=(
        Choice("way", tuple(w for w in _WAYS if w not in ("air", "far_screen")), near=("air", "far_screen")),
        Choice("route", tuple(r.value for r in Route)),
        Dial("contact_ft", good=(2.0, 2.6)),
        Dial("lag_s", good=(0.35, 0.6), bad=(0.05, 0.15)),
    ),
    qualities=(Quality.GOOD, Quality.BAD, Quality.NEAR_MISS), checked=True,
)  # fmt: skip
OFF_BALL_SCRIPTS = (OFF_BALL_SCREEN,)
