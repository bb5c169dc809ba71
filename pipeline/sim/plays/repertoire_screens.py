"""Sets that free a man without the ball: floppy, flex, UCLA, zipper entry, stagger away, Iverson, elevator, hammer.

Attack frame, strong side +v. Bodies: 0 has the ball, 1 and 2 are wings, 3 and 4 bigs, unless a set says otherwise.
"""

from __future__ import annotations

import numpy as np

from pipeline.sim.plays.defence import Order
from pipeline.sim.plays.parts import release_screen, retreat_dribble, set_screen, shot
from pipeline.sim.plays.places import Places
from pipeline.sim.plays.repertoire_moves import (
    Missing,
    calm,
    contact_ft,
    cut_off,
    did_cut,
    drive_to,
    find_shooter,
    guard_closely,
    keep_and_score,
    stand_as_screen,
    stays_away,
    uv,
    walk_into_screen,
    what_is_missing,
)
from pipeline.sim.plays.script import Play
from pipeline.sim.plays.stage import Steps

# ---- floppy ------------------------------------------------------------


def floppy_spots(floor: Places) -> list[np.ndarray]:
    """Ball at the top, both shooters under the ring, the bigs at the blocks."""
    return [floor.top(), uv(1.5, 1.8), uv(3.0, -2.2), floor.block(-1, out_ft=1.0), floor.block(1, out_ft=1.0)]


def floppy(play: Play) -> Steps:
    """Two shooters come out from under the ring, one on each side, off the bigs."""
    missing, began = what_is_missing(play), play.stage.t_s
    stage, floor = play.stage, play.floor
    calm(play)
    stage.restless_ft[[3, 4]] = 0.0
    guard_closely(play, (1, 2))
    stage.start(retreat_dribble(play, 0, 1.2))
    roles = {"guard": 0, "shooter": 1, "partner": 2, "big": 4, "other_big": 3}
    right, left = stage.position[4].copy(), stage.position[3].copy()
    if missing is Missing.SCREEN:
        yield from stays_away(play, 4, floor.elbow(1) + uv(2.0, -3.0))
        stage.go(3, floor.elbow(-1) + uv(2.0, 3.0), 9.0)
        yield from stage.wait(0.6)
        stage.start(stage.run(2, [uv(1.0, -12.5), floor.wing(-1)], 13.5))
        yield from stage.run(1, [uv(0.0, 12.5), floor.wing(1)], 14.0)
    else:
        stand_as_screen(play, 4, right)
        stand_as_screen(play, 3, left)
        yield from stage.wait(0.6)
        stage.start(cut_off(play, 2, 3, [floor.wing(-1)], by=uv(-0.8, -2.0), speed_ft_s=13.0))
        yield from stage.wait(float(stage.rng.uniform(0.0, 0.3)))
        yield from cut_off(play, 1, 4, [floor.wing(1)], by=uv(-0.8, 2.0))
        for screener in (3, 4):
            release_screen(play, screener)
    if missing is Missing.PASS:
        play.played("floppy", roles, start_s=began, missing=("catch",))
        yield from keep_and_score(play, 0, side=-1)
        return
    yield from find_shooter(play, 1)
    play.played("floppy", roles, start_s=began, missing=("off_big",) if missing is Missing.SCREEN else ())
    yield from shot(play, "jump_shot")


# ---- flex ------------------------------------------------------------


def flex_spots(floor: Places) -> list[np.ndarray]:
    """Slots and corners filled, one big at the block on the ball's side."""
    return [floor.slot(1), floor.corner(1) + uv(1.0, -1.0), floor.corner(-1), floor.slot(-1), floor.block(1)]


def flex(play: Play) -> Steps:
    """Slot to slot, the corner man cuts off the block, and the passer screens down for the screener."""
    missing, began = what_is_missing(play), play.stage.t_s
    stage, defence, floor = play.stage, play.defence, play.floor
    calm(play)
    guard_closely(play, (1, 4), sag=0.7)
    yield from retreat_dribble(play, 0, 0.9)
    if missing is not Missing.PASS:
        yield from stage.pass_to(3)
    else:
        stage.start(retreat_dribble(play, 0, 1.5))
    roles = {"first": 0, "second": 3, "cutter": 1, "big": 4}
    guard = defence.guard_of(1)
    low = uv(2.2, -floor.half_lane_ft - 0.5)
    if missing is Missing.SCREEN:
        yield from stays_away(play, 4, floor.elbow(1) + uv(0.5, 0.0), 0.9)
        yield from stage.run(1, [uv(-0.5, 11.0), low], 14.0)
    else:
        stage.restless_ft[4] = 0.0
        stage.go(1, stage.position[1] + uv(2.5, -1.5), 7.0)
        yield from set_screen(play, 4, guard, lambda: uv(1.0, 4.0), contact_ft(play))
        yield from stage.wait(0.25)
        yield from cut_off(play, 1, 4, [low], by=uv(-2.1, 0.2), kind="cross")
        release_screen(play, 4)
    defence.order(defence.guard_of(1), Order.POST)
    # the screen for the screener
    if missing is Missing.PASS:
        stage.go(4, floor.block(1), 7.0)
        play.played("flex", roles, start_s=began, missing=("swing",))
        yield from keep_and_score(play, 0, side=-1)
        return
    stage.start(stage.run(2, [floor.wing(-1) + uv(-4.0, -1.0)], 8.0))
    if missing is Missing.SCREEN:
        stage.go(0, floor.wing(1), 8.0)
        yield from stage.run(4, [floor.slot(1)], 11.0)
    else:
        yield from walk_into_screen(play, 0, 4, floor.slot(1), away_ft=uv(-0.8, -0.8))
        yield from cut_off(play, 4, 0, [floor.slot(1)], by=uv(0.3, 2.1))
        release_screen(play, 0)
        stage.go(0, floor.corner(1), 9.0)
    yield from find_shooter(play, 4)
    missed = ("flex_cut", "down") if missing is Missing.SCREEN else ()
    play.played("flex", roles, start_s=began, ending="slot_shot", missing=missed)
    yield from shot(play, "jump_shot")


# ---- UCLA ------------------------------------------------------------


def ucla_spots(floor: Places) -> list[np.ndarray]:
    """Ball in the slot, a big at the elbow on that side, wings wide."""
    return [floor.slot(1), floor.wing(1), floor.wing(-1), floor.slot(-1), floor.elbow(1) + uv(1.0, 0.5)]


def ucla(play: Play) -> Steps:
    """Wing entry, and the passer cuts to the block off the big at the elbow, who then steps out."""
    missing, began = what_is_missing(play), play.stage.t_s
    stage, defence, floor = play.stage, play.defence, play.floor
    calm(play)
    yield from retreat_dribble(play, 0, 0.8)
    stage.start(stage.run(1, [stage.position[1] + uv(-3.0, -2.0), floor.wing(1)], 12.0))
    yield from stage.wait(0.5)
    # the pass that did not come: the other slot gets it, and the cut is the same
    yield from stage.pass_to(3 if missing is Missing.PASS else 1)
    roles = {"guard": 0, "wing": 1, "big": 4}
    block = floor.block(1, out_ft=0.5)
    guard = defence.guard_of(0)
    if missing is Missing.SCREEN:
        yield from stays_away(play, 4, floor.elbow(-1) + uv(-6.0, 0.0), 0.7)
        cut_at = stage.t_s
        yield from stage.run(0, [floor.elbow(1) + uv(0.0, 1.0), block], 14.0)
        stage.go(4, floor.elbow(-1) + uv(3.0, 0.0), 9.0)
    else:
        stage.go(0, stage.position[0] + uv(0.8, -2.0), 7.0)
        stage.restless_ft[4] = 0.0
        yield from set_screen(play, 4, guard, lambda: floor.elbow(1) + uv(-2.0, 1.0), contact_ft(play))
        yield from stage.wait(0.25)
        cut_at = stage.t_s
        yield from cut_off(play, 0, 4, [block], by=uv(0.4, 2.1), kind="back")
        release_screen(play, 4)
    if missing is not Missing.SCREEN:
        did_cut(play, "ucla_cut", 0, cut_at)
    if missing is Missing.PASS:
        play.played("ucla", roles, start_s=began, missing=("entry",))
        yield from keep_and_score(play, 3, side=-1)
        return
    if missing is Missing.NOTHING and stage.rng.random() < 0.35:
        defence.order(defence.guard_of(0), Order.POST)
        yield from stage.pass_to(0, style="overhead_pass")
        yield from stage.wait(0.4)
        play.played("ucla", roles, start_s=began, ending="feed_the_cutter")
        yield from shot(play, "lay_up" if stage.distance(0, np.zeros(2)) < 7 else "jump_shot")
        return
    stage.go(4, floor.slot(1), 9.0)
    yield from stage.near(4, floor.slot(1), 2.5, 2.0)
    yield from find_shooter(play, 4)
    missed = ("rub",) if missing is Missing.SCREEN else ()
    play.played("ucla", roles, start_s=began, ending="big_steps_out", missing=missed)
    yield from shot(play, "jump_shot")


# ---- zipper entry ------------------------------------------------------------


def zipper_entry_spots(floor: Places) -> list[np.ndarray]:
    """Ball at the top, the cutter at the block, a big at the elbow above him."""
    return [floor.top(), floor.block(1, out_ft=0.3), floor.corner(-1), floor.wing(-1), floor.elbow(1)]


def zipper_entry(play: Play) -> Steps:
    """The guard dribbles to the wing, the man at the block comes up the lane line off the big to the top."""
    missing, began = what_is_missing(play), play.stage.t_s
    stage, floor = play.stage, play.floor
    calm(play)
    guard_closely(play, (1,))
    stage.dribble()
    stage.start(stage.run(0, [floor.wing(1) + uv(1.5, 0.0)], 10.0))
    yield from stage.wait(0.5)
    roles = {"guard": 0, "cutter": 1, "big": 4}
    top = floor.top() + uv(0.0, 1.0)
    if missing is Missing.SCREEN:
        yield from stays_away(play, 4, floor.elbow(-1) + uv(-4.0, 0.0), 0.7)
        cut_at = stage.t_s
        yield from stage.run(1, [uv(floor.line_u_ft, floor.half_lane_ft - 0.5), top], 14.0)
    else:
        yield from walk_into_screen(play, 4, 1, uv(floor.line_u_ft + 2.0, floor.half_lane_ft), away_ft=uv(-1.5, -0.6))
        cut_at = stage.t_s
        yield from cut_off(play, 1, 4, [uv(floor.line_u_ft + 4.0, 5.5), top], by=uv(0.2, 2.0))
        release_screen(play, 4)
    did_cut(play, "zipper_cut", 1, cut_at)
    yield from stage.near(0, floor.wing(1), 4.0, 1.5)
    if missing is Missing.PASS:
        play.played("zipper_entry", roles, start_s=began, missing=("catch",))
        yield from keep_and_score(play, 0, side=-1)
        return
    yield from stage.pass_to(1)
    play.played("zipper_entry", roles, start_s=began, missing=("down",) if missing is Missing.SCREEN else ())
    stage.dribble()
    yield from stage.wait(0.5)
    if stage.rng.random() < 0.5:
        yield from shot(play, "jump_shot")
    else:
        play.defence.freeze(play.defence.guard_of(1), 0.35)
        yield from drive_to(play, 1, uv(8.0, -2.0), finish="jump_shot")


# ---- stagger away ------------------------------------------------------------


def stagger_spots(floor: Places) -> list[np.ndarray]:
    """Ball in the strong slot, two bigs and the shooter on the other side."""
    low = uv(5.0, -floor.half_lane_ft - 3.0)
    return [floor.slot(1), floor.corner(1), floor.corner(-1) + uv(0.5, 1.0), floor.elbow(-1) + uv(2.0, -3.5), low]


def stagger_away(play: Play) -> Steps:
    """Two screens one after the other bring the shooter up from the far corner to the top."""
    missing, began = what_is_missing(play), play.stage.t_s
    stage, floor = play.stage, play.floor
    calm(play)
    guard_closely(play, (2,))
    stage.start(retreat_dribble(play, 0, 1.8))
    roles = {"guard": 0, "shooter": 2, "first": 4, "second": 3}
    top = floor.top() + uv(0.0, -1.5)
    high = floor.elbow(-1) + uv(2.0, -3.5)
    if missing is Missing.SCREEN:
        # one big stays out of it: a single screen
        stage.go(3, floor.elbow(1) + uv(-4.0, -3.0), 10.0)
    else:
        stand_as_screen(play, 3, high)
    yield from walk_into_screen(play, 4, 2, uv(8.0, -17.0), away_ft=uv(-1.0, -0.5))
    group = "single" if missing is Missing.SCREEN else "stagger"
    yield from cut_off(play, 2, 4, [], by=uv(0.6, -2.0), group=group)
    release_screen(play, 4)
    if missing is Missing.SCREEN:
        yield from stage.run(2, [high + uv(3.5, -1.5), top], 14.0)
    else:
        yield from cut_off(play, 2, 3, [top], by=uv(1.7, -1.2), group="stagger")
        release_screen(play, 3)
    if missing is Missing.PASS:
        play.played("stagger_away", roles, start_s=began, missing=("catch",))
        yield from keep_and_score(play, 0, side=1)
        return
    yield from find_shooter(play, 2)
    play.played("stagger_away", roles, start_s=began, missing=("second_screen",) if missing is Missing.SCREEN else ())
    yield from shot(play, "jump_shot")


# ---- Iverson ------------------------------------------------------------


def iverson_spots(floor: Places) -> list[np.ndarray]:
    """Ball at the top, a big at each elbow, the cutter on the wing."""
    return [
        floor.top(out_ft=5.0), floor.wing(1, out_ft=0.0) + uv(4.0, -1.0), floor.corner(-1),
        floor.elbow(1) + uv(1.5, 0.0), floor.elbow(-1) + uv(1.5, 0.0),
    ]  # fmt: skip


def iverson(play: Play) -> Steps:
    """The wing runs across over both elbows off the bigs and catches on the other wing."""
    missing, began = what_is_missing(play), play.stage.t_s
    stage, floor = play.stage, play.floor
    calm(play)
    guard_closely(play, (1,))
    stage.start(retreat_dribble(play, 0, 1.6))
    first, second = stage.position[3].copy(), stage.position[4].copy()
    stage.start(stage.run(2, [uv(0.5, -10.0), uv(0.5, 8.0), floor.corner(1)], 12.0))
    catch = floor.wing(-1) + uv(2.0, 0.0)
    roles = {"guard": 0, "cutter": 1, "near_big": 3, "far_big": 4}
    yield from stage.wait(0.4)
    if missing is Missing.SCREEN:
        stage.go(3, floor.block(1), 10.0)
        yield from stays_away(play, 4, floor.block(-1), 0.8)
        cut_at = stage.t_s
        yield from stage.run(1, [first + uv(3.0, 0.0), second + uv(3.0, 0.0), catch], 14.5)
    else:
        stand_as_screen(play, 3, first)
        stand_as_screen(play, 4, second)
        yield from stage.run(1, [stage.position[1] + uv(-2.0, 1.0)], 8.0)
        cut_at = stage.t_s
        yield from cut_off(play, 1, 3, [], by=uv(2.1, 0.0), speed_ft_s=15.0, kind="any", group="stagger")
        yield from cut_off(play, 1, 4, [catch], by=uv(2.1, 0.0), speed_ft_s=15.0, kind="any", group="stagger")
        release_screen(play, 3)
        release_screen(play, 4)
    did_cut(play, "iverson_cut", 1, cut_at)
    if missing is Missing.PASS:
        play.played("iverson", roles, start_s=began, missing=("catch",))
        yield from keep_and_score(play, 0, side=1)
        return
    yield from stage.pass_to(1)
    missed = ("over",) if missing is Missing.SCREEN else ()
    play.played("iverson", roles, start_s=began, missing=missed)
    stage.go(3, floor.block(1), 8.0)
    yield from stage.wait(0.6)
    if stage.rng.random() < 0.5:
        yield from shot(play, "jump_shot")
    else:
        play.defence.freeze(play.defence.guard_of(1), 0.3)
        yield from drive_to(play, 1, uv(7.0, -3.0), finish="jump_shot")


# ---- elevator ------------------------------------------------------------


def elevator_spots(floor: Places) -> list[np.ndarray]:
    """Ball in the slot, the shooter under the ring, the bigs side by side at the line."""
    return [floor.slot(-1), uv(1.5, 1.0), floor.corner(-1), uv(floor.line_u_ft, -3.2), uv(floor.line_u_ft, 3.2)]


def elevator(play: Play) -> Steps:
    """The shooter runs up between two bigs, who close the door behind him."""
    missing, began = what_is_missing(play), play.stage.t_s
    stage, defence, floor = play.stage, play.defence, play.floor
    calm(play)
    guard_closely(play, (1,))
    stage.start(retreat_dribble(play, 0, 1.8))
    apart = 9.5 if missing is Missing.SCREEN else 2.9
    line = floor.line_u_ft + 1.0
    stage.go(3, uv(line, -apart), 8.0)
    stage.go(4, uv(line, apart), 8.0)
    stage.restless_ft[[3, 4]] = 0.0
    yield from stage.run(1, [uv(0.5, -2.5)], 7.0)
    yield from stage.near(4, uv(line, apart), 1.0, 1.2)
    top = floor.top() + uv(0.5, 2.0)
    began = stage.t_s
    guard = defence.guard_of(1)
    defence.order(guard, Order.TRAIL)
    if missing is Missing.SCREEN:
        yield from stage.run(1, [uv(line, 0.0), top], 14.5)
    else:
        for screener in (3, 4):
            stand_as_screen(play, screener, uv(line, apart * (1 if screener == 4 else -1)))
            stage.pair_gap[(1, screener)] = 1.9
        yield from stage.run_past(1, uv(line, 0.0), 15.0, 1.5)
        for screener in (3, 4):
            play.did("off_ball_screen", {"screener": screener, "cutter": 1}, group="elevator")
            stage.go(screener, uv(line + 0.3, 1.0 * (1 if screener == 4 else -1)), 6.0)
        stage.start(_door_shuts(play, guard))
        yield from stage.run(1, [top], 15.0)
    defence.order(guard, Order.MAN)
    roles = {"guard": 0, "shooter": 1, "left_door": 3, "right_door": 4}
    if missing is Missing.PASS:
        play.played("elevator", roles, start_s=began, missing=("catch",))
        yield from keep_and_score(play, 0, side=-1)
        return
    yield from stage.wait(0.2)
    yield from find_shooter(play, 1)
    play.played("elevator", roles, start_s=began, missing=("door",) if missing is Missing.SCREEN else ())
    yield from shot(play, "jump_shot")


def _door_shuts(play: Play, guard: int) -> Steps:
    """The shooter's man runs into the closed door and is held there."""
    stage = play.stage
    yield from stage.until(lambda: min(stage.gap(guard, 3), stage.gap(guard, 4)) < 2.6, 0.9)
    play.defence.freeze(guard, 0.25 + play.execution.lag_s)
    yield from stage.wait(0.8)
    for screener in (3, 4):
        release_screen(play, screener)


# ---- hammer ------------------------------------------------------------


def hammer_spots(floor: Places) -> list[np.ndarray]:
    """Ball on the strong wing, a big in the weak slot above the weak-side wing."""
    return [
        floor.wing(1, out_ft=3.2),
        floor.slot(1),
        floor.wing(-1),
        floor.slot(-1) + uv(-3.0, 0.0),
        floor.elbow(-1) + uv(1.0, 4.0),
    ]


def hammer(play: Play) -> Steps:
    """A baseline drive, and on the far side a back screen sends the wing to the corner for the pass."""
    missing, began = what_is_missing(play), play.stage.t_s
    stage, defence, floor = play.stage, play.defence, play.floor
    calm(play)
    guard_closely(play, (2,), sag=0.8)
    stage.start(retreat_dribble(play, 0, 1.6))
    corner = floor.corner(-1)
    if missing is not Missing.SCREEN:
        yield from walk_into_screen(play, 3, 2, corner + uv(4.0, 1.0), away_ft=uv(1.5, 0.8))
    else:
        stage.go(3, floor.top() + uv(0.0, 2.0), 8.0)
        yield from stage.wait(1.2)
    # a jab to the middle, then past his man on the baseline side
    stage.go(0, stage.position[0] + uv(1.0, -3.0), 9.0)
    yield from stage.wait(0.6)
    defence.freeze(defence.guard_of(0), 0.7)
    baseline = uv(0.2, floor.half_lane_ft + 1.0)
    stage.go(0, uv(6.0, floor.half_lane_ft + 6.5), 17.0, stops=False)
    goes_s = stage.t_s + 0.3
    yield from stage.wait(0.55)
    if missing is Missing.SCREEN:
        stage.start(stage.run(2, [corner], 14.0))
    else:
        stage.start(_slide(play, corner))
    yield from stage.near(0, uv(6.0, floor.half_lane_ft + 6.5), 3.0, 2.0)
    stage.go(0, baseline, 16.0)
    yield from stage.near(0, baseline, 1.8, 1.6)
    play.did("drive", {"handler": 0}, t_s=goes_s, start_s=goes_s)
    yield from stage.near(2, corner, 3.0, 1.0)
    roles = {"driver": 0, "shooter": 2, "screener": 3}
    if missing is Missing.PASS:
        play.played("hammer", roles, start_s=began, missing=("corner_pass",))
        stage.go(0, uv(1.0, 4.0), 10.0)
        yield from stage.wait(0.25)
        yield from shot(play, "lay_up")
        return
    stage.stay(0)
    yield from stage.pass_to(2, style="overhead_pass", windup_s=0.15)
    yield from stage.wait(0.25)
    play.played("hammer", roles, start_s=began, missing=("slide",) if missing is Missing.SCREEN else ())
    yield from shot(play, "jump_shot")


def _slide(play: Play, corner: np.ndarray) -> Steps:
    yield from cut_off(play, 2, 3, [corner], by=uv(0.3, -2.1), kind="any")
    release_screen(play, 3)
    play.stage.go(3, play.floor.slot(-1), 8.0)
