"""Ball screens of every kind: where, how used, how covered; and one that never comes."""

from __future__ import annotations

import numpy as np

from pipeline.sim.plays.defence import Coverage, Order, unit
from pipeline.sim.plays.execution import Quality
from pipeline.sim.plays.moves import calm, park
from pipeline.sim.plays.parts import finish_drive, release_screen, retreat_dribble, scattered, set_screen, shot
from pipeline.sim.plays.places import Places
from pipeline.sim.plays.script import Choice, Dial, Play, Script
from pipeline.sim.plays.stage import Steps

HANDLER, SCREENER = 0, 3


def toward(play: Play, handler: int, side: int) -> np.ndarray:
    """Where a handler heads who goes off a screen on his ``side`` (+1: towards +v)."""
    return play.stage.position[handler] + np.array([-1.2, 6.0 * side])


def bring_screen(play: Play, handler: int, screener: int, side: int, contact_ft: float) -> Steps:
    """The screener comes to the handler's defender on the side that the handler will use, and stands."""
    stage, defence = play.stage, play.defence
    stage.dribble()
    stage.stay(handler)
    stage.restless_ft[[handler, screener]] = 0.6, 0.1
    yield from set_screen(play, screener, defence.guard_of(handler), lambda: toward(play, handler, side), contact_ft)
    stage.restless_ft[screener] = 0.0
    stage.pose(screener, "screen", 1.4)


def use_screen(
    play: Play, handler: int, screener: int, side: int, *, coverage: Coverage, began: float, lag_s: float = 0.4,
    **said: str,
) -> Steps:  # fmt: skip
    """A step away, then past the screen; the defence covers it as told."""
    stage, defence = play.stage, play.defence
    on_ball, big = defence.guard_of(handler), defence.guard_of(screener)
    stage.go(handler, stage.position[handler] + np.array([-0.4, -2.2 * side]), 8.0)
    yield from stage.wait(float(stage.rng.uniform(0.35, 0.5)))
    stage.start(defence.ball_screen(on_ball, screener, coverage))
    if coverage is Coverage.OVER:
        defence.freeze(on_ball, 0.15 + 0.4 * lag_s)
    if coverage is not Coverage.SWITCH:
        defence.order(big, Order.PLACE, lambda: stage.position[handler] * 0.55 + np.array([0.0, -0.5 * side]))
    stage.pose(handler, "use_screen", 0.5, delay_s=0.1)
    past = stage.position[screener] + np.array([2.3, 1.6 * side])
    yield from stage.run_past(handler, past, 14.5)
    play.did(
        "on_ball_screen", {"handler": handler, "screener": screener}, start_s=began,
        coverage=coverage.value, said=said,
    )  # fmt: skip


def off_screen(play: Play, handler: int, screener: int, side: int) -> Steps:
    """Off a used screen: drive, pull up or lay it in; the screener rolls or steps out."""
    stage, rng = play.stage, play.stage.rng
    release_screen(play, screener)
    stage.restless_ft[screener] = 1.0
    aim = np.array([float(rng.uniform(4.0, 9.0)), 1.5 * side])
    stage.go(screener, np.array([4.0, -3.5 * side]) if rng.random() < 0.6 else play.floor.top(), 11.0)
    stage.go(handler, aim, 16.5)
    yield from stage.near(handler, aim, 1.8, 2.5)
    yield from finish_drive(play, handler, str(rng.choice(["lay_up", "jump_shot", "kick_out"])))


def _spots(floor: Places, rng: np.random.Generator) -> np.ndarray:
    return scattered([floor.top(), floor.corner(1), floor.wing(-1), floor.elbow(1), floor.corner(-1)], rng)


def _to_the_wing(play: Play) -> Steps:
    """The handler dribbles to the right wing, the side is cleared; the big waits at the elbow."""
    stage, floor = play.stage, play.floor
    stage.dribble()
    spot = floor.wing(1, out_ft=1.0) + np.array([2.0, -1.0])
    stage.go(HANDLER, spot, 10.0)
    stage.go(SCREENER, np.array([floor.line_u_ft - 1.0, floor.half_lane_ft]), 8.0)
    park(play, {2: floor.slot(-1), 4: floor.wing(-1), 1: floor.corner(-1)}, 11.0)
    yield from stage.near(HANDLER, spot, 1.5, 3.0)
    yield from stage.wait(0.5)


def ball_screen(play: Play) -> Steps:
    """One ball screen in the way that the dial says."""
    stage = play.stage
    way = play.word("way")
    calm(play)
    play.defence.helps = False
    yield from retreat_dribble(play, HANDLER, float(stage.rng.uniform(0.4, 0.9)))
    if way.startswith("side") or way == "iced":
        yield from _to_the_wing(play)
        side = -1
    else:
        side = 1 if stage.rng.random() < 0.5 else -1
    began = stage.t_s
    if way.endswith("no_screen"):
        yield from _no_screen(play, side)
        return
    if way == "slipped":
        yield from _slip(play, side, began)
        return
    if way == "left_early":
        yield from left_early(play, side, began)
        return
    yield from bring_screen(play, HANDLER, SCREENER, side, play.number("contact_ft"))
    yield from stage.wait(0.2)
    if way == "rejected":
        yield from _reject(play, side, began)
    elif way == "iced":
        yield from _iced(play, began)
    elif way.endswith("trap"):
        yield from _trap(play, side, began)
    else:
        word = way.rsplit("_", 1)[-1]
        coverage = Coverage(word) if word in ("over", "under", "switch") else Coverage.OVER
        sent = "middle" if way.startswith("side") else "sideline"
        yield from use_screen(play, HANDLER, SCREENER, side, coverage=coverage, began=began, sent=sent, slipped="no")
        if way == "again":
            yield from _again(play, side)
            side = -side
        yield from off_screen(play, HANDLER, SCREENER, side)


def _no_screen(play: Play, side: int) -> Steps:
    """The big comes, but stops well short; the handler goes without him."""
    stage = play.stage
    spot = stage.position[HANDLER] * 0.5 + np.array([0.0, 6.0 * side])
    stage.go(SCREENER, spot, 9.0)
    yield from stage.near(SCREENER, spot, 1.0, 2.0)
    yield from stage.wait(0.4)
    play.defence.freeze(play.defence.guard_of(HANDLER), 0.35)
    yield from stage.run_past(HANDLER, stage.position[HANDLER] + np.array([-5.0, -6.0 * side]), 14.0)
    stage.go(HANDLER, np.array([7.0, -2.0 * side]), 15.0)
    yield from stage.near(HANDLER, np.array([7.0, -2.0 * side]), 1.8, 2.0)
    yield from shot(play, "jump_shot")


def _slip(play: Play, side: int, began: float) -> Steps:
    """The big comes to the defender and dives before he touches him."""
    stage, defence = play.stage, play.defence
    guard = defence.guard_of(HANDLER)
    stage.dribble()
    stage.stay(HANDLER)
    stage.restless_ft[HANDLER] = 0.4

    def short() -> np.ndarray:
        return stage.position[guard] + unit(toward(play, HANDLER, side) - stage.position[guard]) * 5.2

    stage.go(SCREENER, short, 11.0)
    yield from stage.near(SCREENER, short, 0.9, 2.0)
    moment = stage.t_s
    play.did(
        "on_ball_screen", {"handler": HANDLER, "screener": SCREENER}, start_s=began, t_s=moment,
        slipped="yes", coverage="unknown", sent="unknown", contact="no",
    )  # fmt: skip
    aside = stage.position[SCREENER] + np.array([-8.0, 2.5 * side])
    stage.start(stage.run(SCREENER, [aside, np.array([3.0, 3.0 * side])], 16.0))
    defence.freeze(guard, 0.5)
    yield from stage.wait(0.5)
    stage.go(HANDLER, stage.position[HANDLER] + np.array([-1.0, 5.0 * side]), 10.0)
    yield from stage.wait(0.45)
    yield from stage.pass_to(SCREENER)
    yield from shot(play, "lay_up")


def left_early(play: Play, side: int, began: float) -> Steps:
    """The handler goes while the screener is still on his way."""
    stage, defence = play.stage, play.defence
    guard = defence.guard_of(HANDLER)
    stage.dribble()
    stage.stay(HANDLER)
    stage.restless_ft[HANDLER] = 0.3
    stage.pair_gap[(SCREENER, guard)] = 1.9

    def beside() -> np.ndarray:
        return stage.position[guard] + unit(toward(play, HANDLER, side) - stage.position[guard]) * 2.1

    stage.go(SCREENER, beside, 12.0)
    yield from stage.near(SCREENER, beside, 8.0, 2.5)
    defence.freeze(guard, 0.6)
    stage.start(defence.ball_screen(guard, SCREENER, Coverage.OVER))
    past = stage.position[guard] + unit(stage.position[guard]) * 2.0 + np.array([0.0, 4.6 * side])
    yield from stage.run_past(HANDLER, past, 14.5)
    play.did(
        "on_ball_screen", {"handler": HANDLER, "screener": SCREENER}, start_s=began, coverage="over",
        left_early="yes", slipped="no",
    )  # fmt: skip
    play.faults.add("left_early")
    yield from off_screen(play, HANDLER, SCREENER, side)


def _reject(play: Play, side: int, began: float) -> Steps:
    """A look at the screen, then the other way."""
    stage, defence = play.stage, play.defence
    guard = defence.guard_of(HANDLER)
    stage.go(HANDLER, stage.position[HANDLER] + np.array([-0.5, 1.8 * side]), 8.0)
    yield from stage.wait(0.3)
    defence.freeze(guard, 0.4)
    away = stage.position[HANDLER] + np.array([-6.0, -7.0 * side])
    play.did(
        "on_ball_screen", {"handler": HANDLER, "screener": SCREENER}, start_s=began,
        sent="rejected", coverage="unknown", slipped="no",
    )  # fmt: skip
    yield from stage.run_past(HANDLER, away, 15.0)
    yield from off_screen(play, HANDLER, SCREENER, -side)


def _iced(play: Play, began: float) -> Steps:
    """The defender stands on the screen's side; the handler is sent along the sideline."""
    stage, defence = play.stage, play.defence
    guard, big = defence.guard_of(HANDLER), defence.guard_of(SCREENER)
    h = stage.position[HANDLER].copy()

    def high_side() -> np.ndarray:
        return stage.position[HANDLER] + unit(stage.position[SCREENER] - stage.position[HANDLER]) * 2.6

    stage.pair_gap[(guard, SCREENER)] = 1.9
    defence.order(guard, Order.PLACE, high_side)
    defence.order(big, Order.PLACE, np.array([4.0, min(h[1] - 3.0, 14.0)]))
    yield from stage.wait(0.75)
    play.did(
        "on_ball_screen", {"handler": HANDLER, "screener": SCREENER}, start_s=began, coverage="iced",
        sent="rejected", slipped="no",
    )  # fmt: skip
    stage.go(HANDLER, np.array([4.0, h[1] - 0.5]), 12.0)
    yield from stage.wait(0.7)
    defence.order(guard, Order.MAN)
    yield from stage.near(HANDLER, np.array([4.0, h[1] - 0.5]), 2.5, 1.5)
    release_screen(play, SCREENER)
    stage.go(SCREENER, play.floor.top(), 9.0)
    stage.stay(HANDLER)
    yield from stage.wait(0.3)
    defence.order(big, Order.MAN)
    yield from stage.pass_to(2)
    yield from stage.wait(0.3)
    yield from shot(play, "jump_shot")


def _trap(play: Play, side: int, began: float) -> Steps:
    """Both defenders go at the handler; he backs out and throws it to the free man."""
    stage, defence = play.stage, play.defence
    guard, big = defence.guard_of(HANDLER), defence.guard_of(SCREENER)
    stage.go(HANDLER, stage.position[HANDLER] + np.array([-0.4, -2.0 * side]), 8.0)
    yield from stage.wait(0.35)
    stage.pair_gap[(guard, big)] = 2.0

    def ahead(offset: float) -> np.ndarray:
        return stage.position[HANDLER] + np.array([-2.6, offset])

    defence.order(big, Order.PLACE, lambda: ahead(2.4 * side))
    past = stage.position[SCREENER] + np.array([2.0, 2.4 * side])
    yield from stage.run_past(HANDLER, past, 12.0)
    play.did(
        "on_ball_screen", {"handler": HANDLER, "screener": SCREENER}, start_s=began, coverage="trap",
        slipped="no",
    )  # fmt: skip
    defence.order(guard, Order.PLACE, lambda: ahead(-2.0 * side))
    release_screen(play, SCREENER)
    back = stage.position[HANDLER] + np.array([4.5, 3.0 * side])
    stage.go(HANDLER, back, 7.0)
    stage.go(SCREENER, np.array([play.floor.line_u_ft - 2.0, 0.0]), 10.0)
    yield from stage.wait(1.15)
    defence.order(big, Order.MAN)
    defence.order(guard, Order.MAN)
    yield from stage.pass_to(2 if stage.gap(2, HANDLER) < 30 else SCREENER, style="overhead_pass")
    yield from stage.wait(0.3)
    yield from shot(play, "jump_shot")


def _again(play: Play, side: int) -> Steps:
    """He stops, the same big turns round and screens the other way."""
    stage, defence = play.stage, play.defence
    guard = defence.guard_of(HANDLER)
    release_screen(play, SCREENER)
    began = stage.t_s
    stop = stage.position[HANDLER] + np.array([1.0, 2.0 * side])
    stage.go(HANDLER, stop, 8.0)
    yield from stage.wait(0.25)
    defence.order(guard, Order.MAN)
    defence.order(defence.guard_of(SCREENER), Order.MAN)
    yield from bring_screen(play, HANDLER, SCREENER, -side, 2.2)
    yield from use_screen(
        play, HANDLER, SCREENER, -side, coverage=Coverage.OVER, began=began, again="yes", slipped="no"
    )


_WAYS = (
    "middle_over", "middle_under", "middle_switch", "side_over", "side_under", "side_switch", "iced", "middle_trap",
    "slipped", "rejected", "again", "left_early",
)  # fmt: skip
BALL_SCREEN = Script(
    "ball_screen", _spots, ball_screen,
    dials=(
        Choice("way", _WAYS, near=("middle_no_screen", "side_no_screen")),
        Dial("contact_ft", good=(2.0, 2.6), bad=(3.1, 3.4)),
    ),
    qualities=(Quality.GOOD, Quality.BAD, Quality.NEAR_MISS), checked=True,
)  # fmt: skip
ON_BALL_SCRIPTS = (BALL_SCREEN,)
