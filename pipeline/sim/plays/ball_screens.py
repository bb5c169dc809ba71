"""Ball screens and drives into a promised number of bodies."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.sim.plays.defence import Coverage, Order, unit
from pipeline.sim.plays.parts import finish_drive, release_screen, retreat_dribble, scattered, set_screen
from pipeline.sim.plays.places import Places
from pipeline.sim.plays.script import Play, Script
from pipeline.sim.plays.stage import DEFENCE, OFFENCE, Steps


@dataclass(frozen=True, slots=True)
class DrivePlan:
    """A ball screen and the drive off it."""

    handler: int
    screener: int
    side: int
    """+1: the screen is set on the handler's +v side and he goes that way; -1 the other."""
    paint_others: tuple[int, ...] | None
    """Exactly these others are in the paint when he enters it; None leaves it to the defence."""
    pull_up_uv: tuple[float, float]
    finish: str = "jump_shot"


def paint_spots(play: Play, side: int) -> list[np.ndarray]:
    """Standing places inside the paint that leave the drive's lane open, most wanted first."""
    h = play.floor.half_lane_ft
    s = float(side)
    return [
        np.array([4.2, -0.4 * s]),
        np.array([-1.0, -s * (h - 2.2)]),
        np.array([2.6, -s * (h - 2.6)]),
        np.array([7.6, -s * (h - 1.9)]),
        np.array([0.3, s * (h - 2.4)]),
        np.array([5.2, s * (h - 1.7)]),
        np.array([10.6, -s * (h - 1.8)]),
    ]


def outside_spot(play: Play, body: int) -> np.ndarray:
    """Where a body waits that must not be in the paint: near where it is, but clear of the lane."""
    stage, floor = play.stage, play.floor
    p = stage.position[body].copy()
    margin = 2.3
    if abs(p[1]) < floor.half_lane_ft + margin and p[0] < floor.line_u_ft + margin:
        to_side = floor.half_lane_ft + margin - abs(p[1])
        to_top = floor.line_u_ft + margin - p[0]
        if to_side < to_top:
            p[1] = np.sign(p[1] or 1.0) * (floor.half_lane_ft + margin)
        else:
            p[0] = floor.line_u_ft + margin
    return p


def ball_screen_drive(play: Play, plan: DrivePlan) -> Steps:
    """Set a ball screen, turn the corner, drive, and finish or kick out."""
    stage, defence, floor, ex = play.stage, play.defence, play.floor, play.execution
    h, s, side = plan.handler, plan.screener, plan.side
    on_ball, big = defence.guard_of(h), defence.guard_of(s)
    began = stage.t_s
    stage.dribble()
    stage.stay(h)
    scripted = plan.paint_others is not None
    stage.restless_ft[h] = 2.0

    def heading() -> np.ndarray:
        return stage.position[h] + np.array([-1.2, 6.0 * side])

    yield from set_screen(play, s, on_ball, heading, ex.contact_ft)
    stage.pose(s, "screen", 1.3)
    set_at = stage.t_s
    if scripted:
        _take_paint_places(play, plan, on_ball)
        yield from stage.wait(0.25)
    jab = stage.position[h] + np.array([-0.8, -2.6 * side])
    stage.go(h, jab, 8.0)
    yield from stage.wait(float(stage.rng.uniform(0.35, 0.6)))
    contact = stage.gap(s, on_ball)
    stage.start(defence.ball_screen(on_ball, s, ex.coverage))
    if ex.contact_ft < 3.2 and ex.coverage is not Coverage.SWITCH:
        defence.freeze(on_ball, 0.18 + 0.5 * ex.lag_s)
    if not scripted:
        defence.order(big, Order.PLACE, lambda: stage.position[h] * 0.55 + np.array([0.0, -0.5 * side]))
    stage.pose(h, "use_screen", 0.5, delay_s=0.15)
    corner = stage.position[s] + np.array([1.0, 2.4 * side])
    go_at = stage.t_s
    yield from stage.run_past(h, corner, 14.5)
    t_screen = stage.t_s
    stage.event(
        "on_ball_screen",
        began,
        t_screen,
        {"handler": h, "screener": s, "defender": on_ball},
        contact_ft=contact,
        set_before_s=go_at - set_at,
    )
    play.did("on_ball_screen", {"handler": h, "screener": s}, start_s=began, t_s=t_screen, slipped="no")
    aim = np.array(plan.pull_up_uv)
    gate = np.array(
        [
            floor.line_u_ft + 1.5,
            np.clip(stage.position[h][1] * 0.45, -floor.half_lane_ft + 2.6, floor.half_lane_ft - 2.6),
        ]
    )
    stage.go(h, gate if stage.position[h][0] > gate[0] + 2 else aim, 17.5, stops=False)
    drive_from = stage.t_s
    release_screen(play, s)
    if not scripted:
        roll = np.array([2.5, -2.5 * side])
        pop = floor.top()
        stage.go(s, roll if stage.rng.random() < 0.65 else pop, 12.0)
    else:
        stage.go(s, stage.position[s] + np.array([1.5, 1.0 * side]), 4.0)
    yield from stage.until(lambda: stage.distance(h, gate) < 2.6 or stage.position[h][0] < gate[0], 2.5)
    stage.go(h, aim, 17.0)
    yield from stage.until(lambda: bool(floor.in_paint(stage.position[h])), 2.5)
    stage.marks["drive_in_paint_s"] = stage.t_s
    hold = 0.35 if scripted else 0.0
    yield from stage.wait(hold)
    if scripted:
        for d in DEFENCE:
            if defence.duties[d].order is Order.PLACE:
                defence.order(d, Order.MAN)
        close = min((d for d in DEFENCE if d != on_ball), key=lambda d: stage.gap(d, h))
        defence.order(close, Order.PLACE, lambda: stage.position[h] - unit(stage.position[h]) * 2.4)
    elif defence.duties[big].order is Order.PLACE:
        defence.order(big, Order.MAN)
    yield from stage.near(h, aim, 1.6, 1.2)
    stage.event("drive", drive_from, stage.t_s, {"handler": h})
    yield from finish_drive(play, h, plan.finish)


def _take_paint_places(play: Play, plan: DrivePlan, on_ball: int) -> None:
    """Send exactly the planned others into the paint and keep the rest out of it."""
    stage, defence = play.stage, play.defence
    assert plan.paint_others is not None
    free = paint_spots(play, plan.side)
    wanted = list(plan.paint_others)
    for body in wanted:
        spot = play.jitter(free.pop(0), 0.3)
        stage.restless_ft[body] = 0.45
        stage.pair_gap.update({(body, other): 2.1 for other in wanted if other != body})
        if body in OFFENCE:
            stage.go(body, spot, 10.0)
        else:
            defence.order(body, Order.PLACE, spot)
    for body in range(10):
        if body in wanted or body in (plan.handler, plan.screener, on_ball):
            continue
        spot = outside_spot(play, body)
        stage.restless_ft[body] = 0.8
        if body in OFFENCE:
            stage.go(body, spot, 9.0)
        else:
            defence.order(body, Order.PLACE, spot)


def scripted_drive(play: Play) -> Steps:
    """A ball screen for the point, driven into exactly ``execution.bodies`` others in the paint.

    The screen makes contact and the defence goes over it, whatever the other dials say: the on-ball defender must be
    behind the handler for the count to hold.
    """
    stage, defence, rng = play.stage, play.defence, play.stage.rng
    ex = replace(
        play.execution,
        coverage=Coverage.OVER,
        contact_ft=min(play.execution.contact_ft, 2.6),
        lag_s=max(play.execution.lag_s, 0.4),
    )
    play.execution = ex
    handler, screener = 0, 3
    big, post_guard = defence.guard_of(3), defence.guard_of(4)
    tag, dig, strong = defence.guard_of(2), defence.guard_of(1), 2
    order = [big, 4, post_guard, tag, strong, dig, 1]
    if ex.bodies <= 3:
        order = [big, tag, post_guard]
    elif rng.random() < 0.4:
        order = [big, 4, post_guard, dig, tag, strong, 1]
    others = tuple(order[: ex.bodies])
    yield from retreat_dribble(play, handler, float(rng.uniform(0.6, 1.4)))
    if rng.random() < 0.5 and ex.bodies <= 5:
        # one swing and back before the screen
        yield from stage.pass_to(2)
        stage.stay(handler)
        yield from stage.wait(float(rng.uniform(0.4, 0.8)))
        yield from stage.pass_to(handler)
        yield from stage.wait(0.2)
    stage.go(screener, stage.position[handler] * 0.8, 9.0)
    side = -1 if stage.position[handler][1] > 4 else 1
    depth = 8.5 if ex.bodies >= 4 else 4.5
    finish = ("kick_out" if rng.random() < 0.55 else "jump_shot") if ex.bodies >= 4 else "lay_up"
    plan = DrivePlan(handler, screener, side, others, (depth, 1.2 * side), finish)
    yield from ball_screen_drive(play, plan)


def _spots(floor: Places, rng: np.random.Generator) -> np.ndarray:
    handler = floor.slot(1) if rng.random() < 0.5 else floor.wing(1, out_ft=2.0) + np.array([4.0, 0.0])
    far = floor.wing(-1) if rng.random() < 0.5 else floor.slot(-1)
    spots = [handler, floor.corner(1), far, floor.elbow(1) + np.array([1.0, 1.0]), floor.block(-1)]
    return scattered(spots, rng)


CROWDED_DRIVE = Script("crowded_drive", _spots, scripted_drive, seed=1)
CLEAR_DRIVE = Script("clear_drive", _spots, scripted_drive, seed=2)
