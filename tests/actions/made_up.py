"""Made-up play whose geometry is known: paths in the attack frame, put straight into the pipeline's tables."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pyarrow as pa

from pipeline.actions.events import Event, events_from_table
from pipeline.actions.recognisers import find_actions
from pipeline.actions.settings import ActionSettings
from pipeline.ball.imported_ball import PlayTables
from pipeline.ball.tables import BALL, POSSESSIONS, TOUCHES
from pipeline.court.attack_frame import End, to_court
from pipeline.court.rule_books import RuleBook, rule_book
from pipeline.players.tables import TRACKS

NBA = rule_book("nba")
RULES = ActionSettings()
FAR = np.array([[40.0, -20], [40, -10], [40, 0], [40, 10], [40, 20], [44, -20], [44, -10], [44, 0], [44, 10], [44, 20]])
"""Ten bodies far from everything, attack frame: attackers 0 to 4, defenders 5 to 9."""

Hold = tuple[int, float, float]
"""Who has the ball, from when, until when."""


def times(step_s: float = 0.08, end_s: float = 4.0) -> np.ndarray:
    """Even times from 0 to the end."""
    return np.arange(0, end_s + 1e-9, step_s)


def straight(t_s: np.ndarray, start, stop, at_s: float, speed_ft_s: float) -> np.ndarray:
    """Stand at ``start`` until ``at_s``, then go straight to ``stop``."""
    start, stop = np.asarray(start, float), np.asarray(stop, float)
    length = np.linalg.norm(stop - start)
    way = np.clip((t_s - at_s) * speed_ft_s, 0, length)
    return start + (stop - start) * (way / length)[:, None]


def along(t_s: np.ndarray, *stops: tuple[float, float, float]) -> np.ndarray:
    """A path (T, 2) through (time, u, v), straight between them, standing before the first and after the last."""
    at = np.array(stops, float)
    return np.column_stack([np.interp(t_s, at[:, 0], at[:, n]) for n in (1, 2)])


def play(
    paths: Mapping[int, np.ndarray],
    t_s: np.ndarray,
    *,
    handler: int = 0,
    holds: Sequence[Hold] = (),
    end: End = "left",
    sigma_ft: float = 0.0,
) -> PlayTables:
    """Ten bodies, those named on the given paths (T, 2) in the attack frame; the ball rides with who holds it.

    Without ``holds`` the handler holds it throughout; between holds it goes straight from hand to hand.
    """
    uv = np.repeat(FAR[None], len(t_s), axis=0).copy()
    for who, path in paths.items():
        uv[:, who] = path
    holds = holds or ((handler, float(t_s[0]), float(t_s[-1])),)
    known = np.full((len(t_s), 2), np.nan)
    for who, start_s, end_s in holds:
        own = (t_s >= start_s - 1e-9) & (t_s <= end_s + 1e-9)
        known[own] = uv[own, who] + np.array([-0.8, 0.0])
    seen = np.isfinite(known[:, 0])
    ball = np.column_stack([np.interp(t_s, t_s[seen], known[seen, n]) for n in (0, 1)])
    return tables_of(t_s, uv, ball, holds, end=end, sigma_ft=sigma_ft)


def tables_of(
    t_s: np.ndarray,
    uv: np.ndarray,
    ball: np.ndarray,
    holds: Sequence[Hold],
    *,
    end: End = "left",
    sigma_ft: float = 0.0,
    book: RuleBook = NBA,
) -> PlayTables:
    """Tables of bodies (T, 10, 2) and ball (T, 2) in the attack frame; NaN places are left out."""
    count = len(t_s)
    xy = to_court(uv.reshape(-1, 2), book, end)
    frame, track = np.repeat(np.arange(count), 10), np.tile(np.arange(10), count)
    nothing = pa.nulls(len(frame), pa.float32())
    columns = {
        "frame": frame,
        "t_s": np.repeat(t_s, 10),
        "shot": np.zeros(len(frame), int),
        "track": track,
        "role": ["player"] * len(frame),
        "team": (track >= 5).astype(int),
        "jersey": pa.nulls(len(frame), pa.string()),
        "x_ft": xy[:, 0],
        "y_ft": xy[:, 1],
        "vx_ft_s": nothing,
        "vy_ft_s": nothing,
        "sigma_ft": np.full(len(frame), sigma_ft),
        "observed": np.ones(len(frame), bool),
        "x1_px": nothing,
        "y1_px": nothing,
        "x2_px": nothing,
        "y2_px": nothing,
        "score": np.ones(len(frame)),
    }
    tracks = TRACKS.from_columns(columns).filter(pa.array(np.isfinite(xy[:, 0])))
    ball_xy = to_court(ball, book, end)
    unseen = pa.nulls(count, pa.float32())
    holder: list[int | None] = [next((w for w, a, b in holds if a - 1e-9 <= t <= b + 1e-9), None) for t in t_s]
    balls = BALL.from_columns(
        {
            "frame": np.arange(count),
            "t_s": t_s,
            "shot": np.zeros(count, int),
            "x_px": unseen,
            "y_px": unseen,
            "x_ft": ball_xy[:, 0],
            "y_ft": ball_xy[:, 1],
            "z_ft": pa.nulls(count, pa.float64()),
            "holder": holder,
            "observed": np.ones(count, bool),
            "score": np.ones(count),
        }
    )
    touches = TOUCHES.from_rows(
        [
            {
                "touch": n,
                "shot": 0,
                "kind": "hold",
                "start_s": start_s,
                "end_s": end_s,
                "track": who,
                "to_track": None,
                "team": int(who >= 5),
                "score": 1.0,
            }
            for n, (who, start_s, end_s) in enumerate(holds)
        ]
    )
    possession = {
        "possession": 0,
        "shot": 0,
        "team": 0,
        "attacked_end": end,
        "start_s": float(t_s[0]),
        "end_s": float(t_s[-1]),
        "half_court_s": float(t_s[0]),
        "score": 1.0,
    }
    return PlayTables(tracks, balls, touches, POSSESSIONS.from_rows([possession]))


def found(p: PlayTables, rules: ActionSettings = RULES) -> tuple[Event, ...]:
    """Everything that the recognisers find."""
    return events_from_table(find_actions(p.tracks, p.ball, p.touches, p.possessions, NBA, rules))


def of_kind(p: PlayTables, kind: str) -> list[Event]:
    """What they find of one kind."""
    return [e for e in found(p) if e.kind == kind]
