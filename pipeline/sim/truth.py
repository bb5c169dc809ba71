"""The truth of a simulated film, in the pipeline's own tables.

Comes in: a ``FilmPlan`` and, per frame, what the renderer says is seen. Goes out: shots, frames,
cameras, boxes, tracks, ball, touches, possessions, actions and faults as the pipeline's rooms write
them, at every frame of the film. Cameras, boxes, tracks and ball are given for the live main-camera
shots only; a replay is no play. A track is an actor: 0-4 home, 5-9 away, 10-12 officials. The score of
a true box is its visible share. Actions, faults and sets: ``truth_events``.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from enum import Enum
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from pipeline.actions.tables import ACTIONS
from pipeline.ball.tables import BALL, POSSESSIONS, TOUCHES
from pipeline.court.camera import camera_to_row
from pipeline.court.tables import CAMERAS
from pipeline.film.tables import CLOCK, FRAMES, SHOTS
from pipeline.players.tables import BOXES, TRACKS
from pipeline.sets.tables import SET_CANDIDATES
from pipeline.sim.crew import FilmPlan, View
from pipeline.sim.plays.game import Stretch
from pipeline.sim.plays.stoppages import FREE_THROWS
from pipeline.sim.truth_events import ACTIONS_UNSURE, FAULTS_UNSURE, SETS_UNSURE, event_tables, film_time
from pipeline.spacing.tables import FAULTS
from pipeline.tables import TableSpec

OBSERVED_FROM = 0.15
"""Visible share from which a body counts as seen."""
TABLES: tuple[TableSpec, ...] = (
    SHOTS, FRAMES, CLOCK, CAMERAS, BOXES, TRACKS, BALL, TOUCHES, POSSESSIONS, ACTIONS, ACTIONS_UNSURE,
    FAULTS, FAULTS_UNSURE, SET_CANDIDATES, SETS_UNSURE,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class SeenBox:
    """One box of one frame as drawn."""

    name: str
    actor: int
    box_px: tuple[float, float, float, float]
    visible: float


@dataclass(frozen=True, slots=True)
class SeenFrame:
    """What a drawn frame shows: its boxes, and where the ball was drawn (NaN without one)."""

    boxes: tuple[SeenBox, ...]
    ball_ft: tuple[float, float, float]


def _clipped(plan: FilmPlan, start_s: float, end_s: float) -> tuple[float, float, int] | None:
    """Film times and shot of the part of a stretch of the game that live play shows."""
    best: tuple[float, float, int] | None = None
    for k, shot in enumerate(plan.shots):
        if shot.view is not View.MAIN:
            continue
        a = max(start_s, shot.game_from_s)
        b = min(end_s, shot.game_from_s + shot.end_s - shot.start_s)
        if b > a and (best is None or b - a > best[1] - best[0]):
            best = (a - shot.game_from_s + shot.start_s, b - shot.game_from_s + shot.start_s, k)
    return best


def truth_tables(plan: FilmPlan, seen: Sequence[SeenFrame]) -> dict[str, pa.Table]:
    """All truth tables of a film.

    Parameters
    ----------
    plan : FilmPlan
    seen : sequence of SeenFrame
        One per film frame.
    """
    tables = {
        "shots": shots_table(plan),
        "frames": FRAMES.from_columns(
            {
                "frame": np.arange(plan.frames),
                "t_s": [plan.time_of(k) for k in range(plan.frames)],
                "shot": [plan.shot_of(k) for k in range(plan.frames)],
            }
        ),
        "clock": clock_table(plan),
        "touches": touches_table(plan),
        "possessions": possessions_table(plan),
    }
    tables.update(event_tables(plan))
    tables.update(_frame_tables(plan, seen))
    return tables


def write_truth(plan: FilmPlan, seen: Sequence[SeenFrame], folder: Path, about: Mapping[str, Any]) -> Path:
    """Write the truth tables and ``truth.json`` into a folder."""
    tables = truth_tables(plan, seen)
    for spec in TABLES:
        spec.write(tables[spec.name], folder)
    text = json.dumps(dict(about) | _summary(plan, tables), indent=2, default=plain_value) + "\n"
    (folder / "truth.json").write_text(text, encoding="utf-8")
    return folder


def plain_value(value: Any) -> Any:
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, np.generic):
        return value.item()
    return str(value)


def _summary(plan: FilmPlan, tables: Mapping[str, pa.Table]) -> dict[str, Any]:
    return {
        "seed": plan.seed,
        "rule_book": plan.game.book.name,
        "size_px": list(plan.size_px),
        "frames_per_second": f"{plan.rate.numerator}/{plan.rate.denominator}",
        "frames": plan.frames,
        "seconds": plan.seconds,
        "tracks": {str(k): {"team": k // 5, "jersey": plan.numbers[k]} for k in range(10)}
        | {str(k): {"role": "official"} for k in range(10, 13)},
        "possessions": [
            {
                "script": s.possession.script.name,
                "attacked_end": s.possession.end,
                "side": s.possession.side,
                "team": s.possession.offence,
                "game_from_s": round(s.start_s, 3),
                "execution": asdict(s.possession.execution),
                "dials": dict(s.possession.dials),
                "quality": s.possession.quality.value,
                "paint_counts": [
                    {"moment": c.kind, "count": c.count, "most": c.most, "edge_ft": round(c.edge_ft, 2)}
                    for c in s.possession.paint_counts
                ],
            }
            for s in plan.game.stretches
        ],
        "left_out": [f"{c.script.name} ({c.quality.value})" for c in plan.game.left_out],
        "faults": tables["faults"].num_rows,
        "main_camera": asdict(plan.cameras[0].stand),
    }


# ---- shots ----------------------------------------------------------------------------------------------------------


def shots_table(plan: FilmPlan) -> pa.Table:
    numbers = np.array([plan.shot_of(k) for k in range(plan.frames)])
    rows = []
    for k, shot in enumerate(plan.shots):
        frames = np.flatnonzero(numbers == k)
        rows.append(
            {
                "shot": k,
                "start_s": shot.start_s,
                "end_s": shot.end_s,
                "start_frame": int(frames[0]),
                "end_frame": int(frames[-1]) + 1,
                "view": shot.view.value,
                "live": shot.live,
                "transition_in": shot.transition_in,
                "score": 1.0,
                "reason": "The editor's own list.",
            }
        )
    return SHOTS.from_rows(rows)


def clock_table(plan: FilmPlan) -> pa.Table:
    """The game's time as the score graphic shows it: unknown where it is taken out and while a wipe passes."""
    rows = []
    for frame in range(plan.frames):
        shown = plan.bug_at(frame) if plan.transition_at(frame) is None else None
        rows.append(
            {
                "frame": frame,
                "t_s": plan.time_of(frame),
                "period": None if shown is None else shown.period,
                "game_clock_s": None if shown is None else shown.clock_s,
                "shot_clock_s": None if shown is None else shown.shot_clock_s,
                "running": None if shown is None else plan.clock_runs(plan.game_time(frame)),
                "status": "hidden" if shown is None else "read",
            }
        )
    return CLOCK.from_rows(rows)


# ---- per frame ------------------------------------------------------------------------------------------------------


def _frame_tables(plan: FilmPlan, seen: Sequence[SeenFrame]) -> dict[str, pa.Table]:
    cameras: list[dict[str, Any]] = []
    boxes: list[dict[str, Any]] = []
    tracks: list[dict[str, Any]] = []
    balls: list[dict[str, Any]] = []
    for frame in range(plan.frames):
        number = plan.shot_of(frame)
        if not plan.shots[number].live:
            continue
        t = plan.time_of(frame)
        where = {"frame": frame, "t_s": t, "shot": number}
        camera = plan.camera_at(frame)
        cameras.append(
            camera_to_row(
                camera, frame=frame, t_s=t, shot=number, rule_book=plan.game.book.name,
                residual_px=0.0, residual_ft=0.0, quality=1.0,
            )
        )  # fmt: skip
        by_actor = {b.actor: b for b in seen[frame].boxes if b.actor >= 0}
        for box in seen[frame].boxes:
            if box.visible >= OBSERVED_FROM:
                x1, y1, x2, y2 = box.box_px
                boxes.append(
                    where
                    | {
                        "class": box.name,
                        "x1_px": x1,
                        "y1_px": y1,
                        "x2_px": x2,
                        "y2_px": y2,
                        "score": box.visible,
                        "kit_lab": None,
                    }
                )
        possession, local = plan.game.at(plan.game_time(frame))
        k = np.clip(local / possession.dt_s, 0, len(possession.xy_ft) - 1)
        a = int(k)
        b = min(a + 1, len(possession.xy_ft) - 1)
        w = float(k - a)
        xy = (1 - w) * possession.xy_ft[a] + w * possession.xy_ft[b]
        velocity = (1 - w) * possession.velocity_ft_s[a] + w * possession.velocity_ft_s[b]
        for actor in range(len(xy)):
            drawn = by_actor.get(actor)
            observed = drawn is not None and drawn.visible >= OBSERVED_FROM
            corners = drawn.box_px if drawn is not None and observed else (None,) * 4
            tracks.append(
                where
                | {
                    "track": actor,
                    "role": "official" if actor >= 10 else "player",
                    "team": -1 if actor >= 10 else actor // 5,
                    "jersey": None if actor >= 10 else plan.numbers[actor],
                    "x_ft": float(xy[actor, 0]),
                    "y_ft": float(xy[actor, 1]),
                    "vx_ft_s": float(velocity[actor, 0]),
                    "vy_ft_s": float(velocity[actor, 1]),
                    "sigma_ft": 0.0,
                    "observed": observed,
                    **dict(zip(("x1_px", "y1_px", "x2_px", "y2_px"), corners, strict=True)),
                    "score": drawn.visible if drawn is not None else 0.0,
                }
            )
        balls.append(_ball_row(where, seen[frame], camera, possession, min(round(float(k)), len(possession.xy_ft) - 1)))
    return {
        "cameras": CAMERAS.from_rows(cameras),
        "boxes": BOXES.from_rows(boxes),
        "tracks": TRACKS.from_rows(tracks),
        "ball": BALL.from_rows(balls),
    }


def _ball_row(where: dict[str, Any], seen: SeenFrame, camera: Any, possession: Any, step: int) -> dict[str, Any]:
    place = np.array(seen.ball_ft)
    if not np.isfinite(place).all():
        place = possession.ball_ft[step]
    px = camera.project(place[None])[0]
    box = next((b for b in seen.boxes if b.name == "ball"), None)
    holder = int(possession.holder[step])
    return where | {
        "x_px": float(px[0]),
        "y_px": float(px[1]),
        "x_ft": float(place[0]),
        "y_ft": float(place[1]),
        "z_ft": float(place[2]),
        "holder": holder if holder >= 0 else None,
        "observed": box is not None and box.visible >= OBSERVED_FROM,
        "score": box.visible if box is not None else 0.0,
    }


# ---- ball -----------------------------------------------------------------------------------------------------------


def touches_table(plan: FilmPlan) -> pa.Table:
    rows: list[dict[str, Any]] = []
    for stretch in plan.game.stretches:
        for kind, a, b, by, to in _ball_story(stretch.possession.spans):
            shown = _clipped(plan, stretch.start_s + a, min(stretch.start_s + b, stretch.live_end_s + 1e-6))
            if shown is None:
                continue
            start, end, shot = shown
            rows.append(
                {
                    "shot": shot,
                    "kind": kind,
                    "start_s": start,
                    "end_s": end,
                    "track": by if by >= 0 else None,
                    "to_track": to if kind in ("pass", "handoff") else None,
                    "team": -1 if by < 0 or by >= 10 else by // 5,
                    "score": 1.0,
                }
            )
    rows.sort(key=lambda r: r["start_s"])
    return TOUCHES.from_rows([{"touch": k} | row for k, row in enumerate(rows)])


def _ball_story(
    spans: Sequence[tuple[str, float, float, int, int | None, bool]],
) -> list[tuple[str, float, float, int, int | None]]:
    """Touches of one possession as (kind, start, end, by, to): holds with their dribbles inside them, and the rest.

    What comes off the ring is a rebound of who takes it; what falls through the net is loose.
    """
    told: list[tuple[str, float, float, int, int | None]] = []
    hold = -1
    for kind, a, b, by, to, made in spans:
        if kind in ("hold", "dribble"):
            if hold >= 0 and told[hold][3] == by:
                told[hold] = ("hold", told[hold][1], b, by, to)
            else:
                hold = len(told)
                told.append(("hold", a, b, by, to))
            if kind == "dribble":
                told.append((kind, a, b, by, to))
            continue
        hold = -1
        if kind == "stolen":
            told.append(("loose", a, b, by, None))
            continue
        taken = kind == "loose" and not made and to is not None
        told.append(("rebound", a, b, to, None) if taken and to is not None else (kind, a, b, by, to))
    return told


def _half_court_start(stretch: Stretch) -> float | None:
    """When the ball is first past half court with at least four attackers, in the possession's time; None if never."""
    p = stretch.possession
    middle = p.book.length_ft / 2
    past = p.xy_ft[:, :10, 0] < middle if p.end == "left" else p.xy_ft[:, :10, 0] > middle
    own = past[:, 5 * p.offence : 5 * p.offence + 5].sum(axis=1) >= 4
    handled = np.array([h >= 0 and h < 10 and past[k, h] for k, h in enumerate(p.holder)])
    found = np.flatnonzero(own & handled)
    return float(found[0] * p.dt_s) if len(found) else None


def _possession_span(stretch: Stretch) -> tuple[float, float]:
    """From team control to the shot's arrival, in game time."""
    p = stretch.possession
    end = p.marks.get("ring_s", p.marks.get("lost_s", p.marks.get("end_s", p.seconds)))
    return stretch.start_s, min(stretch.start_s + end, stretch.live_end_s)


def possessions_table(plan: FilmPlan) -> pa.Table:
    rows = []
    for number, stretch in enumerate(plan.game.stretches):
        if stretch.possession.script is FREE_THROWS:
            continue
        shown = _clipped(plan, *_possession_span(stretch))
        if shown is None:
            continue
        start, end, shot = shown
        settled = _half_court_start(stretch)
        shown_settled = film_time(plan, stretch.start_s + settled) if settled is not None else None
        rows.append(
            {
                "possession": number,
                "shot": shot,
                "team": stretch.possession.offence,
                "attacked_end": stretch.possession.end,
                "start_s": start,
                "end_s": end,
                "half_court_s": shown_settled[0] if shown_settled is not None and shown_settled[1] == shot else None,
                "score": 1.0,
            }
        )
    return POSSESSIONS.from_rows(rows)
