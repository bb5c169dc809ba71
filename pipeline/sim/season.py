"""A season's games as tables, without pictures: possessions of drills, seen as a film's chain sees them.

Comes in: the true tables of a few drills and a seed. Goes out: for each game of an invented club its day, opponent and
rosters, and the tables ``shots``, ``frames``, ``tracks``, ``ball``, ``touches``, ``possessions`` and ``clock`` as they
stand in a library when the ball room is done. A game is four quarters of possessions of both clubs in turn, drawn from
the drills' (each drill is a game's worth; a game takes its possessions from all of them in an order of its own) and
seen with errors of its own (:mod:`pipeline.sim.seen_error`). After half time the ends are changed. Between possessions
lie shots that are not live, so that a game is about two hours of film. Clubs, people and numbers are invented.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pyarrow as pa

from pipeline.ball.tables import BALL, POSSESSIONS, TOUCHES
from pipeline.court.rule_books import RuleBook
from pipeline.film.tables import CLOCK, FRAMES, SHOTS
from pipeline.players.tables import TRACKS
from pipeline.sim.seen_error import NOBODY, Play, SeenError, Told, Touch, told_of

OWN_CLUB = "Harbour"
OPPONENTS = ("Hill", "Mill", "Quay", "Orchard", "Foundry", "Saltmarsh", "Viaduct", "Lantern", "Heath")
FIRST_DAY = date(2025, 10, 21)
DAYS_BETWEEN = 2
ROSTER = 12
STINT = 8
"""Possessions of both clubs that the same ten are on the floor."""

POSSESSIONS_A_GAME = 190
"""Of both clubs together."""

PERIODS = 4
PERIOD_S = 720.0
SHOT_CLOCK_S = 24.0
BEFORE_S = 240.0
"""Film before the first possession."""

DEAD_S = (6.0, 34.0)
BREAK_S = 150.0
HALF_TIME_S = 600.0
FILM_RATE = 25
NUMBER_READ = 0.29
"""Share of tracks whose jersey number is read (four development films, see the weights' card)."""

PLACED_S = 0.03
"""Spread of a possession's start and end against the truth."""

_SYLLABLES = ("ba", "de", "fo", "gi", "ka", "lo", "mi", "nu", "pe", "ro", "sa", "te", "vu", "zo")


@dataclass(frozen=True, slots=True)
class Club:
    """A club: its name, and its people by number."""

    name: str
    roster: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Fixture:
    """One game of the season; ``clubs`` are teams 0 and 1 of its tables."""

    number: int
    name: str
    day: date
    clubs: tuple[Club, Club]

    @property
    def opponent(self) -> str:
        """Who the own club plays."""
        return next(club.name for club in self.clubs if club.name != OWN_CLUB)


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """A possession of a drill: its play, and its row of the possessions in the play's own time.

    ``half_court_s`` is None where the ball never got there.
    """

    play: Play
    team: int
    end: str
    start_s: float
    end_s: float
    half_court_s: float | None


def fixtures(games: int, seed: int) -> tuple[Fixture, ...]:
    """The season's games: the own club against every other in turn, at home and away."""
    clubs = {name: _club(name, np.random.default_rng([seed, 41, k])) for k, name in enumerate((OWN_CLUB, *OPPONENTS))}
    found = []
    for number in range(games):
        other = OPPONENTS[(number * 4 + number // len(OPPONENTS)) % len(OPPONENTS)]
        day = FIRST_DAY + timedelta(days=DAYS_BETWEEN * number)
        pair = (OWN_CLUB, other) if number % 2 == 0 else (other, OWN_CLUB)
        found.append(Fixture(number, f"{day}-{other.lower()}", day, (clubs[pair[0]], clubs[pair[1]])))
    return tuple(found)


def _club(name: str, rng: np.random.Generator) -> Club:
    numbers = sorted(rng.choice(np.arange(1, 60), ROSTER, replace=False))
    people: dict[str, str] = {}
    while len(people) < ROSTER:
        family = "".join(rng.choice(_SYLLABLES, int(rng.integers(2, 4)))).capitalize()
        told = f"{'ABDEFGHJKLMNPRSTVW'[int(rng.integers(18))]}. {family}"
        if told not in people.values():
            people[str(numbers[len(people)])] = told
    return Club(name, people)


def read_drill(folder: Path) -> tuple[Drawn, ...]:
    """The possessions of a drill's true tables, each in a time of its own that begins with its shot."""
    tracks, ball, touches = (spec.read(folder) for spec in (TRACKS, BALL, TOUCHES))
    shots, possessions = SHOTS.read(folder).to_pylist(), POSSESSIONS.read(folder).to_pylist()
    begins = {row["shot"]: row["start_s"] for row in shots}
    columns = {n: tracks[n].to_numpy() for n in ("shot", "x_ft", "y_ft", "vx_ft_s", "vy_ft_s", "team", "track")}
    balls = {n: ball[n].to_numpy() for n in ("shot", "t_s", "x_ft", "y_ft", "z_ft")}
    bodies = int(columns["track"].max()) + 1
    story = touches.to_pylist()
    found = []
    for row in possessions:
        shot = row["shot"]
        begin_s = begins[shot]
        rows = columns["shot"] == shot
        own = balls["shot"] == shot

        def grid(one: str, other: str, rows: np.ndarray = rows) -> np.ndarray:
            return np.stack([columns[one][rows], columns[other][rows]], axis=-1).reshape(-1, bodies, 2)

        play = Play(
            balls["t_s"][own] - begin_s,
            grid("x_ft", "y_ft"),
            grid("vx_ft_s", "vy_ft_s"),
            columns["team"][rows][:bodies].astype(int),
            np.stack([balls[n][own] for n in ("x_ft", "y_ft", "z_ft")], axis=-1),
            tuple(
                Touch(t["kind"], t["start_s"] - begin_s, t["end_s"] - begin_s, t["track"], t["to_track"])
                for t in story
                if t["shot"] == shot
            ),
        )
        half = None if row["half_court_s"] is None else row["half_court_s"] - begin_s
        found.append(
            Drawn(play, row["team"], row["attacked_end"], row["start_s"] - begin_s, row["end_s"] - begin_s, half)
        )
    return tuple(found)


def game_tables(
    fixture: Fixture,
    pool: Sequence[Drawn],
    book: RuleBook,
    error: SeenError,
    seed: int,
    *,
    possessions: int = POSSESSIONS_A_GAME,
) -> dict[str, pa.Table]:
    """The tables of one game; the same fixture, pool and seed give the same game."""
    rng = np.random.default_rng([seed, 43, fixture.number])
    order = _order(pool, possessions, rng)
    film = _Film(fixture, book, rng)
    for place, number in enumerate(order):
        period = 1 + place * PERIODS // len(order)
        drawn = turned(pool[number], book) if period > PERIODS // 2 else pool[number]
        film.add(drawn, told_of(drawn.play, error, rng), period)
    return film.tables()


def _order(pool: Sequence[Drawn], count: int, rng: np.random.Generator) -> list[int]:
    """Possessions of the two clubs in turn, none twice before all have been there."""
    own = [rng.permutation([k for k, drawn in enumerate(pool) if drawn.team == team]) for team in (0, 1)]
    first = int(rng.integers(2))
    turns = [(first + place) % 2 for place in range(count)]
    return [int(own[team][(place // 2) % len(own[team])]) for place, team in enumerate(turns)]


def turned(drawn: Drawn, book: RuleBook) -> Drawn:
    """The same possession at the other end: the floor turned by half a circle, which leaves right and left alone."""
    whole = np.array([book.length_ft, book.width_ft])
    play = drawn.play
    ball = np.column_stack([whole - play.ball_ft[:, :2], play.ball_ft[:, 2]])
    there = replace(play, places_ft=whole - play.places_ft, velocities_ft_s=-play.velocities_ft_s, ball_ft=ball)
    return replace(drawn, play=there, end="right" if drawn.end == "left" else "left")


class _Film:
    """A game's tables while possession after possession is added."""

    def __init__(self, fixture: Fixture, book: RuleBook, rng: np.random.Generator) -> None:
        self._fixture, self._book, self._rng = fixture, book, rng
        self._now_s = BEFORE_S
        self._parts: dict[str, list[dict[str, np.ndarray]]] = {"tracks": [], "ball": [], "frames": [], "clock": []}
        self._rows: dict[str, list[dict[str, object]]] = {"shots": [], "touches": [], "possessions": []}
        self._names = 0
        self._period, self._left_s = 1, PERIOD_S
        self._lineups: tuple[np.ndarray, np.ndarray] = (np.zeros(0), np.zeros(0))
        self._shot(0.0, BEFORE_S, "graphics")

    def add(self, drawn: Drawn, told: Told, period: int) -> None:
        """One possession: dead time before it, then its shot."""
        done = len(self._rows["possessions"])
        if done:
            self._dead(period)
        if done % STINT == 0:
            self._lineups = tuple(  # type: ignore[assignment]
                self._rng.choice(list(club.roster), 5, replace=False) for club in self._fixture.clubs
            )
        begin_s, play = self._now_s, drawn.play
        shot = self._shot(begin_s, begin_s + float(play.t_s[-1]) + 0.08, "main")
        t_s = play.t_s + begin_s
        frame = np.round(t_s * FILM_RATE).astype(np.int64)
        self._parts["frames"].append({"frame": frame, "t_s": t_s, "shot": np.full(len(t_s), shot)})
        self._add_bodies(told, t_s, frame, shot)
        self._add_ball(told, t_s, frame, shot)
        self._add_clock(drawn, t_s, frame)
        for touch in told.touches:
            self._rows["touches"].append(self._touch(touch, told, begin_s, shot))
        early, late = self._rng.normal(0, PLACED_S, 2)
        start_s = max(begin_s, begin_s + drawn.start_s + float(early))
        half = drawn.half_court_s
        self._rows["possessions"].append(
            {
                "possession": done,
                "shot": shot,
                "team": drawn.team,
                "attacked_end": drawn.end,
                "start_s": start_s,
                "end_s": float(min(t_s[-1], begin_s + drawn.end_s + float(late))),
                "half_court_s": None if half is None else max(start_s, begin_s + half + float(abs(early))),
                "score": float(self._rng.beta(9, 1)),
            }
        )
        self._names += len(told.name_teams)
        self._now_s = float(self._rows["shots"][-1]["end_s"])  # type: ignore[arg-type]

    def tables(self) -> dict[str, pa.Table]:
        """The game's tables."""
        found = {spec.name: spec.from_columns(self._columns(spec.name)) for spec in (FRAMES, TRACKS, BALL, CLOCK)}
        touches = [{"touch": k} | row for k, row in enumerate(self._rows["touches"])]
        return found | {
            "shots": SHOTS.from_rows(self._rows["shots"]),
            "touches": TOUCHES.from_rows(touches),
            "possessions": POSSESSIONS.from_rows(self._rows["possessions"]),
        }

    def _columns(self, table: str) -> dict[str, pa.Array]:
        """The columns of all possessions; not a number is null."""
        parts = self._parts[table]
        return {n: pa.array(np.concatenate([part[n] for part in parts]), from_pandas=True) for n in parts[0]}

    def _shot(self, start_s: float, end_s: float, view: str) -> int:
        number = len(self._rows["shots"])
        live = view == "main"
        self._rows["shots"].append(
            {
                "shot": number,
                "start_s": start_s,
                "end_s": end_s,
                "start_frame": round(start_s * FILM_RATE),
                "end_frame": round(end_s * FILM_RATE),
                "view": view,
                "live": live,
                "transition_in": "cut" if number else "start",
                "score": float(self._rng.beta(20, 1)),
                "reason": "The main camera shows play." if live else "The floor is not in the picture.",
            }
        )
        return number

    def _dead(self, period: int) -> None:
        """What lies between two possessions: no play; the clock runs a little, and to nothing at a quarter's end."""
        length_s = float(self._rng.uniform(*DEAD_S))
        self._left_s = max(0.0, self._left_s - float(self._rng.uniform(1.0, 6.0)))
        if period != self._period:
            length_s += HALF_TIME_S if period == PERIODS // 2 + 1 else BREAK_S
            self._period, self._left_s = period, PERIOD_S
        self._shot(self._now_s, self._now_s + length_s, str(self._rng.choice(["closeup", "crowd", "replay"])))
        self._now_s += length_s

    def _add_bodies(self, told: Told, t_s: np.ndarray, frame: np.ndarray, shot: int) -> None:
        numbers = np.full(len(told.name_teams), None, dtype=object)
        for name, team in enumerate(told.name_teams):
            if team >= 0 and name < 10 and self._rng.random() < NUMBER_READ:
                numbers[name] = str(self._lineups[team][name % 5])
        here = np.isfinite(told.places_ft[..., 0])
        row, body = np.nonzero(here)
        track = told.names[row, body]
        team = told.name_teams[track]
        count = len(row)
        self._parts["tracks"].append(
            {
                "frame": frame[row],
                "t_s": t_s[row],
                "shot": np.full(count, shot),
                "track": track + self._names,
                "role": np.where(team < 0, "official", "player"),
                "team": team,
                "jersey": numbers[track],
                "x_ft": told.places_ft[row, body, 0],
                "y_ft": told.places_ft[row, body, 1],
                "vx_ft_s": told.velocities_ft_s[row, body, 0],
                "vy_ft_s": told.velocities_ft_s[row, body, 1],
                "sigma_ft": told.sigma_ft[row, body],
                "observed": told.observed[row, body],
                **self._boxes(told, row, body),
                "score": self._rng.beta(12, 2, count),
            }
        )

    def _boxes(self, told: Told, row: np.ndarray, body: np.ndarray) -> dict[str, np.ndarray]:
        """Boxes as a camera at half court sees bodies of 6.5 ft, in a picture 1280 wide; none where filled in."""
        place = told.places_ft[row, body]
        away = 70.0 + place[:, 1]
        size = 1280.0 * 6.5 / (0.55 * away)
        middle = 640 + (place[:, 0] - self._book.length_ft / 2) * 1280 / (0.55 * away)
        foot = 600.0 - 260.0 * place[:, 1] / self._book.width_ft
        box = {"x1_px": middle - 0.2 * size, "y1_px": foot - size, "x2_px": middle + 0.2 * size, "y2_px": foot}
        seen = told.observed[row, body]
        return {n: np.where(seen, v, np.nan) for n, v in box.items()}

    def _add_ball(self, told: Told, t_s: np.ndarray, frame: np.ndarray, shot: int) -> None:
        known = np.isfinite(told.ball_ft[:, 0])
        nothing = np.full(int(known.sum()), None)
        holder = told.holders[known]
        height = told.ball_ft[known, 2]
        self._parts["ball"].append(
            {
                "frame": frame[known],
                "t_s": t_s[known],
                "shot": np.full(int(known.sum()), shot),
                "x_px": nothing,
                "y_px": nothing,
                "x_ft": told.ball_ft[known, 0],
                "y_ft": told.ball_ft[known, 1],
                "z_ft": np.array([None if z != z else z for z in height], dtype=object),
                "holder": np.array([None if h == NOBODY else int(h) + self._names for h in holder], dtype=object),
                "observed": told.ball_observed[known],
                "score": told.ball_score[known],
            }
        )

    def _add_clock(self, drawn: Drawn, t_s: np.ndarray, frame: np.ndarray) -> None:
        length_s = drawn.end_s - drawn.start_s
        played = np.clip(t_s - t_s[0] - drawn.start_s, 0, length_s)
        count = len(t_s)
        self._parts["clock"].append(
            {
                "frame": frame,
                "t_s": t_s,
                "period": np.full(count, self._period),
                "game_clock_s": np.maximum(0.0, self._left_s - played),
                "shot_clock_s": np.maximum(0.0, SHOT_CLOCK_S - played),
                "running": (played > 0) & (played < length_s),
                "status": np.full(count, "read"),
            }
        )
        self._left_s = max(0.0, self._left_s - length_s)

    def _touch(self, touch: Touch, told: Told, begin_s: float, shot: int) -> dict[str, object]:
        return {
            "shot": shot,
            "kind": touch.kind,
            "start_s": begin_s + touch.start_s,
            "end_s": begin_s + touch.end_s,
            "track": None if touch.by is None else touch.by + self._names,
            "to_track": None if touch.to is None else touch.to + self._names,
            "team": -1 if touch.by is None else int(told.name_teams[touch.by]),
            "score": float(self._rng.beta(8, 2)),
        }
