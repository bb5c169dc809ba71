"""Where the actions of a game happened, started and ended, and where everybody was in between."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from types import MappingProxyType

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.actions.events import Event
from pipeline.court.attack_frame import End, ring_ft, to_attack, to_court
from pipeline.court.places import PLACES, places
from pipeline.court.rule_books import RuleBook
from pipeline.sets.settings import SetSettings

HERE, START, END = 0, 1, 2
"""Points of an action: where it is, where it starts (the cut, the pass), where it ends."""

MOVERS = MappingProxyType({"off_ball_screen": "cutter", "on_ball_screen": "handler"})
"""Whose way a screen's start and end are, by kind; other kinds: the main actor's."""

NEAREST_S = 0.5
"""A track's place is not told further than this from a moment at which it is known."""

FEW = 8
"""So few times are looked up one by one."""

BALL_SIDE_FROM_FT = 6.0
"""The ball is on a side when it is farther than this from the middle (glossary)."""

ALONE_S = 0.25
"""A sighting of the ball without another one this near in time does not count."""

_AROUND = np.vstack(
    [np.zeros((1, 2)), np.column_stack([np.cos(np.arange(8) * np.pi / 4), np.sin(np.arange(8) * np.pi / 4)])]
)


@dataclass(frozen=True, slots=True, eq=False)
class _Path:
    t_s: np.ndarray
    xy_ft: np.ndarray  # (T, 2), court frame


class Floor:
    """Places of a game's players and ball by time.

    Parameters
    ----------
    tracks, ball : pa.Table
        Of one game; either may be empty.
    book : RuleBook
    settings : SetSettings
    """

    def __init__(self, tracks: pa.Table, ball: pa.Table, book: RuleBook, settings: SetSettings) -> None:
        self.book = book
        self._settings = settings
        self._paths = _paths(tracks)
        self._hidden_s = _hidden(tracks)
        self._teams = _teams(tracks)
        self._by_team: dict[tuple[int, int], list[int]] = {}
        for (shot, track), team in sorted(self._teams.items()):
            if team >= 0:
                self._by_team.setdefault((shot, team), []).append(track)
        self._ball = _ball_paths(ball)
        self._seen_s = _sightings(ball, settings.unseen_sighting)
        self._sides: dict[tuple[int, str], np.ndarray] = {}

    def place_uv(self, shot: int, track: int, t_s: float, end: str) -> tuple[float, float]:
        """A track's place in the attack frame; NaN where it is not known."""
        path = self._paths.get((shot, track))
        return (np.nan, np.nan) if path is None else _along(path, np.array([t_s]), end, self.book)[0]

    def places_uv(self, shot: int, track: int, t_s: np.ndarray, end: str) -> np.ndarray:
        """A track's places at several times, (N, 2)."""
        path = self._paths.get((shot, track))
        return np.full((len(t_s), 2), np.nan) if path is None else _along(path, t_s, end, self.book)

    def mates(self, shot: int, track: int, t_s: float) -> tuple[int, ...]:
        """Tracks of the same team that are known at a moment, the track itself included, in order of their numbers."""
        team = self._teams.get((shot, track), -1)
        return tuple(other for other in self._by_team.get((shot, team), ()) if self._known((shot, other), t_s))

    def _known(self, key: tuple[int, int], t_s: float) -> bool:
        path = self._paths.get(key)
        return path is not None and path.t_s[0] - NEAREST_S <= t_s <= path.t_s[-1] + NEAREST_S

    def was_hidden(self, shot: int, track: int, start_s: float, end_s: float) -> bool:
        """Whether a player went unseen at some moment of a stretch of time, his place then being a guess."""
        hidden_s = self._hidden_s.get((shot, track))
        if hidden_s is None:
            return False
        at = int(np.searchsorted(hidden_s, start_s))
        return at < len(hidden_s) and bool(hidden_s[at] <= end_s)

    def ball_v(self, shot: int, t_s: float, end: str) -> float:
        """The ball's distance to the right of the ring; NaN where it is not known."""
        path = self._ball.get(shot)
        return float("nan") if path is None else float(_along(path, np.array([t_s]), end, self.book)[0, 1])

    def ball_uv(self, shot: int, t_s: float, end: str) -> tuple[float, float]:
        """The ball's place in the attack frame; NaN where it is not known."""
        path = self._ball.get(shot)
        return (np.nan, np.nan) if path is None else tuple(_along(path, np.array([t_s]), end, self.book)[0].tolist())

    def sightings_s(self, shot: int, start_s: float, end_s: float) -> np.ndarray:
        """When the ball was seen in a stretch of time, in order."""
        seen_s = self._seen_s.get(shot, np.empty(0))
        return seen_s[(seen_s >= start_s - 1e-6) & (seen_s <= end_s + 1e-6)]

    def court_ft(self, uv: tuple[float, float], end: str) -> tuple[float, float]:
        """A point of the attack frame in the court frame."""
        x, y = to_court(np.array([uv]), self.book, _end(end))[0].tolist()
        return x, y

    def ball_side(self, shot: int, t_s: float, end: str) -> int:
        """+1: the ball is on the right, -1: on the left; in the middle the side it last left; 0 unknown."""
        path = self._ball.get(shot)
        if path is None:
            return 0
        sides = self._sides.get((shot, end))
        if sides is None:
            v = to_attack(path.xy_ft, self.book, _end(end))[:, 1]
            clear = np.where(np.abs(v) > BALL_SIDE_FROM_FT, np.sign(v), 0).astype(int)
            last = np.maximum.accumulate(np.where(clear != 0, np.arange(len(clear)), -1))
            sides = self._sides[(shot, end)] = np.where(last >= 0, clear[np.maximum(last, 0)], 0)
        at = int(np.searchsorted(path.t_s, t_s + 1e-9, side="right")) - 1
        return int(sides[at]) if at >= 0 and t_s - path.t_s[at] <= 2.0 else 0

    def grades(self, uv_ft: np.ndarray) -> np.ndarray:
        """How well points (N, 2) lie in each named place, (N, places): 1 in it, ``near_share`` near it, 0 away from
        it, NaN where the point is not known."""
        around = (uv_ft[:, None, :] + self._settings.place_reach_ft * _AROUND[None]).reshape(-1, 2)
        held = places(np.nan_to_num(around, nan=1e6), self.book)
        inside = np.stack([held[name].reshape(-1, len(_AROUND)) for name in PLACES], axis=1)
        graded = np.where(inside[:, :, 0], 1.0, np.where(inside.any(axis=2), self._settings.near_share, 0.0))
        graded[~np.isfinite(uv_ft).all(axis=1)] = np.nan
        return graded


def points_uv(events: Sequence[Event], floor: Floor) -> np.ndarray:
    """Where each action is, starts and ends, (N, 3, 2) in the attack frame; NaN where that is not known.

    An action that measures its ends (cuts, passes) is believed; else the places of the one who moves (:data:`MOVERS`,
    the passer and the receiver, the main actor) at its first and last moment.
    """
    found = np.full((len(events), 3, 2), np.nan)
    wanted: dict[tuple[int, int, str], list[tuple[int, int, float]]] = {}
    for n, event in enumerate(events):
        m = event.measures
        found[n, HERE] = m.get("u_ft", np.nan), m.get("v_ft", np.nan)
        found[n, START] = m.get("start_u_ft", np.nan), m.get("start_v_ft", np.nan)
        found[n, END] = m.get("end_u_ft", m.get("catch_u_ft", np.nan)), m.get("end_v_ft", m.get("catch_v_ft", np.nan))
        if not event.actors:
            continue
        mover = event.actor(MOVERS.get(event.kind, ""))
        first = event.actors[0][1] if mover is None else mover
        last = event.actor("receiver") if event.kind in ("pass", "handoff") else first
        for point, track, t_s in (
            (HERE, first, event.t_s),
            (START, first, event.start_s),
            (END, first if last is None else last, event.end_s),
        ):
            if not np.isfinite(found[n, point]).all():
                wanted.setdefault((event.shot, track, event.attacked_end), []).append((n, point, t_s))
    for (shot, track, end), asked in wanted.items():
        at = floor.places_uv(shot, track, np.array([t_s for _, _, t_s in asked]), end)
        for (n, point, _), uv in zip(asked, at, strict=True):
            found[n, point] = uv
    return found


def _along(path: _Path, t_s: np.ndarray, end: str, book: RuleBook) -> np.ndarray:
    if len(t_s) <= FEW:
        return _along_few(path, t_s.tolist(), _end(end), book)
    xy = np.column_stack([np.interp(t_s, path.t_s, path.xy_ft[:, axis]) for axis in (0, 1)])
    after = np.clip(np.searchsorted(path.t_s, t_s), 0, len(path.t_s) - 1)
    before = np.maximum(after - 1, 0)
    away = np.minimum(np.abs(path.t_s[after] - t_s), np.abs(path.t_s[before] - t_s))
    xy[away > NEAREST_S] = np.nan
    return to_attack(xy, book, _end(end))


def _along_few(path: _Path, times_s: Sequence[float], end: End, book: RuleBook) -> np.ndarray:
    """The same for a few times, without numpy's cost for each step."""
    ring_x, ring_y = ring_ft(book, end).tolist()
    sign = 1.0 if end == "left" else -1.0
    found = []
    last = len(path.t_s) - 1
    for t_s in times_s:
        after = min(bisect_left(path.t_s, t_s), last)
        before = max(after - 1, 0)
        early_s, late_s = float(path.t_s[before]), float(path.t_s[after])
        if min(abs(late_s - t_s), abs(early_s - t_s)) > NEAREST_S:
            found.append((math.nan, math.nan))
            continue
        share = 0.0 if late_s <= early_s else min(1.0, max(0.0, (t_s - early_s) / (late_s - early_s)))
        x = float(path.xy_ft[before, 0]) * (1 - share) + float(path.xy_ft[after, 0]) * share
        y = float(path.xy_ft[before, 1]) * (1 - share) + float(path.xy_ft[after, 1]) * share
        found.append((sign * (x - ring_x), sign * (y - ring_y)))
    return np.array(found)


def _end(end: str) -> End:
    return "right" if end == "right" else "left"


def _paths(tracks: pa.Table) -> Mapping[tuple[int, int], _Path]:
    if tracks.num_rows == 0:
        return {}
    known = tracks.select(["shot", "track", "t_s", "x_ft", "y_ft"]).filter(pc.field("x_ft").is_valid())
    columns = [known[name].to_numpy() for name in ("shot", "track", "t_s", "x_ft", "y_ft")]
    return _split(np.column_stack(columns[:2]).astype(np.int64), columns[2], np.column_stack(columns[3:]))


def _hidden(tracks: pa.Table) -> Mapping[tuple[int, int], np.ndarray]:
    """Times at which a player's place is told although he was not seen, by track."""
    if tracks.num_rows == 0:
        return {}
    told = tracks.filter((pc.field("role") == "player") & ~pc.field("observed"))
    rows = sorted(zip(*(told[name].to_pylist() for name in ("shot", "track", "t_s")), strict=True))
    found: dict[tuple[int, int], list[float]] = {}
    for shot, track, t_s in rows:
        found.setdefault((shot, track), []).append(t_s)
    return {key: np.array(times) for key, times in found.items()}


def _teams(tracks: pa.Table) -> Mapping[tuple[int, int], int]:
    """The team of every player's track, -1 unknown: the one that most of its rows say."""
    if tracks.num_rows == 0:
        return {}
    names = ["shot", "track", "team", "role"]
    counted = tracks.select(names).group_by(names).aggregate([([], "count_all")]).to_pylist()
    told = sorted(
        (row["shot"], row["track"], row["count_all"], -1 if row["team"] is None else row["team"])
        for row in counted
        if row["role"] == "player"
    )
    return {(shot, track): team for shot, track, _, team in told}


def _ball_paths(ball: pa.Table) -> Mapping[int, _Path]:
    if ball.num_rows == 0:
        return {}
    known = ball.select(["shot", "t_s", "x_ft", "y_ft"]).filter(pc.field("x_ft").is_valid())
    shot = known["shot"].to_numpy().astype(np.int64)
    xy = np.column_stack([known["x_ft"].to_numpy(), known["y_ft"].to_numpy()])
    found = _split(np.column_stack([shot, np.zeros_like(shot)]), known["t_s"].to_numpy(), xy)
    return {shot: path for (shot, _), path in found.items()}


def _sightings(ball: pa.Table, least_score: float) -> Mapping[int, np.ndarray]:
    """Times at which the ball was seen, by shot."""
    seen = ball.filter(pc.field("observed") & (pc.field("score") >= least_score)).select(["shot", "t_s"])
    shots, t_s = seen["shot"].to_numpy(), seen["t_s"].to_numpy()
    return {int(shot): _not_alone(np.sort(t_s[shots == shot])) for shot in np.unique(shots)}


def _not_alone(t_s: np.ndarray) -> np.ndarray:
    """Times that have another one within :data:`ALONE_S`: a sighting by itself is often something else."""
    apart = np.concatenate([[np.inf], np.diff(t_s), [np.inf]])
    return t_s[np.minimum(apart[:-1], apart[1:]) <= ALONE_S]


def _split(keys: np.ndarray, t_s: np.ndarray, xy: np.ndarray) -> dict[tuple[int, int], _Path]:
    one = keys[:, 0] * (int(keys[:, 1].max(initial=0)) + 1) + keys[:, 1]
    order = np.argsort(one, kind="stable") if np.all(np.diff(t_s) >= 0) else np.lexsort((t_s, one))
    keys, t_s, xy = keys[order], t_s[order], xy[order]
    if not len(keys):
        return {}
    cuts = np.flatnonzero(np.any(np.diff(keys, axis=0) != 0, axis=1)) + 1
    bounds = [0, *cuts.tolist(), len(keys)]
    return {(int(keys[a, 0]), int(keys[a, 1])): _Path(t_s[a:b], xy[a:b]) for a, b in pairwise(bounds)}
