"""Parts that several scripts use: bringing the ball up, screens, shots, the end of a drive."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from pipeline.sim.plays.defence import Order, unit
from pipeline.sim.plays.script import Play
from pipeline.sim.plays.stage import DEFENCE, OFFENCE, Steps


def scattered(spots: list[np.ndarray], rng: np.random.Generator) -> np.ndarray:
    """Start spots (5, 2), each a little off."""
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
