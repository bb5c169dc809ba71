"""Free throws, and what people do after a whistle."""

from __future__ import annotations

import numpy as np

from pipeline.sim.plays.defence import Order
from pipeline.sim.plays.free_play import five_out_spots
from pipeline.sim.plays.places import Places
from pipeline.sim.plays.script import Opening, Play, Script
from pipeline.sim.plays.stage import OFFENCE, Steps


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


FREE_THROWS = Script("free_throws", five_out_spots, free_throws, opening=Opening.FREE_THROWS, seed=5)
