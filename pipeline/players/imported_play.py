"""Tracking data from elsewhere as stretches of play and as ``tracks``."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pyarrow as pa

from pipeline.court.rule_books import RuleBook
from pipeline.errors import TrackingError
from pipeline.players.imported_rows import NO_TEAM, OFFICIAL, Rows, brief
from pipeline.players.settings import ImportSettings
from pipeline.players.slopes import velocities
from pipeline.players.tables import TRACKS

LEAST_BODIES = 2.0
LEAST_MOMENTS = 3
LEAST_PLACES = 300
"""From so many places on they tell the units."""


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """One unbroken stretch of tracked play: T moments, N players and officials.

    Attributes
    ----------
    possession : str or None
        Its name in the data; None where the data does not say.
    attackers_known : bool
        Team 0 attacks.
    t_s : (T,) ndarray
        Rising.
    tracks : (N,) int ndarray
    teams : (N,) int ndarray
        0, 1 or -1.
    official : (N,) bool ndarray
    jerseys : tuple of (str or None)
    players_ft : (T, N, 2) ndarray
        Court frame; short gaps are filled in, NaN where not known.
    observed : (T, N) bool ndarray
        Given, not filled in.
    sigma_ft : (T, N) ndarray
    ball_ft : (T, 2) ndarray
    ball_z_ft, period, clock_s : (T,) ndarray
        NaN where not known.
    """

    possession: str | None
    attackers_known: bool
    t_s: np.ndarray
    tracks: np.ndarray
    teams: np.ndarray
    official: np.ndarray
    jerseys: tuple[str | None, ...]
    players_ft: np.ndarray
    observed: np.ndarray
    sigma_ft: np.ndarray
    ball_ft: np.ndarray
    ball_z_ft: np.ndarray
    period: np.ndarray
    clock_s: np.ndarray


def games_of(rows: Rows, book: RuleBook, settings: ImportSettings) -> dict[str, tuple[Stretch, ...]]:
    """The stretches of every game in the rows, in order of the games' appearance; ``""`` is a game without a name.

    Times are the data's own: those of a game's stretches may overlap until they are :func:`laid_apart`.

    Raises
    ------
    TrackingError
        If the rate, the places, the speeds or the teams do not fit.
    """
    _check_places(rows, book, settings)
    tracks = track_numbers(rows.agents)
    found: dict[str, list[Stretch]] = {}
    parts = _parts(rows, settings)
    _check_rate(rows, settings)
    told: dict[int, tuple[dict[int, int], dict[int, int]]] = {}
    for part in parts:
        game = int(rows.game[part[0]])
        if game not in told:
            here = np.flatnonzero(rows.game == game)
            told[game] = (_one_team_each(rows, here), _one_jersey_each(rows, here))
        stretch = _stretch(rows, part, tracks, *told[game], settings)
        if stretch is not None:
            found.setdefault(rows.games[game] if game >= 0 else "", []).extend(_without_cuts(stretch, settings))
    if not found:
        raise TrackingError(
            f"{rows.source.name} has no {LEAST_MOMENTS} moments in a row with the ball and players; check 't_s'."
        )
    _check_speeds(rows, [s for stretches in found.values() for s in stretches], settings)
    return {game: tuple(stretches) for game, stretches in found.items()}


def track_numbers(agents: Sequence[str]) -> np.ndarray:
    """A track for every agent's name: the number itself where all are numbers, else in order of the names."""
    players = [name for name in agents if name.lower() not in ("-1", "ball")]
    plain = all(name.isascii() and name.isdigit() and int(name) < 2**31 and str(int(name)) == name for name in players)
    order = {name: n for n, name in enumerate(sorted(players))}
    return np.array([(int(name) if plain else order[name]) if name in order else -1 for name in agents])


def laid_apart(stretches: Sequence[Stretch], settings: ImportSettings) -> tuple[Stretch, ...]:
    """Stretches on one clock: as they are where their times rise, else one after another with gaps between."""
    starts = np.array([s.t_s[0] for s in stretches])
    ends = np.array([s.t_s[-1] for s in stretches])
    order = np.argsort(starts, kind="stable")
    if (starts[order][1:] > ends[order][:-1]).all():
        return tuple(stretches[n] for n in order)
    return laid_end_to_end(stretches, settings)


def laid_end_to_end(stretches: Sequence[Stretch], settings: ImportSettings) -> tuple[Stretch, ...]:
    """Stretches one after another in the order given, with ``laid_apart_s`` between them, from 0 on."""
    result: list[Stretch] = []
    now_s = 0.0
    for stretch in stretches:
        result.append(_moved(stretch, now_s - float(stretch.t_s[0])))
        now_s += float(stretch.t_s[-1] - stretch.t_s[0]) + settings.laid_apart_s
    return tuple(result)


def imported_tracks(stretches: Sequence[Stretch], settings: ImportSettings) -> pa.Table:
    """The ``tracks`` table; a stretch's place in the sequence is its shot. A score is 1 where given, 0.5 filled in."""
    parts = [_track_rows(shot, stretch, first, settings) for (shot, stretch), first in _numbered(stretches)]
    return pa.concat_tables(parts) if parts else TRACKS.empty()


def first_frames(stretches: Sequence[Stretch]) -> list[int]:
    """The label of each stretch's first moment; moments are counted through."""
    return [0, *np.cumsum([len(s.t_s) for s in stretches]).tolist()][: len(stretches)]


def _numbered(stretches: Sequence[Stretch]) -> list[tuple[tuple[int, Stretch], int]]:
    return list(zip(enumerate(stretches), first_frames(stretches), strict=True))


def _track_rows(shot: int, stretch: Stretch, first: int, settings: ImportSettings) -> pa.Table:
    count, bodies = stretch.players_ft.shape[:2]
    flat = stretch.players_ft.reshape(count, 2 * bodies)
    velocity = velocities(stretch.t_s, flat, settings.speed_s).reshape(count, bodies, 2)
    moment, column = np.nonzero(np.isfinite(stretch.players_ft[..., 0]))
    place, speed = stretch.players_ft[moment, column], np.nan_to_num(velocity[moment, column])
    unseen = pa.nulls(len(moment), pa.float32())
    observed = stretch.observed[moment, column]
    jerseys = np.array(stretch.jerseys, dtype=object)
    roles = np.where(stretch.official, "official", "player")
    return TRACKS.from_columns(
        {
            "frame": first + moment,
            "t_s": stretch.t_s[moment],
            "shot": np.full(len(moment), shot),
            "track": stretch.tracks[column],
            "role": roles[column],
            "team": stretch.teams[column],
            "jersey": jerseys[column],
            "x_ft": place[:, 0],
            "y_ft": place[:, 1],
            "vx_ft_s": speed[:, 0],
            "vy_ft_s": speed[:, 1],
            "sigma_ft": stretch.sigma_ft[moment, column],
            "observed": observed,
            "x1_px": unseen,
            "y1_px": unseen,
            "x2_px": unseen,
            "y2_px": unseen,
            "score": np.where(observed, 1.0, 0.5),
        }
    )


def _moved(stretch: Stretch, by_s: float) -> Stretch:
    return replace(stretch, t_s=stretch.t_s + by_s)


def _parts(rows: Rows, settings: ImportSettings) -> list[np.ndarray]:
    """Indices of the rows of each stretch, in order of appearance of games and possessions, then by time."""
    order = np.lexsort((rows.t_s, rows.possession, rows.game))
    key = np.column_stack([rows.game, rows.possession])[order]
    cut = (key[1:] != key[:-1]).any(axis=1) | (np.diff(rows.t_s[order]) > settings.break_s)
    parts = np.split(order, np.flatnonzero(cut) + 1)
    if (rows.possession >= 0).any():  # what lies between possessions is not judged
        parts = [part for part in parts if rows.possession[part[0]] >= 0]
    return parts


def _stretch(
    rows: Rows,
    part: np.ndarray,
    tracks: np.ndarray,
    team_of: dict[int, int],
    jersey_of: dict[int, int],
    settings: ImportSettings,
) -> Stretch | None:
    stamps, moment = np.unique(np.round(rows.t_s[part] * 1e4).astype(np.int64), return_inverse=True)
    ball = rows.is_ball[part]
    agents = np.unique(rows.agent[part[~ball]])
    if len(stamps) < LEAST_MOMENTS or not len(agents) or not ball.any():
        return None
    agents = agents[np.argsort(tracks[agents])]
    t_s = np.zeros(len(stamps))
    t_s[moment] = rows.t_s[part]
    column = np.searchsorted(tracks[agents], tracks[rows.agent[part[~ball]]])
    shape = (len(stamps), len(agents))
    place, sigma = np.full((*shape, 2), np.nan), np.full(shape, np.nan)
    place[moment[~ball], column] = rows.xy_ft[part[~ball]]
    sigma[moment[~ball], column] = rows.sigma_ft[part[~ball]]
    sigma = np.where(np.isfinite(sigma), sigma, settings.usual_sigma_ft)
    observed = np.isfinite(place).all(axis=2)
    place[~observed] = np.nan
    for n in range(len(agents)):
        place[:, n], unsure = _filled(t_s, place[:, n], observed[:, n], settings)
        sigma[:, n] = np.hypot(sigma[:, n], unsure)
    ball_ft, height = np.full((len(stamps), 2), np.nan), np.full(len(stamps), np.nan)
    ball_ft[moment[ball]], height[moment[ball]] = rows.xy_ft[part[ball]], rows.z_ft[part[ball]]
    ball_ft[~np.isfinite(ball_ft).all(axis=1)] = np.nan
    period, clock = np.full(len(stamps), np.nan), np.full(len(stamps), np.nan)
    period[moment], clock[moment] = rows.period[part], rows.clock_s[part]
    sides = np.array([team_of[int(a)] for a in agents])
    possession = int(rows.possession[part[0]])
    return Stretch(
        possession=rows.possessions[possession] if possession >= 0 else None,
        attackers_known=rows.attackers_known,
        t_s=t_s,
        tracks=tracks[agents],
        teams=np.where(sides >= 0, sides, -1),
        official=sides == OFFICIAL,
        jerseys=tuple(rows.jerseys[jersey_of[int(a)]] if int(a) in jersey_of else None for a in agents),
        players_ft=place,
        observed=observed,
        sigma_ft=sigma,
        ball_ft=ball_ft,
        ball_z_ft=height,
        period=period,
        clock_s=clock,
    )


def _without_cuts(stretch: Stretch, settings: ImportSettings) -> list[Stretch]:
    """A stretch in pieces: where most players are elsewhere from one moment to the next, something was left out."""
    speed = _speeds(stretch)
    known = np.isfinite(speed).sum(axis=1)
    with np.errstate(invalid="ignore"):
        jump = (speed > settings.fastest_ft_s).sum(axis=1)
    cuts = np.flatnonzero((known > 0) & (jump > 0.5 * known)) + 1
    if not len(cuts):
        return [stretch]
    parts = np.split(np.arange(len(stretch.t_s)), cuts)
    return [_piece(stretch, part) for part in parts if len(part) >= LEAST_MOMENTS]


def _piece(stretch: Stretch, moments: np.ndarray) -> Stretch:
    """Some moments of a stretch."""
    timed = ("t_s", "players_ft", "observed", "sigma_ft", "ball_ft", "ball_z_ft", "period", "clock_s")
    return replace(stretch, **{name: getattr(stretch, name)[moments] for name in timed})


def _speeds(stretch: Stretch) -> np.ndarray:
    """How fast each step was, (T - 1, N); half a foot of error at each end is no way, however short the step."""
    way = np.linalg.norm(np.diff(stretch.players_ft, axis=0), axis=2)
    return np.maximum(way - 1.0, 0) / np.diff(stretch.t_s)[:, None]


def _filled(
    t_s: np.ndarray, place: np.ndarray, known: np.ndarray, settings: ImportSettings
) -> tuple[np.ndarray, np.ndarray]:
    """Places (T, 2) with short gaps filled by straight lines, and how unsure (T,) that makes them."""
    at = np.flatnonzero(known)
    unsure = np.zeros(len(t_s))
    if len(at) < 2 or known.all():
        return place, unsure
    gaps = np.flatnonzero((np.diff(at) > 1) & (np.diff(t_s[at]) <= settings.fill_s + 1e-9))
    filled = place.copy()
    for n in gaps:
        a, b = at[n], at[n + 1]
        inner = np.arange(a + 1, b)
        share = (t_s[inner] - t_s[a]) / (t_s[b] - t_s[a])
        filled[inner] = place[a] + share[:, None] * (place[b] - place[a])
        unsure[inner] = settings.fill_sigma_ft_s * np.minimum(t_s[inner] - t_s[a], t_s[b] - t_s[inner])
    return filled, unsure


def _one_team_each(rows: Rows, here: np.ndarray) -> dict[int, int]:
    """The team of each agent of a game; who is said to be in two is refused."""
    told: dict[int, int] = {}
    players = here[~rows.is_ball[here]]
    pairs, first = np.unique(np.column_stack([rows.agent[players], rows.team[players]]), axis=0, return_index=True)
    for (agent, team), index in zip(pairs.tolist(), first.tolist(), strict=True):
        before = told.get(agent, NO_TEAM)
        if NO_TEAM not in (before, team) and before != team:
            raise TrackingError(
                f"{rows.source.row(int(players[index]))}: agent '{brief(rows.agents[agent])}' is in another team than "
                "in other rows of the game; give every player one agent of his own."
            )
        told[agent] = team if before == NO_TEAM else before
    return told


def _one_jersey_each(rows: Rows, here: np.ndarray) -> dict[int, int]:
    worn = here[rows.jersey[here] >= 0]
    pairs = np.unique(np.column_stack([rows.agent[worn], rows.jersey[worn]]), axis=0)
    return dict(pairs.tolist()[::-1])


def _check_places(rows: Rows, book: RuleBook, settings: ImportSettings) -> None:
    """The players stand on this court, in these units, from this origin."""
    players = rows.xy_ft[~rows.is_ball & np.isfinite(rows.xy_ft).all(axis=1)]
    size = np.array([book.length_ft, book.width_ft])
    if not len(players):
        raise TrackingError(f"{rows.source.name} has no player with a place; fill the x and y columns.")

    def outside(places: np.ndarray) -> float:
        off = (places < -settings.outside_ft) | (places > size + settings.outside_ft)
        return float(off.any(axis=1).mean())

    share = outside(players)
    if share > settings.most_outside_share:
        hints = {
            "they fit a court measured from its centre; say --origin centre": players + size / 2,
            "they fit a court measured from its corner; say --origin corner": players - size / 2,
            "they look like feet in columns of metres; name them x_ft and y_ft": players * 0.3048,
            "they look like centimetres; divide them by 100 and name them x_m and y_m": players * 0.0328084,
        }
        fits = [
            text
            for text, moved in hints.items()
            if outside(moved) <= settings.most_outside_share and _wide_ft(moved) >= settings.narrow_ft
        ]
        spans = ", ".join(
            f"{name} runs from {players[:, axis].min():.1f} to {players[:, axis].max():.1f} ft"
            for axis, name in enumerate("xy")
        )
        raise TrackingError(
            f"{rows.source.name}: {share:.0%} of the players' places lie outside the {book.name} court ({spans}); "
            f"{fits[0] if fits else 'check the units, the origin and the rule book'}."
        )
    wide, long = _wide_ft(players), _wide_ft(players[:, ::-1])
    if len(players) > LEAST_PLACES and wide < settings.narrow_ft and long < settings.narrow_ft * 2:
        raise TrackingError(
            f"{rows.source.name}: the players keep within {long:.0f} by {wide:.0f} ft, which looks like metres in "
            "columns of feet; name them x_m and y_m."
        )


def _wide_ft(places: np.ndarray) -> float:
    """How wide the second coordinate spreads, but for a hundredth at either end."""
    return float(np.ptp(np.percentile(places[:, 1], [1, 99])))


def _check_rate(rows: Rows, settings: ImportSettings) -> None:
    stamps = np.unique(
        np.column_stack([rows.game, rows.possession, np.round(rows.t_s * 1e4).astype(np.int64)]), axis=0
    )  # fmt: skip
    same = (stamps[1:, :2] == stamps[:-1, :2]).all(axis=1)
    steps = np.diff(stamps[:, 2])[same] / 1e4
    if not len(steps):
        raise TrackingError(f"{rows.source.name} has no two moments of one possession; check 't_s', it is in seconds.")
    bodies = len(rows.t_s) / len(stamps)
    if bodies < LEAST_BODIES:
        raise TrackingError(
            f"{rows.source.name} has {bodies:.1f} bodies a moment; give all bodies of one moment the same 't_s'."
        )
    rate = 1.0 / float(np.median(steps))
    if not settings.slowest_hz * 0.95 <= rate <= settings.fastest_hz * 1.05:
        milli = "; if 't_s' is in milliseconds, divide it by 1000" if rate < 0.2 else ""
        raise TrackingError(
            f"{rows.source.name} has {rate:.3g} moments a second; the rules need {settings.slowest_hz:g} to "
            f"{settings.fastest_hz:g}, so export it at such a rate{milli}."
        )


def _check_speeds(rows: Rows, stretches: Sequence[Stretch], settings: ImportSettings) -> None:
    """Bodies do not jump: swapped players and wrong times show as steps that nobody can run."""
    jumps, steps, worst = 0, 0, (0.0, 0.0, "")
    names = dict(zip(track_numbers(rows.agents).tolist(), rows.agents, strict=True))
    for stretch in stretches:
        speed = _speeds(stretch)
        known = np.isfinite(speed)
        fast = known & (speed > settings.fastest_ft_s)
        jumps, steps = jumps + int(fast.sum()), steps + int(known.sum())
        if fast.any():
            moment, column = np.unravel_index(int(np.where(known, speed, 0).argmax()), speed.shape)
            if speed[moment, column] > worst[0]:
                at = float(stretch.t_s[moment])
                worst = (float(speed[moment, column]), at, names[int(stretch.tracks[column])])
    if steps and jumps / steps > settings.most_jumps_share:
        raise TrackingError(
            f"{rows.source.name}: {jumps / steps:.0%} of the players' steps are faster than anybody runs (agent "
            f"'{brief(worst[2])}' at {worst[1]:g} s: {worst[0]:.0f} ft/s); check 't_s' and that an agent is always "
            "one player."
        )
