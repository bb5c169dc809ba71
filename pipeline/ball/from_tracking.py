"""Who had the ball when only places are known, as touches: holds, passes, handoffs, shots and what became of them.

The states moment by moment come from :mod:`pipeline.ball.place_states`. Whether a hold is a dribble cannot be told from
the floor point alone; dribbles are given only where the ball's height is known.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from itertools import pairwise
from typing import Any

import numpy as np

from pipeline.ball.dribble import dribbles
from pipeline.ball.place_states import IN_AIR, NOBODY, RINGS, Places, ball_states, rings_ft
from pipeline.ball.settings import BallSettings, DribbleSettings, PlacesSettings
from pipeline.court.rule_books import RuleBook
from pipeline.players.slopes import velocities


@dataclass(frozen=True, slots=True)
class Held:
    """One player's hold: his column, first and past-last moment."""

    who: int
    first: int
    last: int


def holds_in(state: np.ndarray, places: Places, rules: PlacesSettings) -> list[Held]:
    """Holds of at least ``least_hold_s``; a player's own dribble that got away from him and came back is one hold."""
    players = places.players_ft.shape[1]
    edges = np.flatnonzero(np.diff(state)) + 1
    runs = [
        Held(int(state[a]), int(a), int(b))
        for a, b in pairwise([0, *edges.tolist(), len(state)] if len(state) else [])
        if state[a] < players
    ]
    joined: list[Held] = []
    for run in runs:
        before = joined[-1] if joined else None
        if (
            before is not None
            and before.who == run.who
            and (state[before.last : run.first] < players + IN_AIR).all()
            and places.t_s[run.first] - places.t_s[before.last - 1] <= rules.longest_bobble_s
        ):
            joined[-1] = Held(run.who, before.first, run.last)
        else:
            joined.append(run)
    return [
        h for h in joined if _ends(places.t_s, h)[1] - _ends(places.t_s, h)[0] >= rules.least_hold_s - 1e-9
    ]  # fmt: skip


def _ends(t_s: np.ndarray, hold: Held) -> tuple[float, float]:
    """Begin and end of a hold: halfway to the moments before and after it."""
    start = t_s[hold.first] if hold.first == 0 else 0.5 * (t_s[hold.first - 1] + t_s[hold.first])
    end = t_s[hold.last - 1] if hold.last == len(t_s) else 0.5 * (t_s[hold.last - 1] + t_s[hold.last])
    return float(start), float(end)


def touches_from_places(
    places: Places, names: np.ndarray, shot: int, book: RuleBook, every: BallSettings
) -> list[dict[str, Any]]:
    """Touches of one stretch of play, as rows of the ``touches`` table without their numbers.

    A hold's score is the share of its moments in which nobody else was nearer to the ball; a pass's or handoff's the
    lower of the holds' it lies between, times the share of moments in which the ball is known.

    Parameters
    ----------
    places : Places
    names : (N,) int ndarray
        Tracks of the columns.
    shot : int
        The stretch's number.
    book : RuleBook
    every : BallSettings
        ``places``, ``touches`` and ``dribble`` of it are used.
    """
    rules, limits = every.places, every.touches
    state = ball_states(places, book, rules)
    holds = _let_go(holds_in(state, places, rules), places, book, rules)
    thrown = _thrown_before(holds, places, rules)
    holds = [*thrown, *holds]
    gap = np.linalg.norm(places.players_ft - places.ball_ft[:, None], axis=2)
    rows: list[dict[str, Any]] = []

    def add(kind: str, start_s: float, end_s: float, who: int, to: int, score: float) -> None:
        rows.append(
            {
                "shot": shot,
                "kind": kind,
                "start_s": start_s,
                "end_s": max(end_s, start_s),
                "track": None if who == NOBODY else int(names[who]),
                "to_track": None if to == NOBODY else int(names[to]),
                "team": -1 if who == NOBODY else int(places.teams[who]),
                "score": score,
            }
        )

    rings = _shots(holds, places, state, book, rules)
    if thrown:
        rings.pop(0, None)  # it was caught: thrown past the ring, or in from behind it
    scores = [_nearest_share(gap[h.first : h.last], h.who) for h in holds]
    for number, hold in enumerate(holds):
        start_s, end_s = _ends(places.t_s, hold)
        add("hold", start_s, end_s, hold.who, NOBODY, scores[number])
        for a, b in _dribbles(places, hold, every.dribble):
            add("dribble", float(places.t_s[a]), float(places.t_s[b - 1]), hold.who, NOBODY, scores[number])
        after = holds[number + 1] if number + 1 < len(holds) else None
        until = after.first if after else len(state)
        until_s = _ends(places.t_s, after)[0] if after else float(places.t_s[-1])
        at_ring = rings.get(number)
        if at_ring is not None:
            add("shot", end_s, at_ring.t_s, hold.who, NOBODY, scores[number])
            fate = _fate(places, at_ring, book, rules)
            own = after is not None and places.teams[after.who] == at_ring.team
            if fate is Fate.MADE:
                add("loose", at_ring.t_s, until_s, NOBODY, NOBODY, scores[number])
            elif after is not None and (fate is Fate.MISSED or own):
                add("rebound", at_ring.t_s, until_s, after.who, NOBODY, scores[number + 1])
            continue
        if after is None or after.who == hold.who:
            continue
        seen = np.isfinite(places.ball_ft[hold.last - 1 : until + 1, 0]).mean()
        both = min(scores[number], scores[number + 1]) * float(seen)
        teams = places.teams[[hold.who, after.who]]
        if teams[0] == teams[1] and until_s - end_s <= limits.longest_flight_s:
            given = until_s - end_s <= limits.handoff_s and _handed_over(places, hold, after, rules)
            add("handoff" if given else "pass", end_s, until_s, hold.who, after.who, both)
        else:
            add("loose", end_s, until_s, NOBODY, NOBODY, both)
    return rows


@dataclass(frozen=True, slots=True)
class AtRing:
    """A ball that came to a ring (0 left, 1 right): when, and who had it last."""

    ring: int
    t_s: float
    team: int


def _shots(
    holds: list[Held], places: Places, state: np.ndarray, book: RuleBook, rules: PlacesSettings
) -> dict[int, AtRing]:
    """The holds (by number) that ended in a shot.

    A team that throws across the ring the other one shot at has thrown the ball in or out; and a ball that has not
    been away from the ring since the last shot was not shot again.
    """
    came = {}
    for number, hold in enumerate(holds):
        until = holds[number + 1].first if number + 1 < len(holds) else len(state)
        found = _came_to_ring(places, state, hold, until, book, rules)
        if found is not None:
            came[number] = found
    kept: dict[int, AtRing] = {}
    for ring in range(RINGS):
        here = {n: at for n, at in came.items() if at.ring == ring}
        teams = [at.team for at in here.values()]
        own = max(dict.fromkeys(teams), key=teams.count, default=NOBODY)  # the first of equals
        last_s = None
        for number, at in here.items():
            if at.team != own:
                continue
            since = (places.t_s >= (last_s or 0)) & (places.t_s <= places.t_s[holds[number].last - 1])
            away = np.hypot(*(places.ball_ft[since] - rings_ft(book)[ring]).T) > rules.ring_within_ft
            if last_s is None or away.any():
                kept[number] = at
            last_s = at.t_s
    return kept


def _came_to_ring(
    places: Places, state: np.ndarray, hold: Held, until: int, book: RuleBook, rules: PlacesSettings
) -> AtRing | None:
    """The ring that a ball came to between a hold and moment ``until``; None if it did not.

    A ball on its way as play stops has come there if it would within ``to_ring_s``, going on as it does. Who stands
    behind the baseline throws the ball in and shoots at nothing.
    """
    players, team = places.players_ft.shape[1], int(places.teams[hold.who])
    x_ft, y_ft = places.players_ft[hold.last - 1, hold.who]
    if not (0 <= x_ft <= book.length_ft and 0 <= y_ft <= book.width_ft):
        return None
    between = state[hold.last : until] - players - IN_AIR
    at_ring = np.flatnonzero((between >= 0) & (between < RINGS))
    if len(at_ring):
        return AtRing(int(between[at_ring[0]]), float(places.t_s[hold.last + at_ring[0]]), team)
    if until < len(state) or len(state) - hold.first < 2:
        return None
    velocity = velocities(places.t_s[hold.first :], places.ball_ft[hold.first :], rules.speed_s)[-1]
    if not np.hypot(*velocity) >= rules.slow_ft_s / 2:
        return None
    ahead_s = np.arange(0.0, rules.to_ring_s + 1e-9, 0.05)
    way = places.ball_ft[-1] + ahead_s[:, None] * velocity
    off = np.linalg.norm(way[:, None] - rings_ft(book), axis=2).min(axis=0)
    return AtRing(int(off.argmin()), float(places.t_s[-1]), team) if off.min() <= rules.ring_within_ft else None


class Fate(Enum):
    """What became of a shot."""

    MADE = "made"
    MISSED = "missed"
    UNKNOWN = "unknown"


def _fate(places: Places, at_ring: AtRing, book: RuleBook, rules: PlacesSettings) -> Fate:
    """Whether a ball that came to a ring fell through it.

    A made ball falls straight down, a miss bounces off: what tells is how far it is from the ring ``falls_s`` after it
    was nearest, or, where its height is known, as it comes below the net.
    """
    about = np.flatnonzero((places.t_s >= at_ring.t_s - 1e-6) & (places.t_s <= at_ring.t_s + rules.falls_s))
    off = np.hypot(*(places.ball_ft - rings_ft(book)[at_ring.ring]).T)
    if not np.isfinite(off[about]).any():
        return Fate.UNKNOWN
    nearest = int(about[np.nanargmin(off[about])])
    low = np.flatnonzero(places.ball_z_ft[nearest:] < rules.ring_above_ft)
    if len(low):
        return Fate.MADE if off[nearest + low[0]] <= rules.made_within_ft else Fate.MISSED
    after = (places.t_s >= places.t_s[nearest]) & (places.t_s <= places.t_s[nearest] + rules.falls_s + 1e-6)
    if places.t_s[-1] < places.t_s[nearest] + rules.falls_s - 1e-6 or not np.isfinite(off[after]).all():
        return Fate.UNKNOWN
    farthest = float(off[after].max())
    if farthest <= rules.made_within_ft:
        return Fate.MADE
    return Fate.MISSED if farthest > rules.missed_beyond_ft else Fate.UNKNOWN


def _thrown_before(holds: list[Held], places: Places, rules: PlacesSettings) -> list[Held]:
    """The hold of who has just thrown the ball that is in the air as play begins; none if that cannot be told.

    It leaves the nearest mate of who catches it, out of his reach, and does not come back to him.
    """
    if not holds or holds[0].first < 2:
        return []
    catcher, caught = holds[0].who, holds[0].first
    mates = (places.teams == places.teams[catcher]) & (np.arange(len(places.teams)) != catcher)
    gap = np.linalg.norm(places.players_ft[: caught + 1] - places.ball_ft[: caught + 1, None], axis=2)
    first = np.where(mates & np.isfinite(gap[0]), gap[0], np.inf)
    who = int(first.argmin())
    way = gap[:, who]
    if not first[who] <= rules.thrown_within_ft or not np.isfinite(way).all():
        return []
    leaves = way[1] > way[0] and way[-1] > rules.hold_within_ft and not (way[2:] <= way[0]).any()
    return [Held(who, 0, 1)] if leaves else []


def _let_go(holds: list[Held], places: Places, book: RuleBook, rules: PlacesSettings) -> list[Held]:
    """A last hold that lasts until play stops ends where the ball went from its holder to the ring, if it did."""
    if not holds or holds[-1].last < len(places.t_s):
        return holds
    last = holds[-1]
    during = slice(last.first, last.last)
    gap = np.linalg.norm(places.players_ft[during, last.who] - places.ball_ft[during], axis=1)
    off = np.linalg.norm(places.ball_ft[during, None] - rings_ft(book), axis=2).min(axis=1)
    near = np.flatnonzero(gap <= rules.arm_ft)
    if not len(near) or near[-1] + 1 >= len(gap):
        return holds
    gone = near[-1] + 1
    goes = off[-1] <= rules.ring_within_ft and off[-1] < off[gone - 1] and gap[-1] > rules.arm_ft
    return [*holds[:-1], Held(last.who, last.first, last.first + int(gone))] if goes else holds


def _handed_over(places: Places, hold: Held, after: Held, rules: PlacesSettings) -> bool:
    """Whether giver and receiver are within arms' reach as the ball changes hands, and it is not thrown.

    Farther apart than two outstretched arms, with the ball in nobody's hands between, it is handed over only to a
    receiver who comes to it: to one who stands or rolls to the ring it is a short pass.
    """
    span = slice(hold.last - 1, after.first + 1)
    apart = np.linalg.norm(places.players_ft[span, hold.who] - places.players_ft[span, after.who], axis=1)
    near = np.isfinite(apart).any() and float(np.nanmin(apart)) <= rules.handoff_ft
    about = slice(max(hold.last - 3, 0), after.first + 3)
    speed = np.linalg.norm(velocities(places.t_s[about], places.ball_ft[about], rules.speed_s), axis=1)
    inner = speed[hold.last - 1 - about.start : after.first + 1 - about.start]
    if not near or (inner > rules.handoff_ball_ft_s).any():
        return False
    if float(np.nanmin(apart)) <= rules.arms_ft or after.first <= hold.last:
        return True
    towards = places.players_ft[hold.last - 1, hold.who] - places.players_ft[hold.last - 1, after.who]
    moves = velocities(places.t_s[about], places.players_ft[about, after.who], rules.speed_s)
    comes = float(moves[hold.last - 1 - about.start] @ towards) / max(float(np.linalg.norm(towards)), 1e-9)
    return comes >= rules.handoff_comes_ft_s


def _nearest_share(gap: np.ndarray, who: int) -> float:
    known = np.isfinite(gap[:, who])
    if not known.any():
        return 0.0
    nearest = np.where(np.isfinite(gap), gap, np.inf).argmin(axis=1) == who
    return float(nearest[known].mean() * known.mean())


def _dribbles(places: Places, hold: Held, settings: DribbleSettings) -> list[tuple[int, int]]:
    during = slice(hold.first, hold.last)
    height = places.ball_z_ft[during]
    return [(hold.first + a, hold.first + b) for a, b in dribbles(places.t_s[during], height, settings)]
