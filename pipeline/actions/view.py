"""One possession as arrays: who was where, in the attack frame, who had the ball and who guarded whom."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields

import numpy as np

from pipeline.actions.ball_story import BallStory, Touch
from pipeline.actions.guards import NOBODY
from pipeline.court.attack_frame import to_court
from pipeline.court.geometry import End
from pipeline.court.rule_books import RuleBook

__all__ = ["NOBODY", "PossessionView"]


@dataclass(frozen=True, slots=True, eq=False)
class PossessionView:
    """T moments and N players of one possession, at even times (``even_time``) whatever the rate of the film.

    Attributes
    ----------
    possession, shot, team : int
        As in the ``possessions`` table.
    end : "left" or "right"
        The attacked end.
    book : RuleBook
        The court's dimensions.
    start_s, end_s : float
        The possession's own interval; the moments begin and end a little outside it.
    half_court_s : float
        Start of the half-court phase: ball past half court with at least four attackers; NaN if never or unknown.
    t_s : ndarray (T,)
        Film time, rising in even steps.
    frame : ndarray (T,) of int
        Label of the nearest analysed frame.
    tracks : ndarray (N,) of int
        Track of each column; players only, no officials.
    teams : ndarray (N,) of int
        0, 1 or -1.
    uv_ft, velocity_ft_s : ndarray (T, N, 2)
        Attack frame; NaN where a track is not known.
    speed_ft_s, ring_ft : ndarray (T, N)
        Length of the velocity; distance to the point under the attacked ring.
    gap_ft : ndarray (T, N, N)
        Distance between each two players; NaN too while the two are told to be at one place (``coinciding``).
    sigma_ft : ndarray (T, N)
        One-sigma uncertainty of the place; NaN where not known.
    observed : ndarray (T, N) of bool
        Seen at that time, not filled in.
    guard : ndarray (T, N) of int
        Column of the defender matched to each attacker, ``NOBODY`` where none is.
    handler : ndarray (T,) of int
        Column of the handler, or ``NOBODY``.
    ball_uv_ft : ndarray (T, 2)
        Floor point under the ball; NaN where not known.
    ball_seen : ndarray (T,) of bool
        Whether the ball was surely seen near that time; nowhere in a possession where it never was.
    ball_z_ft : ndarray (T,)
        The ball's height at a sure sighting near that time; NaN where there is none.
    ball_side : ndarray (T,) of int
        The side of the floor that the ball is on: 1 right (v > 0), -1 left, 0 not known. With the ball in the middle
        it is the side that it last left; 0 before it has left one.
    dribble : ndarray (T,) of int
        1 where a dribble was seen, 0 where the ball was seen without one, -1 where it cannot be said.
    story : BallStory
        Touches and shots.
    """

    possession: int
    shot: int
    team: int
    end: End
    book: RuleBook
    start_s: float
    end_s: float
    half_court_s: float
    t_s: np.ndarray
    frame: np.ndarray
    tracks: np.ndarray
    teams: np.ndarray
    uv_ft: np.ndarray
    velocity_ft_s: np.ndarray
    speed_ft_s: np.ndarray
    ring_ft: np.ndarray
    gap_ft: np.ndarray
    sigma_ft: np.ndarray
    observed: np.ndarray
    guard: np.ndarray
    handler: np.ndarray
    ball_uv_ft: np.ndarray
    ball_seen: np.ndarray
    ball_z_ft: np.ndarray
    ball_side: np.ndarray
    dribble: np.ndarray
    story: BallStory

    def __post_init__(self) -> None:
        for one in fields(self):
            value = getattr(self, one.name)
            if isinstance(value, np.ndarray):
                value.flags.writeable = False

    @property
    def attackers(self) -> np.ndarray:
        """Columns of the attacking team, (N,) bool."""
        return self.teams == self.team

    @property
    def defenders(self) -> np.ndarray:
        """Columns of the defending team, (N,) bool."""
        return (self.teams >= 0) & (self.teams != self.team)

    @property
    def step_s(self) -> float:
        """Time from one moment to the next."""
        return float(self.t_s[1] - self.t_s[0]) if len(self.t_s) > 1 else 0.0

    @property
    def free_throw_u_ft(self) -> float:
        """Distance of the free-throw line from the ring, along u."""
        return self.book.lane_length_ft - self.book.ring_to_baseline_ft

    @property
    def touches(self) -> tuple[Touch, ...]:
        """Touches of the attacking team, in order of time."""
        return tuple(t for t in self.story.touches if t.attacks)

    @property
    def half_court_u_ft(self) -> float:
        """Distance of the half-court line from the ring, along u."""
        return self.book.length_ft / 2 - self.book.ring_to_baseline_ft

    def ring_distance_ft(self) -> np.ndarray:
        """Distance of every player to the point under the attacked ring, (T, N)."""
        return self.ring_ft

    def at(self, t_s: float) -> int:
        """Index of the moment nearest to a time."""
        if len(self.t_s) < 2:
            return 0
        return int(np.clip(round((t_s - self.t_s[0]) / self.step_s), 0, len(self.t_s) - 1))

    def span(self, start_s: float, end_s: float) -> slice:
        """Moments from start to end, both included; at least one."""
        return slice(self.at(start_s), self.at(max(end_s, start_s)) + 1)

    def steps(self, seconds: float) -> int:
        """How many moments a time is."""
        return round(seconds / self.step_s) if self.step_s > 0 else 0

    def place_at(self, t_s: float, column: int) -> np.ndarray:
        """Where a player is at a time between moments, attack frame (2,); NaN where not known."""
        after = int(np.clip(np.searchsorted(self.t_s, t_s), 0, len(self.t_s) - 1))
        before = max(after - 1, 0)
        width = self.t_s[after] - self.t_s[before]
        share = float(np.clip((t_s - self.t_s[before]) / width, 0, 1)) if width > 0 else 1.0
        a, b = self.uv_ft[before, column], self.uv_ft[after, column]
        if not np.isfinite(a).all():
            return b.copy()
        return a.copy() if not np.isfinite(b).all() else (1 - share) * a + share * b

    def guard_of(self, moment: int, column: int) -> int | None:
        """Column of the defender matched to an attacker, or None."""
        guard = int(self.guard[moment, column])
        return None if guard == NOBODY else guard

    def court_place_ft(self, moment: int, column: int) -> tuple[float, float]:
        """Where a player is at a moment, court frame."""
        return self.court_point_ft(self.uv_ft[moment, column])

    def court_point_ft(self, uv_ft: np.ndarray) -> tuple[float, float]:
        """A point of the attack frame (2,) in the court frame."""
        x, y = to_court(np.asarray(uv_ft)[None], self.book, self.end)[0]
        return float(x), float(y)

    def holds(self) -> Iterator[tuple[int, int, int]]:
        """Stretches of one handler as (column, first, past-last moment)."""
        start = 0
        for i in range(1, len(self.handler) + 1):
            if i == len(self.handler) or self.handler[i] != self.handler[start]:
                if self.handler[start] != NOBODY:
                    yield int(self.handler[start]), start, i
                start = i
