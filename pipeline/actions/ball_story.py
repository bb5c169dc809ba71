"""A possession's ball, touch by touch, as the recognisers read it.

Holds of one player are joined to touches; what lies between two touches is a change of hands or a shot.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

NOBODY = -1
AT_RING_S = 0.5
"""A rebound or a made ball begins so near in time to the shot's end."""


@dataclass(frozen=True, slots=True)
class Touch:
    """One player's time with the ball.

    Attributes
    ----------
    column : int
        Column of the player in the view, ``NOBODY`` if he is not in it.
    track : int
        His track.
    attacks : bool
        Whether he belongs to the attacking team.
    start_s, end_s : float
        From catch to release, film time.
    score : float
        Of the hold, as the ball room gives it.
    dribbles : tuple of (float, float)
        Stretches in which a dribble was seen.
    """

    column: int
    track: int
    attacks: bool
    start_s: float
    end_s: float
    score: float
    dribbles: tuple[tuple[float, float], ...] = ()

    @property
    def held_s(self) -> float:
        """How long it lasted."""
        return self.end_s - self.start_s


@dataclass(frozen=True, slots=True)
class Attempt:
    """A shot: released at ``start_s``, at the ring at ``end_s``, and who took the ball after it, and when.

    ``rebounder`` is None and ``rebound_s`` NaN where nobody is known; ``made`` is None where it was not seen.
    """

    track: int
    start_s: float
    end_s: float
    score: float
    rebounder: int | None = None
    rebound_s: float = float("nan")
    made: bool | None = None


@dataclass(frozen=True, slots=True)
class Change:
    """The ball went from one touch to the next with no shot between them.

    ``told`` is what the ball room calls it (``"pass"``, ``"handoff"``), None where it says nothing.
    """

    before: Touch
    after: Touch
    told: str | None = None

    @property
    def flight_s(self) -> float:
        """Time between the hands."""
        return max(self.after.start_s - self.before.end_s, 0.0)


@dataclass(frozen=True, slots=True)
class BallStory:
    """Touches, shots and changes of one possession, each in order of time."""

    touches: tuple[Touch, ...]
    attempts: tuple[Attempt, ...]
    given: tuple[tuple[str, float, float], ...] = ()
    """Passes and handoffs as the ball room tells them: kind, start, end."""

    def changes(self) -> Iterator[Change]:
        """Every pair of touches of different players with no shot between them."""
        for before, after in pairwise(self.touches):
            shot = any(before.end_s - 0.2 <= a.start_s <= after.start_s for a in self.attempts)
            if not shot and before.track != after.track:
                yield Change(before, after, self._told(before.end_s, after.start_s))

    def _told(self, start_s: float, end_s: float) -> str | None:
        inside = (k for k, a, b in self.given if start_s - 0.05 <= 0.5 * (a + b) <= end_s + 0.05)
        return next(inside, None)

    def touch_at(self, t_s: float) -> Touch | None:
        """The touch during a moment."""
        return next((t for t in self.touches if t.start_s - 1e-6 <= t_s <= t.end_s + 1e-6), None)


def ball_story(
    rows: Sequence[dict[str, Any]], columns: dict[int, int], attackers: frozenset[int], gap_s: float
) -> BallStory:
    """Read the rows of one possession.

    Parameters
    ----------
    rows : sequence of dict
        Rows of the ``touches`` table in order of their start.
    columns : dict
        Column of each track in the view.
    attackers : frozenset of int
        Tracks of the attacking team.
    gap_s : float
        Holds of one player at most this far apart, nobody else's between, are one touch.
    """
    dribbles = [(r["track"], r["start_s"], r["end_s"]) for r in rows if r["kind"] == "dribble"]
    shots = [r for r in rows if r["kind"] == "shot"]
    touches: list[Touch] = []
    for row in rows:
        if row["kind"] != "hold" or row["track"] is None:
            continue
        track = int(row["track"])
        last = touches[-1] if touches else None
        shot_between = last is not None and any(
            last.start_s < s["start_s"] and s["end_s"] <= row["start_s"] + 1e-6 for s in shots
        )
        if last and last.track == track and row["start_s"] - last.end_s <= gap_s and not shot_between:
            touches[-1] = replace(last, end_s=max(last.end_s, row["end_s"]), score=min(last.score, row["score"]))
            continue
        touches.append(
            Touch(
                columns.get(track, NOBODY), track, track in attackers,
                float(row["start_s"]), float(row["end_s"]), float(row["score"]),
            )
        )  # fmt: skip
    touches = [
        replace(t, dribbles=tuple((a, b) for who, a, b in dribbles if who == t.track and _overlap(t, a, b)))
        for t in touches
    ]
    given = tuple((r["kind"], r["start_s"], r["end_s"]) for r in rows if r["kind"] in ("pass", "handoff"))
    return BallStory(tuple(touches), tuple(_attempts(rows, shots)), given)


def _attempts(rows: Sequence[dict[str, Any]], shots: Sequence[dict[str, Any]]) -> Iterator[Attempt]:
    for shot in shots:
        if shot["track"] is None:
            continue
        # film tells both ends apart by a step or two, so the rebound may seem to begin before the ball is at the ring
        later = (r for r in rows if r["kind"] in ("rebound", "loose") and r["start_s"] > shot["start_s"])
        first = next((r for r in later if abs(r["start_s"] - shot["end_s"]) <= AT_RING_S), None)
        attempt = Attempt(int(shot["track"]), float(shot["start_s"]), float(shot["end_s"]), float(shot["score"]))
        if first is not None and first["kind"] == "rebound" and first["track"] is not None:
            yield replace(attempt, rebounder=int(first["track"]), rebound_s=float(first["end_s"]), made=False)
        elif first is not None and first["kind"] == "loose":
            yield replace(attempt, made=True)
        else:
            yield attempt


def _overlap(touch: Touch, start_s: float, end_s: float) -> bool:
    return min(touch.end_s, end_s) - max(touch.start_s, start_s) > 0
