"""Moments of a possession as the renderer wants them, and random ones for training pictures."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import cast

import numpy as np

from pipeline.court.attack_frame import End
from pipeline.court.rule_books import RuleBook
from pipeline.sim.plays.ball_screens import CLEAR_DRIVE, CROWDED_DRIVE
from pipeline.sim.plays.execution import Execution, Quality, sample_execution
from pipeline.sim.plays.free_play import TRANSITION, UNSCRIPTED
from pipeline.sim.plays.posing import POSES
from pipeline.sim.plays.possession import Possession, simulate
from pipeline.sim.plays.stoppages import FREE_THROWS
from pipeline.sim.plays.weak_side import WEAK_SIDE_MOTION
from pipeline.sim.scene import ActorState, BallState, Pose, Role

_HOLDING = frozenset(
    {"catch", "chest_pass", "overhead_pass", "handoff", "jump_shot", "lay_up", "free_throw", "rebound"}
)
"""Poses that say themselves where the ball is."""
_SHARES = {
    WEAK_SIDE_MOTION: 0.24,
    CROWDED_DRIVE: 0.14,
    CLEAR_DRIVE: 0.14,
    UNSCRIPTED: 0.32,
    TRANSITION: 0.1,
    FREE_THROWS: 0.06,
}


def scene_actors(possession: Possession, t_s: float, numbers: tuple[str, ...] = ("",) * 10) -> tuple[ActorState, ...]:
    """The thirteen people at a time of the possession, between steps by interpolation.

    Parameters
    ----------
    possession : Possession
    t_s : float
        From the possession's start; held to its ends.
    numbers : tuple of 10 str
        Jersey numbers of actors 0-9.
    """
    p = possession
    k = float(np.clip(t_s / p.dt_s, 0, len(p.xy_ft) - 1))
    a = int(k)
    b = min(a + 1, len(p.xy_ft) - 1)
    w = k - a
    near = a if w < 0.5 else b
    out = []
    for i in range(p.xy_ft.shape[1]):
        velocity = (1 - w) * p.velocity_ft_s[a, i] + w * p.velocity_ft_s[b, i]
        turn = (p.facing_rad[b, i] - p.facing_rad[a, i] + np.pi) % (2 * np.pi) - np.pi
        step = (p.phase[b, i] - p.phase[a, i] + 0.5) % 1.0 - 0.5
        same = p.pose[a, i] == p.pose[b, i]
        phase = (p.phase[a, i] + w * step) if same and abs(step) < 0.3 else p.phase[near, i]
        blend = float(p.blend[near, i])
        role: Role = "official" if i >= 10 else "player"
        out.append(
            ActorState(
                actor=i,
                role=role,
                team=-1 if i >= 10 else i // 5,
                number="" if i >= 10 else numbers[i],
                position_ft=(1 - w) * p.xy_ft[a, i] + w * p.xy_ft[b, i],
                facing_rad=float(p.facing_rad[a, i] + w * turn),
                pose=cast(Pose, POSES[p.pose[near, i]]),
                phase=float(np.clip(phase, 0.0, 1.0)),
                speed_ft_s=float(np.hypot(*velocity)),
                velocity_ft_s=velocity,
                height_off_floor_ft=float((1 - w) * p.jump_ft[a, i] + w * p.jump_ft[b, i]),
                blend_from=cast(Pose, POSES[p.pose_from[near, i]]) if blend < 1.0 else None,
                blend=blend,
            )
        )
    return tuple(out)


def scene_ball(possession: Possession, t_s: float) -> BallState:
    """The ball at a time; NaN place while a pose of its own holds it, so that it is drawn between the hands."""
    p = possession
    k = float(np.clip(t_s / p.dt_s, 0, len(p.ball_ft) - 1))
    a = int(k)
    b = min(a + 1, len(p.ball_ft) - 1)
    w = k - a
    near = a if w < 0.5 else b
    held = int(p.holder[near])
    velocity = (p.ball_ft[b] - p.ball_ft[a]) / p.dt_s if b > a else np.zeros(3)
    if p.in_hands[near] and held >= 0 and POSES[p.pose[near, held]] in _HOLDING:
        return BallState(np.full(3, np.nan), held)
    return BallState((1 - w) * p.ball_ft[a] + w * p.ball_ft[b], held if held >= 0 else None, velocity)


@dataclass(frozen=True, slots=True, eq=False)
class Moment:
    """People and ball of one moment, without camera, and where the play is."""

    actors: tuple[ActorState, ...]
    ball: BallState
    ball_ft: np.ndarray
    """(3,), never NaN."""
    end: End
    offence: int
    t_s: float
    script: str


@dataclass
class _Shelf:
    """Possessions kept for drawing several moments from each."""

    kept: dict[str, list[Possession]] = field(default_factory=dict)


_SHELF = _Shelf()
SHELF_SIZE, REUSE = 12, 30


def random_possession(rng: np.random.Generator, book: RuleBook) -> Possession:
    """A possession of a random script, dials, side, end and teams."""
    names = list(_SHARES)
    script = names[int(rng.choice(len(names), p=np.array(list(_SHARES.values()))))]
    quality = Quality.GOOD if rng.random() < 0.5 else Quality.BAD
    execution: Execution = sample_execution(rng, quality)
    if script is CROWDED_DRIVE:
        execution = replace(execution, bodies=int(rng.choice([4, 5, 5, 6, 7])), contact_ft=2.3)
    elif script is CLEAR_DRIVE:
        execution = replace(execution, bodies=int(rng.integers(1, 4)), contact_ft=2.3)
    return simulate(
        script,
        int(rng.integers(2**31)),
        book,
        execution=execution,
        dials=script.draw(rng, quality),
        quality=quality,
        side=1 if rng.random() < 0.5 else -1,
        end="left" if rng.random() < 0.5 else "right",
        offence=int(rng.integers(2)),
        walk_in=bool(rng.random() < 0.4),
    )


def random_moment(rng: np.random.Generator, book: RuleBook) -> Moment:
    """A random moment of a random possession; possessions are reused some times, so it is quick on average.

    Which possessions lie on the shelf depends on the calls before; for moments that depend on ``rng`` alone use
    ``random_possession`` and ``scene_actors``.
    """
    shelf = _SHELF.kept.setdefault(book.name, [])
    if len(shelf) < SHELF_SIZE or rng.random() < 1 / REUSE:
        fresh = random_possession(rng, book)
        if len(shelf) >= SHELF_SIZE:
            shelf.pop(int(rng.integers(len(shelf))))
        shelf.append(fresh)
        chosen = fresh
    else:
        chosen = shelf[int(rng.integers(len(shelf)))]
    return moment_at(chosen, float(rng.uniform(0.3, max(chosen.seconds - 0.1, 0.31))))


def moment_at(possession: Possession, t_s: float) -> Moment:
    """The moment of a possession at a time."""
    k = int(np.clip(round(t_s / possession.dt_s), 0, len(possession.ball_ft) - 1))
    return Moment(
        scene_actors(possession, t_s),
        scene_ball(possession, t_s),
        possession.ball_ft[k],
        possession.end,
        possession.offence,
        t_s,
        possession.script.name,
    )
