"""One simulated possession as arrays in the court frame, ready to be filmed.

``simulate`` runs a script on the stage, smooths the paths, works out facing, poses and the ball's
path, and turns the result to the wanted side and end. Scripted drives are run until the paint count
by the glossary's rule (``paint_count``) is exactly what the dials promise.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.court.attack_frame import End
from pipeline.court.rule_books import RuleBook
from pipeline.errors import SettingsError
from pipeline.sim.plays.ball_path import ball_path
from pipeline.sim.plays.ball_screens import CLEAR_DRIVE, CROWDED_DRIVE
from pipeline.sim.plays.deeds.bare_screens import bare_ball_screens
from pipeline.sim.plays.deeds.faults import observe_faults
from pipeline.sim.plays.deeds.observe import keeps_word, observe
from pipeline.sim.plays.deeds.run import Run, Seen
from pipeline.sim.plays.defence import Defence, Officials, Order, defenders_start
from pipeline.sim.plays.execution import Execution, Quality
from pipeline.sim.plays.motion import smooth
from pipeline.sim.plays.paint_count import Drive, PaintCount, count_paint, find_drives
from pipeline.sim.plays.parts import bring_up
from pipeline.sim.plays.places import Places, places, to_attack, to_court, vector_to_court
from pipeline.sim.plays.posing import pose_paths
from pipeline.sim.plays.script import Opening, Play, Script, SetRun, Value
from pipeline.sim.plays.stage import BODIES, DT_S, OFFICIALS, PlayEvent, Stage, Steps
from pipeline.sim.plays.stoppages import dead_ball, free_throw_spots

SMOOTH_STEPS = 4.5
TRIES = 40
CHECKED_TRIES = 8
CLEAR_EDGE_FT = 0.8
"""In scripted drives nobody stands nearer to the paint's border than this at a judged moment."""


@dataclass(frozen=True, slots=True, eq=False)
class Possession:
    """Paths of one possession, court frame. T steps of ``dt_s``; actors 0-4 team 0, 5-9 team 1, 10-12 officials.

    Attributes
    ----------
    script : Script
    book : RuleBook
    end : {"left", "right"}
        The attacked end.
    side : int
        +1 or -1: whether v was mirrored.
    offence : int
        Attacking team.
    execution : Execution
    dt_s : float
    xy_ft, velocity_ft_s : ndarray of shape (T, 13, 2)
    facing_rad : ndarray of shape (T, 13)
    pose, pose_from : ndarray of int8, shape (T, 13)
        Indices into ``POSES``; ``pose_from`` is the pose blended from.
    blend, phase, jump_ft : ndarray of shape (T, 13)
    ball_ft : ndarray of shape (T, 3)
    in_hands : ndarray of bool, shape (T,)
        Held without a dribble: the ball is between the holder's hands.
    holder : ndarray of int8, shape (T,)
        Actor, -1 for nobody.
    spans : tuple of (kind, start_s, end_s, by, to, made)
        The ball's story with actors.
    events : tuple of PlayEvent
        With actors.
    drives : tuple of Drive
    paint_counts : tuple of PaintCount
        By the glossary's rule, with actors; ``moment`` is a step.
    steady_from_s : float
        From here on the half-court play.
    marks : dict
        Times the script noted: ring_s, end_s, whistle_s ...
    """

    script: Script
    book: RuleBook
    end: End
    side: int
    offence: int
    execution: Execution
    dt_s: float
    xy_ft: np.ndarray
    velocity_ft_s: np.ndarray
    facing_rad: np.ndarray
    pose: np.ndarray
    pose_from: np.ndarray
    blend: np.ndarray
    phase: np.ndarray
    jump_ft: np.ndarray
    ball_ft: np.ndarray
    in_hands: np.ndarray
    holder: np.ndarray
    spans: tuple[tuple[str, float, float, int, int | None, bool], ...]
    events: tuple[PlayEvent, ...]
    drives: tuple[Drive, ...]
    paint_counts: tuple[PaintCount, ...]
    steady_from_s: float
    marks: dict[str, float]
    dials: Mapping[str, Value]
    quality: Quality
    seen: tuple[Seen, ...]
    faults: tuple[Seen, ...]
    sets: tuple[SetRun, ...]
    kept: bool
    """Whether everything that the script meant is in the paths, and nothing that it spares."""

    @property
    def seconds(self) -> float:
        """Length in time."""
        return (len(self.xy_ft) - 1) * self.dt_s


def actor_of(body: int, offence: int) -> int:
    """Stage body (0-4 attack, 5-9 defend) to actor (0-4 team 0, 5-9 team 1)."""
    if body in OFFICIALS or offence == 0:
        return body
    return body + 5 if body < 5 else body - 5


def _order(offence: int) -> np.ndarray:
    """Body of each actor, shape (13,)."""
    return np.array([actor_of(k, offence) for k in range(BODIES)])


def simulate(
    script: Script,
    seed: int,
    book: RuleBook,
    *,
    execution: Execution | None = None,
    dials: Mapping[str, Value] | None = None,
    quality: Quality = Quality.GOOD,
    side: int = 1,
    end: End = "left",
    offence: int = 0,
    start_xy_ft: np.ndarray | None = None,
    start_velocity_ft_s: np.ndarray | None = None,
    start_facing_rad: np.ndarray | None = None,
    start_holder: int | None = None,
    walk_in: bool = False,
    dead_s: float = 0.0,
) -> Possession:
    """Simulate one possession.

    Parameters
    ----------
    script : Script
    seed : int
        Same seed and arguments, same possession.
    book : RuleBook
    execution : Execution, optional
        The dials; ``bodies`` counts only for the two drive scripts.
    side : int
        -1 mirrors the whole possession across the ring's axis.
    end : {"left", "right"}
        Attacked end.
    offence : int
        Attacking team, 0 or 1.
    start_xy_ft, start_velocity_ft_s : ndarray of shape (13, 2), optional
        Where actors are when it begins (court frame); else in the script's places.
    start_facing_rad : ndarray of shape (13,), optional
        Which way actors face then.
    start_holder : int, optional
        Actor with the ball at the start; else the point.
    walk_in : bool
        Start with the point bringing the ball over half court.
    dead_s : float
        How long people walk about after the whistle at the end; 0 for play that goes on.

    Raises
    ------
    SettingsError
        If the promised paint count is not reached in ``TRIES`` runs.
    """
    execution_dials = execution or Execution()
    drawn = script.draw(np.random.default_rng([seed, 7]), quality) | dict(dials or {})
    fixed = script in (CROWDED_DRIVE, CLEAR_DRIVE)
    tries = TRIES if fixed else (CHECKED_TRIES if script.checked else 1)
    for attempt in range(tries):
        found = _run(
            script, np.random.default_rng([seed, attempt, script.seed_number]), book, execution_dials,
            dials=drawn, quality=quality, side=side, end=end, offence=offence, start_xy_ft=start_xy_ft,
            start_velocity_ft_s=start_velocity_ft_s, start_facing_rad=start_facing_rad, start_holder=start_holder,
            walk_in=walk_in, dead_s=dead_s, promised=execution_dials.bodies if fixed else None,
        )  # fmt: skip
        if found is not None and found.kept:
            return found
    if script.checked:
        raise SettingsError(
            f"Script {script.name} with dials {drawn} did not do what it means in {tries} runs from seed "
            f"{seed}; choose other dials or another seed."
        )
    raise SettingsError(
        f"Script {script.name} with {execution_dials.bodies} bodies in the paint was not reached "
        f"in {TRIES} runs from seed {seed}; "
        "choose another number of bodies (0 to 7) or another seed."
    )


def keeps_promise(counts: Sequence[PaintCount], bodies: int) -> bool:
    """Whether the drive's paint count at the entry is exactly the dial's and no judged moment is doubtful."""
    entries = [c for c in counts if c.kind == "entry"]
    if len(entries) != 1 or not all(c.count == c.most and c.edge_ft >= CLEAR_EDGE_FT for c in entries):
        return False
    corners = [c for c in counts if c.kind == "corner"]
    return entries[0].count == bodies and all(c.count <= bodies and c.most <= bodies for c in corners)


def _run(
    script: Script,
    rng: np.random.Generator,
    book: RuleBook,
    execution: Execution,
    *,
    dials: Mapping[str, Value],
    quality: Quality,
    side: int,
    end: End,
    offence: int,
    start_xy_ft: np.ndarray | None,
    start_velocity_ft_s: np.ndarray | None,
    start_facing_rad: np.ndarray | None,
    start_holder: int | None,
    walk_in: bool,
    dead_s: float,
    promised: int | None,
) -> Possession | None:
    """One run; None as soon as it breaks the promise of so many in the paint."""
    floor = places(book)
    mirror = np.array([1.0, float(side)])
    spots = script.spots(floor, rng)
    velocity = None
    holder = 0
    if start_xy_ft is not None:
        bodies_uv = to_attack(start_xy_ft[_order(offence)], book, end) * mirror
        if start_velocity_ft_s is not None:
            velocity = vector_to_court(start_velocity_ft_s[_order(offence)], end) * mirror
        holder = actor_of(start_holder, offence) if start_holder is not None else 0
    else:
        bodies_uv, holder = _start_places(script, spots, floor, rng, walk_in=walk_in)
    stage = Stage(book, rng, bodies_uv, start_velocity=velocity)
    defence = Defence(stage)
    officials = Officials(stage)
    stage.defence_step, stage.officials_step = defence.step, officials.step
    stage.codes = defence.codes
    stage.may_leave_floor = {holder} if bodies_uv[holder, 0] > floor.far_ring_u_ft else set()
    play = Play(stage, defence, officials, execution, dials, quality)
    stage.give(holder)

    def whole() -> Steps:
        began_far = start_xy_ft is not None or walk_in
        if began_far and script.opening is Opening.HALF_COURT:
            yield from bring_up(play, spots)
        elif script.opening is Opening.HALF_COURT:
            stage.dribble()
            yield from stage.wait(0.8)
        stage.marks["steady_s"] = stage.t_s
        yield from script.steps(play)
        if dead_s > 0:
            yield from dead_ball(play, dead_s)

    stage.play(whole())
    uv = smooth(np.array(stage.path), SMOOTH_STEPS)
    holders = _holder_path(stage, len(uv))
    screens = [(e.t_s, e.actors["handler"], e.actors["screener"]) for e in stage.events if e.kind == "on_ball_screen"]
    drives = find_drives(uv, holders, DT_S, floor, screens)
    counts = tuple(c for d in drives for c in count_paint(uv, d, DT_S, floor))
    if promised is not None and not keeps_promise(counts, promised):
        return None
    facing_uv = None
    if start_facing_rad is not None:
        facing_uv = (start_facing_rad[_order(offence)] - (np.pi if end == "right" else 0.0)) * side
    posed = pose_paths(stage, uv, holders, facing_uv)
    ball, in_hands = ball_path(stage, uv, posed.facing_rad, posed.hand, posed.jump_ft)

    run = _run_of(stage, play, uv, holders, posed.facing_rad, drives, counts)
    seen = observe(run)
    faults = observe_faults(run, seen)
    sets = (*play.sets, *bare_ball_screens(seen, play.sets))
    kept = not script.checked or keeps_word(play, seen, faults)

    uv = uv * mirror
    order = _order(offence)
    facing = posed.facing_rad * side
    if end == "right":
        facing = facing + np.pi
    ball_xy = to_court(ball[:, :2] * mirror, book, end)
    mirrored_pose = posed.mirrored() if side < 0 else (posed.pose, posed.pose_from)
    arrays = {
        "xy_ft": to_court(uv, book, end)[:, order],
        "velocity_ft_s": vector_to_court(np.gradient(uv, DT_S, axis=0), end)[:, order],
        "facing_rad": ((facing + np.pi) % (2 * np.pi) - np.pi)[:, order],
        "pose": mirrored_pose[0][:, order],
        "pose_from": mirrored_pose[1][:, order],
        "blend": posed.blend[:, order],
        "phase": posed.phase[:, order],
        "jump_ft": posed.jump_ft[:, order],
        "ball_ft": np.column_stack([ball_xy, ball[:, 2]]),
        "in_hands": in_hands,
        "holder": np.array([-1 if h < 0 else actor_of(int(h), offence) for h in holders], dtype=np.int8),
    }
    for array in arrays.values():
        array.setflags(write=False)
    return Possession(
        script=script,
        book=book,
        end=end,
        side=side,
        offence=offence,
        execution=execution,
        dt_s=DT_S,
        spans=tuple(
            (
                s.kind, s.start_s, s.end_s, -1 if s.by < 0 else actor_of(s.by, offence),
                None if s.to is None else actor_of(s.to, offence), s.made,
            )
            for s in stage.spans
        ),
        events=tuple(replace(e, actors={r: actor_of(b, offence) for r, b in e.actors.items()}) for e in stage.events),
        drives=tuple(replace(d, handler=actor_of(d.handler, offence)) for d in drives),
        paint_counts=tuple(_with_actors(c, offence) for c in counts),
        steady_from_s=stage.marks.get("steady_s", 0.0),
        marks=dict(stage.marks),
        dials=dict(dials),
        quality=quality,
        seen=tuple(_as_actors(s, offence, side) for s in seen),
        faults=tuple(_as_actors(s, offence, side) for s in faults),
        sets=tuple(replace(s, roles=tuple((r, actor_of(b, offence)) for r, b in s.roles)) for s in sets),
        kept=kept,
        **arrays,
    )  # fmt: skip


def _run_of(
    stage: Stage,
    play: Play,
    uv: np.ndarray,
    holder: np.ndarray,
    facing: np.ndarray,
    drives: list[Drive],
    counts: tuple[PaintCount, ...],
) -> Run:
    men = np.array(stage.duty_path)[: len(uv), 1].astype(int)
    guard = np.argsort(men, axis=1) + 5
    past = uv[:, :5, 0] < stage.floor.half_court_u_ft
    handled = np.array([0 <= h < 5 and bool(past[k, h]) for k, h in enumerate(holder)])
    settled = np.flatnonzero(handled & (past.sum(1) >= 4))
    live_s = stage.marks.get("ring_s", stage.marks.get("whistle_s", stage.t_s))
    live = min(round(min(live_s, stage.marks.get("lost_s", live_s)) / DT_S) + 1, len(uv))
    return Run(
        book=stage.book,
        floor=stage.floor,
        uv=uv,
        velocity=np.gradient(uv, DT_S, axis=0),
        facing=facing,
        holder=holder,
        guard=guard,
        trailing=np.array(stage.duty_path)[: len(uv), 0] == list(Order).index(Order.TRAIL),
        spans=tuple(stage.spans),
        deeds=tuple(play.deeds),
        drives=tuple(drives),
        counts=counts,
        live=live,
        half_court=int(settled[0]) if len(settled) else len(uv),
    )


def _as_actors(seen: Seen, offence: int, side: int) -> Seen:
    return replace(
        seen,
        roles=tuple((r, actor_of(b, offence)) for r, b in seen.roles),
        place_uv=(seen.place_uv[0], seen.place_uv[1] * side),
        measures={k: v * side if k.endswith("v_ft") else v for k, v in seen.measures.items()},
    )


def _with_actors(count: PaintCount, offence: int) -> PaintCount:
    drive = replace(count.drive, handler=actor_of(count.drive.handler, offence))
    return replace(count, drive=drive, others=tuple(actor_of(b, offence) for b in count.others))


def _holder_path(stage: Stage, steps: int) -> np.ndarray:
    holder = np.full(steps, -1, dtype=int)
    for span in stage.spans:
        if span.kind in ("hold", "dribble"):
            holder[round(span.start_s / DT_S) : round(span.end_s / DT_S) + 1] = span.by
    return holder


def _start_places(
    script: Script, spots: np.ndarray, f: Places, rng: np.random.Generator, *, walk_in: bool
) -> tuple[np.ndarray, int]:
    holder = 0
    if script.opening is Opening.FREE_THROWS:
        ten = free_throw_spots(f) + rng.normal(0, 1.0, (10, 2))
    elif script.opening is Opening.TRANSITION:
        far = f.far_ring_u_ft
        away = rng.uniform([-18, -14], [4, 14], (5, 2)) + np.array([far - 4, 0.0])
        ours = rng.uniform([-12, -12], [2, 12], (5, 2)) + np.array([far - 3, 0.0])
        ours[4] = [far - 3.0, rng.uniform(-5, 5)]
        holder = 4
        ten = np.vstack([_apart(ours, 3.5, rng), away])
        ten = _apart(ten, 3.0, rng)
    elif walk_in:
        attack = spots * 1.0
        attack[:, 0] += rng.uniform(4, 14, 5)
        attack[0] = [f.half_court_u_ft + rng.uniform(2, 8), spots[0, 1] * 0.5 + rng.uniform(-6, 6)]
        ten = np.vstack([attack, defenders_start(attack, attack[0]) + rng.normal(0, 1.0, (5, 2))])
    else:
        ten = np.vstack([spots, defenders_start(spots, spots[0]) + rng.normal(0, 0.8, (5, 2))])
    ten = _apart(ten, 2.4, rng)
    ball = ten[holder]
    edge = f.half_width_ft
    base = f.baseline_u_ft - 2.2
    refs = np.array([[base, f.half_lane_ft + 6], [max(ball[0] - 8, 16), -edge - 0.6], [ball[0] + 7, edge + 0.3]])
    return np.vstack([ten, refs]), holder


def _apart(points: np.ndarray, gap_ft: float, rng: np.random.Generator) -> np.ndarray:
    """Push points apart until none are nearer than the gap."""
    p = points.copy()
    for _ in range(60):
        rel = p[None] - p[:, None]
        d = np.hypot(rel[..., 0], rel[..., 1])
        close = np.argwhere(np.triu(d < gap_ft, 1))
        if not len(close):
            break
        for i, j in close:
            n = rel[i, j] / max(d[i, j], 1e-6) if d[i, j] > 1e-6 else rng.normal(0, 1, 2)
            p[i] -= n * (gap_ft - d[i, j]) * 0.55
            p[j] += n * (gap_ft - d[i, j]) * 0.55
    return p
