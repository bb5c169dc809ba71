"""The scripts: what a possession sets out to do, written in the attack frame for the right (+v) side.

Roles: 0 point, 1 strong wing, 2 weak wing, 3 trailer (top, slot), 4 post. The mirror image of a
script is its mirrored movement; the other end is a turn of the floor (``possession``).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from pipeline.sim.plays.defence import Coverage, Defence, Officials, Order, Route, unit
from pipeline.sim.plays.execution import Curl, Ending, Execution
from pipeline.sim.plays.places import Places
from pipeline.sim.plays.stage import DEFENCE, OFFENCE, Stage, Steps


class Script(Enum):
    """Every script, by the name that commands use."""

    WEAK_SIDE_MOTION = "weak_side_motion"
    CROWDED_DRIVE = "crowded_drive"
    CLEAR_DRIVE = "clear_drive"
    UNSCRIPTED = "unscripted"
    TRANSITION = "transition"
    FREE_THROWS = "free_throws"


@dataclass
class Play:
    """What a script works with."""

    stage: Stage
    defence: Defence
    officials: Officials
    execution: Execution

    @property
    def floor(self) -> Places:
        """Places of this court."""
        return self.stage.floor

    def jitter(self, point: np.ndarray, sd_ft: float = 0.7) -> np.ndarray:
        """A place, a little off."""
        return point + np.clip(self.stage.rng.normal(0, sd_ft, 2), -1.6 * sd_ft, 1.6 * sd_ft)


def start_spots(script: Script, floor: Places, rng: np.random.Generator) -> np.ndarray:
    """Where the five attackers stand when a script begins in the half court, shape (5, 2)."""
    if script is Script.WEAK_SIDE_MOTION:
        spots = [floor.slot(1), floor.wing(1), floor.wing(-1), floor.slot(-1, out_ft=2.5), floor.block(1)]
    elif script in (Script.CROWDED_DRIVE, Script.CLEAR_DRIVE):
        handler = floor.slot(1) if rng.random() < 0.5 else floor.wing(1, out_ft=2.0) + np.array([4.0, 0.0])
        far = floor.wing(-1) if rng.random() < 0.5 else floor.slot(-1)
        spots = [handler, floor.corner(1), far, floor.elbow(1) + np.array([1.0, 1.0]), floor.block(-1)]
    elif script is Script.UNSCRIPTED:
        inside = floor.block(-1) if rng.random() < 0.6 else floor.corner(-1)
        spots = [floor.top(), floor.wing(1), floor.wing(-1), floor.slot(1, out_ft=3.0), inside]
        if rng.random() < 0.4:
            spots[3] = floor.elbow(1)
    else:
        spots = [floor.top(), floor.wing(1), floor.wing(-1), floor.slot(-1), floor.block(1)]
    return np.array(spots) + np.clip(rng.normal(0, 0.8, (5, 2)), -1.5, 1.5)


def bring_up(play: Play, spots: np.ndarray) -> Steps:
    """Walk the ball over half court while the others take their places."""
    stage, rng = play.stage, play.stage.rng
    holder = stage.holder
    if holder is not None and holder != 0:
        stage.go(0, lambda: stage.position[holder] + np.array([-7.0, -4.0]), 11.0)
        for k in OFFENCE:
            if k not in (0, holder):
                stage.go(k, spots[k], float(rng.uniform(9.5, 14.0)))
        yield from stage.until(lambda: 4.0 < stage.gap(0, holder) < 15.0 and stage.velocity[0][0] < 6.0, 3.0)
        yield from stage.wait(float(rng.uniform(0.1, 0.5)))
        yield from stage.pass_to(0, speed_ft_s=28.0)
    for k in OFFENCE:
        if k != 0:
            stage.go(k, spots[k], float(rng.uniform(9.0, 14.0)))
    stage.dribble()
    pace = float(rng.uniform(11.0, 14.0))
    if stage.position[0][0] > play.floor.half_court_u_ft + 3:
        sway = float(rng.uniform(-6, 6))
        yield from stage.run(0, [np.array([play.floor.half_court_u_ft + 2, spots[0][1] * 0.5 + sway])], pace)
    stage.go(0, spots[0], pace * 0.8)
    yield from stage.near(0, spots[0], 2.0, 9.0)
    yield from stage.until(lambda: sum(stage.distance(k, spots[k]) < 4.0 for k in OFFENCE) >= 4, 3.0)


# ---- parts that several scripts use ------------------------------------------------------------


def retreat_dribble(play: Play, body: int, seconds: float) -> Steps:
    """Dribble in place, a step here and there, for some time."""
    stage = play.stage
    base = stage.position[body].copy()
    stage.dribble()
    end = stage.t_s + seconds
    while stage.t_s < end:
        stage.go(body, base + np.clip(stage.rng.normal(0, 3.2, 2), -5, 5), 8.0)
        yield from stage.wait(min(float(stage.rng.uniform(0.4, 0.9)), max(end - stage.t_s, 0.02)))


def set_screen(play: Play, screener: int, victim: int, heading: Callable[[], np.ndarray], contact_ft: float) -> Steps:
    """Run to the victim's side on which the cutter will pass, and stand."""
    stage = play.stage
    gap = max(contact_ft, stage.limits.body_gap_ft + 0.1)
    stage.pair_gap[(screener, victim)] = gap - 0.15 if contact_ft < 3.0 else stage.limits.comfort_gap_ft

    def beside() -> np.ndarray:
        return stage.position[victim] + unit(heading() - stage.position[victim]) * gap

    stage.go(screener, beside, 13.0)
    yield from stage.near(screener, beside, 5.0, 2.5)
    yield from stage.near(screener, beside, 1.1, 0.9)
    spot = stage.position[screener] * 0.4 + beside() * 0.6
    stage.go(screener, spot, 4.0)
    stage.yields[screener] = 0.12
    stage.look[screener] = lambda: stage.position[victim]


def release_screen(play: Play, screener: int) -> None:
    """The screener moves again."""
    stage = play.stage
    stage.yields[screener] = 1.0
    stage.look.pop(screener, None)
    for pair in [p for p in stage.pair_gap if screener in p]:
        del stage.pair_gap[pair]


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


def finish_drive(play: Play, handler: int, finish: str) -> Steps:
    """End a drive: shot, or a kick-out to the freest perimeter man and his shot."""
    stage, defence = play.stage, play.defence
    if finish == "kick_out":
        receivers = [k for k in OFFENCE if k != handler and float(np.hypot(*stage.position[k])) > 15]
        if receivers:
            to = max(receivers, key=lambda k: stage.gap(k, defence.guard_of(k)))
            stage.stay(handler)
            yield from stage.pass_to(to, style="chest_pass", windup_s=0.15)
            yield from stage.wait(0.25)
            yield from shot(play, "jump_shot")
            return
        finish = "jump_shot"
    if finish == "lay_up":
        stage.go(handler, unit(stage.position[handler]) * 2.2, 13.0)
        yield from stage.until(lambda: float(np.hypot(*stage.position[handler])) < 7.0, 1.0)
    yield from shot(play, finish)


def shot(play: Play, style: str) -> Steps:
    """Shoot, and someone gets the ball: the other team's inbounder or a rebounder."""
    stage, defence, rng = play.stage, play.defence, play.stage.rng
    shooter = stage.holder
    if shooter is None:
        return
    made = play.execution.made
    stage.start(_crash(play, shooter))
    yield from stage.shoot(style=style, made=made)
    far = float(np.hypot(*stage.position[shooter]))
    place = rng.normal(0, 1.0, 2) + (
        np.array([1.5, 0.0]) if made else unit(rng.normal(0, 1, 2)) * rng.uniform(2.5, 5 + 0.15 * far)
    )
    if place[0] < -2.5:
        place[0] = 1.0
    getter = min(DEFENCE, key=lambda d: stage.distance(d, place))
    defence.order(getter, Order.PLACE, place)
    for d in DEFENCE:
        if d != getter:
            defence.order(d, Order.MAN)
    stage.go(getter, place, 12.0)
    yield from stage.loose_to(getter, 1.25 if made else float(rng.uniform(0.75, 1.0)), made=made)
    stage.marks["end_s"] = stage.t_s
    yield from stage.wait(0.4)


def _crash(play: Play, shooter: int) -> Steps:
    """While the shot is up some go to the boards, some go back."""
    stage = play.stage
    yield from stage.wait(0.55)
    for k in OFFENCE:
        if k == shooter:
            continue
        r = float(np.hypot(*stage.position[k]))
        if r < 16:
            stage.go(k, unit(stage.position[k]) * 4.5 + stage.rng.normal(0, 0.8, 2), 11.0)
            guard = play.defence.guard_of(k)
            if stage.gap(guard, k) < 6:
                stage.pose(guard, "box_out", 1.0)
        else:
            stage.go(k, stage.position[k] + np.array([5.0, 0.0]), 6.0)


# ---- the weak-side motion set ------------------------------------------------------------


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


# ---- drives ------------------------------------------------------------


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


# ---- unscripted ------------------------------------------------------------


def unscripted(play: Play) -> Steps:
    """No set: passes, cuts, relocations, handoffs, the odd screen and drive, until a shot."""
    stage, floor, rng = play.stage, play.floor, play.stage.rng
    seats: list[np.ndarray] = [
        floor.top(), floor.slot(1), floor.slot(-1), floor.wing(1), floor.wing(-1),
        floor.corner(1), floor.corner(-1), floor.block(1), floor.block(-1), floor.elbow(1), floor.elbow(-1),
    ]  # fmt: skip
    deadline = stage.t_s + float(rng.uniform(6.0, 15.0))
    others = stage.start(_off_ball(play, seats))
    while stage.t_s < deadline and stage.holder is not None:
        holder = stage.holder
        stage.marks["busy"] = float(holder)
        if rng.random() < 0.7:
            yield from retreat_dribble(play, holder, float(rng.uniform(0.3, 1.6)))
        else:
            yield from stage.wait(float(rng.uniform(0.3, 1.2)))
        what = rng.random()
        if what < 0.55:
            mates = [
                k for k in OFFENCE if k != holder and 6 < stage.gap(k, holder) < 27 and _open_lane(stage, holder, k)
            ]
            if mates:
                to = int(rng.choice(mates))
                yield from stage.pass_to(to)
                stage.marks["busy"] = float(to)
        elif what < 0.68:
            near = [k for k in OFFENCE if k != holder and stage.position[k][0] > 8]
            if near:
                to = min(near, key=lambda k: stage.gap(k, holder))
                stage.marks["taker"] = float(to)
                stage.dribble()
                meet = (stage.position[to] + stage.position[holder]) / 2
                stage.go(holder, meet, 9.0)
                stage.go(to, lambda at=holder: stage.position[at] + np.array([1.2, 1.0]), 12.0)  # type: ignore[misc]
                yield from stage.until(lambda a=to, b=holder: stage.gap(a, b) < 3.0, 2.0)  # type: ignore[misc]
                if stage.gap(to, holder) < 4.5:
                    yield from stage.handoff(to)
                stage.marks.pop("taker", None)
        elif what < 0.84 and stage.position[holder][0] > 12:
            screener = min((k for k in OFFENCE if k != holder), key=lambda k: abs(stage.gap(k, holder) - 10))
            _end(stage, others)
            side = 1 if stage.position[holder][1] < 0 else -1
            pull = (float(rng.uniform(2.5, 10)), float(rng.uniform(-2, 2)))
            finish = str(rng.choice(["kick_out", "lay_up", "jump_shot"]))
            yield from ball_screen_drive(play, DrivePlan(holder, screener, side, None, pull, finish))
            return
        elif stage.position[holder][0] > 8:
            yield from _isolation(play, holder)
            return
    if stage.holder is not None:
        _end(stage, others)
        yield from shot(play, "jump_shot")


def _end(stage: Stage, steps: Steps) -> None:
    if steps in stage.tasks:
        stage.tasks.remove(steps)


def _open_lane(stage: Stage, a: int, b: int) -> bool:
    line = stage.position[b] - stage.position[a]
    size = float(np.hypot(*line))
    for d in DEFENCE:
        rel = stage.position[d] - stage.position[a]
        along = float(rel @ line) / max(size, 1e-6)
        if 2 < along < size - 2 and abs(float(rel[0] * line[1] - rel[1] * line[0])) / max(size, 1e-6) < 2.2:
            return False
    return True


def _isolation(play: Play, holder: int) -> Steps:
    stage, defence, rng = play.stage, play.defence, play.stage.rng
    stage.dribble()
    side = 1 if rng.random() < 0.5 else -1
    drive_from = stage.t_s
    beyond = stage.position[holder] * 0.72 + np.array([0.0, 4.0 * side])
    defence.freeze(defence.guard_of(holder), float(rng.uniform(0.0, 0.35)))
    yield from stage.run_past(holder, beyond, 16.0, 2.4)
    aim = rng.normal(0, 1.2, 2) + np.array([rng.uniform(2.5, 9.0), 0.0])
    stage.go(holder, aim, 16.5)
    yield from stage.near(holder, aim, 1.8, 2.0)
    stage.event("drive", drive_from, stage.t_s, {"handler": holder})
    yield from finish_drive(play, holder, str(rng.choice(["kick_out", "lay_up", "jump_shot"])))


def _off_ball(play: Play, seats: list[np.ndarray]) -> Steps:
    """The four without the ball change places now and then."""
    stage, rng = play.stage, play.stage.rng
    until = {k: stage.t_s + float(rng.uniform(0.2, 2.5)) for k in OFFENCE}
    while True:
        for k in OFFENCE:
            if k in (stage.holder, int(stage.marks.get("busy", -1)), int(stage.marks.get("taker", -1))):
                continue
            if stage.t_s < until[k]:
                continue
            until[k] = stage.t_s + float(rng.uniform(1.2, 4.0))
            free = [
                s for s in seats
                if all(np.hypot(*(stage.goal[m] - s)) > 11.0 for m in OFFENCE if m != k)
                and np.hypot(*(stage.ball_uv - s)) > 10.0
            ]  # fmt: skip
            if not free:
                continue
            weights = np.exp(-np.array([stage.distance(k, s) for s in free]) / 14.0)
            seat = free[int(rng.choice(len(free), p=weights / weights.sum()))]
            if rng.random() < 0.3 and stage.position[k][0] > 14:
                # basket cut on the way
                stage.start(stage.run(k, [np.array([5.0, stage.position[k][1] * 0.25]), play.jitter(seat)], 14.0))
            else:
                stage.go(k, play.jitter(seat), float(rng.uniform(6.0, 14.0)))
        yield


# ---- transition and free throws ------------------------------------------------------------


def transition(play: Play) -> Steps:
    """A rebound is thrown out and run to the other end before the defence is set."""
    stage, defence, floor, rng = play.stage, play.defence, play.floor, play.stage.rng
    rebounder = stage.holder if stage.holder is not None else 4
    pg = 0 if rebounder != 0 else 1
    w = floor.half_width_ft
    lanes = {1: np.array([9.0, w - 5.0]), 2: np.array([9.0, -w + 5.0]), 3: floor.top(), 4: np.array([4.0, 3.0])}
    if pg == 1:
        lanes = {0: lanes[1], 2: lanes[2], 3: lanes[3], 4: lanes[4]}
    for k in OFFENCE:
        if k not in (rebounder, pg):
            stage.go(k, lanes.get(k, floor.slot(1)), float(rng.uniform(16.5, 20.0)))
    outlet = stage.position[rebounder] + np.array([-13.0, 9.0 * (1 if rng.random() < 0.5 else -1)])
    outlet[1] = np.clip(outlet[1], -w + 3, w - 3)
    if rebounder != pg:
        stage.go(pg, outlet, 14.0)
        yield from stage.near(pg, outlet, 4.0, 1.5)
        yield from stage.pass_to(pg, speed_ft_s=36.0, windup_s=0.2)
        stage.go(rebounder, lanes.get(rebounder, floor.top()), float(rng.uniform(14.0, 18.0)))
    stage.dribble()
    for d in DEFENCE:
        defence.duties[d].on_ball_gap_ft = 4.5
    yield from stage.run(pg, [np.array([floor.half_court_u_ft, stage.position[pg][1] * 0.4])], 17.5, near_ft=4.0)
    ahead = [k for k in (0, 1, 2) if k != pg and stage.position[k][0] < stage.position[pg][0] - 8]
    if ahead and rng.random() < 0.5:
        to = ahead[int(rng.integers(len(ahead)))]
        yield from stage.pass_to(to, speed_ft_s=38.0)
        holder = to
    else:
        holder = pg
    stage.dribble()
    stage.go(holder, np.array([4.0, 1.5 * np.sign(stage.position[holder][1] or 1.0)]), 17.0)
    began = stage.t_s
    yield from stage.until(lambda: stage.distance(holder, np.zeros(2)) < 9.0, 4.5)
    stage.event("drive", began, stage.t_s, {"handler": holder})
    crowd = any(
        stage.gap(d, holder) < 4 and stage.distance(d, np.zeros(2)) < stage.distance(holder, np.zeros(2))
        for d in DEFENCE
    )
    yield from finish_drive(play, holder, "jump_shot" if crowd else "lay_up")


def free_throw_spots(floor: Places) -> np.ndarray:
    """Ten places for a free throw, five attackers then five defenders, shape (10, 2)."""
    h = floor.half_lane_ft + 1.3
    u = np.array([7.4, 10.6, 13.6]) - 5.25
    return np.array(
        [
            [floor.line_u_ft + 0.9, 0.0],
            [floor.arc_ft + 4.0, 9.0],
            [floor.arc_ft + 3.0, -10.0],
            [u[1], -h],
            [u[1], h],
            [u[0], h],
            [u[0], -h],
            [u[2], h],
            [floor.arc_ft + 2.0, 3.0],
            [floor.arc_ft + 6.0, -4.0],
        ]
    )


def free_throws(play: Play) -> Steps:
    """Two free throws by the point; everybody else lines the lane or stands back."""
    stage, defence, floor, rng = play.stage, play.defence, play.floor, play.stage.rng
    spots = free_throw_spots(floor)
    stage.restless_ft[:10] = 0.25
    for body in range(10):
        if body in OFFENCE:
            stage.go(body, spots[body], 7.0)
        else:
            defence.order(body, Order.PLACE, spots[body])
        stage.look[body] = lambda: np.zeros(2)
    yield from stage.until(lambda: all(stage.distance(b, spots[b]) < 1.5 for b in range(10)), 6.0)
    for attempt in range(2):
        stage.give(0)
        yield from stage.wait(0.8)
        stage.dribble()
        yield from stage.wait(float(rng.uniform(1.0, 1.8)))
        stage.pick_up()
        yield from stage.wait(0.7)
        made = bool(rng.random() < 0.75)
        if attempt == 0:
            yield from stage.shoot(style="free_throw", made=made)
            yield from stage.loose_to(10, 1.4, made=True)
            yield from stage.wait(0.9)
            yield from stage.pass_to(0, speed_ft_s=20.0)
            for body in range(10):
                stage.look[body] = lambda: np.zeros(2)
        else:
            for body in range(10):
                stage.look.pop(body, None)
            yield from stage.shoot(style="free_throw", made=play.execution.made)
            getter = 5 if rng.random() < 0.5 else 6
            for d in (5, 6, 7):
                defence.order(d, Order.PLACE, spots[d] * 0.55)
            for k in (3, 4):
                stage.go(k, spots[k] * 0.7, 9.0)
            yield from stage.loose_to(getter, 1.2, made=play.execution.made)
            stage.marks["end_s"] = stage.t_s
    yield from stage.wait(0.5)


def dead_ball(play: Play, seconds: float) -> Steps:
    """After the whistle: people slow down, walk about, put their hands on their hips."""
    stage, defence, rng = play.stage, play.defence, play.stage.rng
    stage.marks["whistle_s"] = stage.t_s
    stage.pick_up()
    stage.tasks.clear()
    defence.helps = False
    stage.pose(11, "signal", 2.5, delay_s=0.1)
    for body in range(10):
        stage.restless_ft[body] = 2.0
        spot = stage.position[body] + stage.velocity[body] * 0.4 + rng.normal(0, 5.0, 2)
        if body in OFFENCE:
            stage.go(body, spot, 4.5)
        else:
            defence.order(body, Order.WALK, spot)
        if rng.random() < 0.4:
            stage.pose(body, "hands_on_hips", seconds, delay_s=float(rng.uniform(1.5, 4.0)))
    yield from stage.wait(seconds)


SCRIPTS: dict[Script, Callable[[Play], Steps]] = {
    Script.WEAK_SIDE_MOTION: weak_side_motion,
    Script.CROWDED_DRIVE: scripted_drive,
    Script.CLEAR_DRIVE: scripted_drive,
    Script.UNSCRIPTED: unscripted,
    Script.TRANSITION: transition,
    Script.FREE_THROWS: free_throws,
}
