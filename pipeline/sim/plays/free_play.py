"""Play without a set: the half court and the fast break."""

from __future__ import annotations

import numpy as np

from pipeline.sim.plays.ball_screens import DrivePlan, ball_screen_drive
from pipeline.sim.plays.parts import finish_drive, retreat_dribble, scattered, shot
from pipeline.sim.plays.places import Places
from pipeline.sim.plays.script import Opening, Play, Script
from pipeline.sim.plays.stage import DEFENCE, OFFENCE, Stage, Steps


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


def _spots(floor: Places, rng: np.random.Generator) -> np.ndarray:
    inside = floor.block(-1) if rng.random() < 0.6 else floor.corner(-1)
    spots = [floor.top(), floor.wing(1), floor.wing(-1), floor.slot(1, out_ft=3.0), inside]
    if rng.random() < 0.4:
        spots[3] = floor.elbow(1)
    return scattered(spots, rng)


def five_out_spots(floor: Places, rng: np.random.Generator) -> np.ndarray:
    """Point on top, wings, a slot and a post."""
    return scattered([floor.top(), floor.wing(1), floor.wing(-1), floor.slot(-1), floor.block(1)], rng)


UNSCRIPTED = Script("unscripted", _spots, unscripted, seed=3)
TRANSITION = Script("transition", five_out_spots, transition, opening=Opening.TRANSITION, seed=4)
