"""Touches and possessions: what the holders' sequence says.

A hold is a stretch of one holder. Between two holds the ball was passed (to a teammate, soon enough), shot
(it rose and came to the ring) or loose. A possession is a stretch of one team's holds.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.ball.path import TYPICAL_BODY_FT, runs
from pipeline.ball.settings import BallSettings, TouchSettings
from pipeline.ball.tables import BALL, POSSESSIONS, TOUCHES
from pipeline.court.rule_books import RuleBook
from pipeline.players.tables import BOXES, TRACKS

NOBODY = -1


def _teams(tracks: pa.Table) -> dict[int, int]:
    return dict(zip(tracks["track"].to_pylist(), tracks["team"].to_pylist(), strict=True))


def _holds(rows: pa.Table, step_s: float) -> list[tuple[int, float, float, float]]:
    """Holds of one shot as (track, start, end, score); they end half a frame after their last frame."""
    holder = np.array([NOBODY if h is None else h for h in rows["holder"].to_pylist()], dtype=np.int64)
    times, score = rows["t_s"].to_numpy(), rows["score"].to_numpy()
    found: list[tuple[int, float, float, float]] = []
    for first, last in runs(holder):
        if holder[first] == NOBODY:
            continue
        start, end = float(times[first]), float(times[last - 1]) + step_s
        found.append((int(holder[first]), start, end, float(np.mean(score[first:last]))))
    return found


def _reaches_ring(
    rows: pa.Table, rings: pa.Table, start_s: float, end_s: float, feet_px: float, settings: TouchSettings
) -> bool:
    """Whether the ball, between two times, rose and came to a ring's box."""
    times = rows["t_s"].to_numpy()
    inside = np.flatnonzero((times >= start_s - 0.2) & (times <= end_s))
    x = rows["x_px"].to_numpy(zero_copy_only=False)[inside]
    y = rows["y_px"].to_numpy(zero_copy_only=False)[inside]
    known = np.isfinite(x) & np.isfinite(y)
    if known.sum() < 2:
        return False
    x, y, frames = x[known], y[known], rows["frame"].to_numpy()[inside][known]
    if (y[0] - y.min()) * feet_px < settings.least_shot_rise_ft:
        return False
    ring_frames = rings["frame"].to_numpy()
    boxes = np.column_stack([rings[n].to_numpy() for n in ("x1_px", "y1_px", "x2_px", "y2_px")])
    for frame, px, py in zip(frames, x, y, strict=True):
        for x1, y1, x2, y2 in boxes[ring_frames == frame]:
            if np.hypot(px - (x1 + x2) / 2, py - (y1 + y2) / 2) <= settings.ring_reach * np.hypot(x2 - x1, y2 - y1):
                return True
    return False


def touches(ball: pa.Table, boxes: pa.Table, tracks: pa.Table, settings: BallSettings | None = None) -> pa.Table:
    """Holds, passes, shots and loose balls.

    Parameters
    ----------
    ball, boxes, tracks : pa.Table
        Boxes are read for the rings only.

    Returns
    -------
    pa.Table
        The ``touches`` table in order of time. A stretch between two holds is one touch: ``shot`` where the ball rose
        and came to a ring, else ``pass`` to a teammate within ``longest_flight_s``, else ``loose``. A hold by the same
        player after an unclear stretch (a high dribble, a missed detection) leaves no touch between.
    """
    settings = settings or BallSettings()
    ball, boxes, tracks = BALL.check(ball), BOXES.check(boxes), TRACKS.check(tracks)
    rules = settings.touches
    teams = _teams(tracks)
    result: list[dict[str, Any]] = []
    for shot in sorted(set(ball["shot"].to_pylist())):
        rows = ball.filter(pc.equal(ball["shot"], shot)).sort_by("frame")
        rings = boxes.filter(pc.and_(pc.equal(boxes["shot"], shot), pc.equal(boxes["class"], "ring")))
        own = tracks.filter(pc.equal(tracks["shot"], shot))
        height = pc.subtract(own["y2_px"], own["y1_px"]).drop_null().to_numpy()
        feet_px = TYPICAL_BODY_FT / float(np.median(height)) if len(height) and np.median(height) > 0 else 0.05
        times = rows["t_s"].to_numpy()
        steps = np.diff(times)
        step_s = float(np.median(steps)) if len(steps) else 0.0
        holds = _holds(rows, step_s)
        for index, (track, start_s, end_s, score) in enumerate(holds):
            team = teams.get(track, -1)
            result.append(_touch(shot, "hold", start_s, end_s, track, None, team, score))
            following = holds[index + 1] if index + 1 < len(holds) else None
            until = following[1] if following else float(times[-1])
            if until <= end_s and following is None:
                continue
            if _reaches_ring(rows, rings, end_s, until, feet_px, rules):
                result.append(_touch(shot, "shot", end_s, until, track, None, team, score))
            elif following is None or following[0] == track:
                continue
            elif team >= 0 and teams.get(following[0], -1) == team and until - end_s <= rules.longest_flight_s:
                both = min(score, following[3])
                result.append(_touch(shot, "pass", end_s, max(until, end_s), track, following[0], team, both))
            else:
                result.append(_touch(shot, "loose", end_s, max(until, end_s), None, None, -1, min(score, following[3])))
    for number, row in enumerate(result):
        row["touch"] = number
    return TOUCHES.from_rows(result)


def _touch(
    shot: int, kind: str, start_s: float, end_s: float, track: int | None, to: int | None, team: int, score: float
) -> dict[str, Any]:
    return {
        "touch": 0,
        "shot": shot,
        "kind": kind,
        "start_s": start_s,
        "end_s": end_s,
        "track": track,
        "to_track": to,
        "team": team,
        "score": score,
    }


def possessions(
    touch_table: pa.Table, tracks: pa.Table, book: RuleBook, settings: BallSettings | None = None
) -> pa.Table:
    """Who attacked which ring, and when.

    A possession begins when a team begins to hold the ball and ends when the other team does, with its shot, or
    when nobody of it held the ball for ``longest_pause_s``. A team that held for less than ``least_control_s``
    before the other had it again has deflected the ball, not taken it; a rebound with which nothing follows for
    ``rebound_s`` is none yet. The attacked ring is the one in whose half
    most players stand in the second half of the possession: play settles where the attack goes.
    """
    settings = settings or BallSettings()
    rules = settings.touches
    result: list[dict[str, Any]] = []
    for shot in sorted(set(touch_table["shot"].to_pylist())):
        rows = touch_table.filter(pc.equal(touch_table["shot"], shot)).sort_by("start_s").to_pylist()
        own = tracks.filter(pc.and_(pc.equal(tracks["shot"], shot), pc.equal(tracks["role"], "player")))
        spans: list[dict[str, Any]] = []
        for row in rows:
            if row["kind"] == "shot" and spans and spans[-1]["team"] == row["team"]:
                spans[-1]["end_s"] = row["end_s"]
                spans[-1]["closed"] = True
                continue
            if row["kind"] != "hold" or row["team"] < 0:
                continue
            last = spans[-1] if spans else None
            goes_on = (
                last is not None
                and not last["closed"]
                and last["team"] == row["team"]
                and row["start_s"] - last["end_s"] <= rules.longest_pause_s
            )
            if goes_on and last is not None:
                last["end_s"] = row["end_s"]
                last["held_s"] += row["end_s"] - row["start_s"]
                last["scores"].append(row["score"])
            else:
                spans.append(
                    {
                        "team": row["team"],
                        "start_s": row["start_s"],
                        "end_s": row["end_s"],
                        "held_s": row["end_s"] - row["start_s"],
                        "scores": [row["score"]],
                        "closed": False,
                    }
                )
        for span in _joined(spans, rules):
            end, sure = attacked_end(own, span["start_s"], span["end_s"], book)
            if end is None:
                continue
            result.append(
                {
                    "possession": len(result),
                    "shot": shot,
                    "team": span["team"],
                    "attacked_end": end,
                    "start_s": span["start_s"],
                    "end_s": span["end_s"],
                    "score": float(np.mean(span["scores"])) * sure,
                }
            )
    return POSSESSIONS.from_rows(result)


def _joined(spans: list[dict[str, Any]], rules: TouchSettings) -> list[dict[str, Any]]:
    """Leave out stretches of too little control between two of the other team, and join what they parted."""
    kept: list[dict[str, Any]] = []
    for number, span in enumerate(spans):
        before, after = spans[number - 1 : number], spans[number + 1 : number + 2]
        between = bool(before and after) and before[0]["team"] == after[0]["team"] and not before[0]["closed"]
        if between and span["held_s"] < rules.least_control_s and not span["closed"]:
            continue
        goes_on = bool(after) and after[0]["team"] == span["team"]
        rebound = bool(before) and before[0]["closed"] and not goes_on and not span["closed"]
        if rebound and span["held_s"] < rules.rebound_s:
            continue
        last = kept[-1] if kept else None
        if (
            last is not None
            and not last["closed"]
            and last["team"] == span["team"]
            and span["start_s"] - last["end_s"] <= rules.longest_pause_s
        ):
            last["end_s"] = span["end_s"]
            last["held_s"] += span["held_s"]
            last["scores"] = last["scores"] + span["scores"]
            last["closed"] = span["closed"]
        else:
            kept.append(dict(span))
    return kept


def attacked_end(players: pa.Table, start_s: float, end_s: float, book: RuleBook) -> tuple[str | None, float]:
    """The ring under attack and how many of the players' places agree (0.5..1); None where no player is known."""
    times = players["t_s"].to_numpy()
    middle = start_s + 0.5 * (end_s - start_s)
    x = players["x_ft"].to_numpy()[(times >= middle) & (times <= end_s)]
    if not len(x):
        x = players["x_ft"].to_numpy()[(times >= start_s) & (times <= end_s)]
    if not len(x):
        return None, 0.0
    left = float(np.mean(x < book.length_ft / 2))
    return ("left", left) if left >= 0.5 else ("right", 1 - left)
