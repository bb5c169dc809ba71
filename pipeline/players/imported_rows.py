"""Rows of tracking data from elsewhere, checked: one body at one time each, in the court frame and feet.

Columns
-------
``t_s``
    Time in seconds. All bodies of one moment carry the same time. Times may start anew with every possession.
``agent``
    Who: any number or name, the same for one player all through a game; ``-1`` or ``ball`` is the ball.
``x_ft``, ``y_ft`` or ``x_m``, ``y_m``
    Place on the floor, along and across the court. Empty: not known then.
``team`` (optional)
    One of two names or numbers; ``official`` for officials. Without it agents 0-4 attack and 5-9 defend.
``z_ft`` or ``z_m`` (optional)
    Height of the ball.
``sigma_ft`` or ``sigma_m`` (optional)
    One-sigma uncertainty of the place.
``jersey``, ``game``, ``possession``, ``period``, ``clock_s`` (optional)
    Number worn; which game; which possession, by any name; the game's period and its clock in seconds.

Other columns are not used. The origin is a corner of the court or its centre, and y runs away from the main camera
or towards it: :class:`Convention` says which, and places that do not fit it are refused.
"""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.court.rule_books import FEET_PER_METRE, RuleBook
from pipeline.errors import TrackingError
from pipeline.user_files import shown

REQUIRED = ("t_s", "agent", "x_ft", "y_ft")
TEXT = ("agent", "team", "jersey", "game", "possession")
LENGTHS = ("x", "y", "z", "sigma")
NUMBERS = ("t_s", *(f"{name}_{unit}" for name in LENGTHS for unit in ("ft", "m")), "period", "clock_s")
KNOWN_COLUMNS = (*NUMBERS, *TEXT)

BALL_AGENTS = ("-1", "ball")
OFFICIALS = ("official", "officials", "referee", "referees")
OFFICIAL, NO_TEAM = -2, -1
TEAM_SIZE = 5
GREATEST = 1e10
"""No time or place of a game is greater, not even one in seconds since 1970."""


@dataclass(frozen=True, slots=True)
class Convention:
    """How places are measured.

    Attributes
    ----------
    origin : "corner" or "centre"
        Corner: x from 0 at the left baseline, y from 0 at a sideline. Centre: both from the middle of the court.
    y_axis : "away" or "towards"
        Which way y grows, seen from the main camera.
    """

    origin: Literal["corner", "centre"] = "corner"
    y_axis: Literal["away", "towards"] = "away"

    def to_court(self, xy_ft: np.ndarray, book: RuleBook) -> np.ndarray:
        """Places (M, 2) in the court frame."""
        shift = np.zeros(2) if self.origin == "corner" else np.array([book.length_ft, book.width_ft]) / 2
        turned = xy_ft.copy()
        if self.y_axis == "towards":
            turned[:, 1] = book.width_ft - turned[:, 1] if self.origin == "corner" else -turned[:, 1]
        return turned + shift


@dataclass(frozen=True, slots=True)
class Source:
    """Where rows come from, for messages: the file's name and the number of its first row."""

    name: str
    first_row: int
    row_word: Literal["line", "row"]

    def row(self, index: int) -> str:
        """A row as a reader of the file would count it."""
        return f"{self.name}, {self.row_word} {index + self.first_row}"


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """M rows; codes index the names beside them, -1 where the file does not say.

    Attributes
    ----------
    source : Source
    t_s : (M,) float ndarray
    agent : (M,) int ndarray
    agents : tuple of str
    is_ball : (M,) bool ndarray
    xy_ft : (M, 2) ndarray
        Court frame; NaN where not known.
    z_ft, sigma_ft, period, clock_s : (M,) ndarray
        NaN where the file does not say.
    team : (M,) int ndarray
        0, 1, ``NO_TEAM`` or ``OFFICIAL``.
    team_names : tuple of two str
        As in the file; empty where it has none.
    attackers_known : bool
        Team 0 attacks in every possession.
    jersey, game, possession : (M,) int ndarray
    jerseys, games, possessions : tuple of str
    unused : tuple of str
        Columns that were not read.
    """

    source: Source
    t_s: np.ndarray
    agent: np.ndarray
    agents: tuple[str, ...]
    is_ball: np.ndarray
    xy_ft: np.ndarray
    z_ft: np.ndarray
    sigma_ft: np.ndarray
    period: np.ndarray
    clock_s: np.ndarray
    team: np.ndarray
    team_names: tuple[str, str]
    attackers_known: bool
    jersey: np.ndarray
    jerseys: tuple[str, ...]
    game: np.ndarray
    games: tuple[str, ...]
    possession: np.ndarray
    possessions: tuple[str, ...]
    unused: tuple[str, ...]


def read_rows(table: pa.Table, source: Source, book: RuleBook, convention: Convention) -> Rows:
    """Check a table's columns and values.

    Raises
    ------
    TrackingError
        In one sentence what is wrong, in which row and column, and what to do.
    """
    _check_columns(table, source)
    if table.num_rows == 0:
        raise TrackingError(f"{source.name} has no rows; export it again with one row per body and moment.")
    t_s = _numbers(table, "t_s", source)
    if np.isnan(t_s).any():
        raise TrackingError(f"{source.row(int(np.isnan(t_s).argmax()))}: 't_s' is empty; every row needs its time.")
    agent, agents = _codes(table, "agent", source)
    if (agent < 0).any():
        raise TrackingError(
            f"{source.row(int((agent < 0).argmax()))}: 'agent' is empty; name the player, or write ball for the ball."
        )
    ball_codes = [n for n, name in enumerate(agents) if name.lower() in BALL_AGENTS]
    is_ball = np.isin(agent, ball_codes)
    if not is_ball.any():
        some = ", ".join(brief(name) for name in sorted(agents)[:6])
        raise TrackingError(
            f"{source.name} has no row for the ball in the column 'agent' (it has {some}); name the ball -1 or ball."
        )
    team, team_names, attackers_known = _teams(table, agent, agents, is_ball, source)
    jersey, jerseys = _codes(table, "jersey", source)
    game, games = _codes(table, "game", source)
    possession, possessions = _codes(table, "possession", source)
    xy = np.column_stack([_lengths(table, name, source) for name in ("x", "y")])
    rows = Rows(
        source=source,
        t_s=t_s,
        agent=agent,
        agents=agents,
        is_ball=is_ball,
        xy_ft=convention.to_court(xy, book),
        z_ft=_lengths(table, "z", source),
        sigma_ft=_lengths(table, "sigma", source),
        period=_numbers(table, "period", source),
        clock_s=_numbers(table, "clock_s", source),
        team=team,
        team_names=team_names,
        attackers_known=attackers_known,
        jersey=jersey,
        jerseys=jerseys,
        game=game,
        games=games,
        possession=possession,
        possessions=possessions,
        unused=tuple(name for name in table.schema.names if name not in KNOWN_COLUMNS),
    )
    _check_one_row_each(rows)
    return rows


def brief(name: str) -> str:
    """A name of the file as it may stand in an error."""
    return shown(name, 30)


def _check_columns(table: pa.Table, source: Source) -> None:
    names = table.schema.names
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise TrackingError(f"{source.name} has the column '{brief(twice[0])}' twice; keep one.")
    for name in REQUIRED:
        if name in names or (name.endswith("_ft") and name.replace("_ft", "_m") in names):
            continue
        other = f" (or '{name.replace('_ft', '_m')}')" if name.endswith("_ft") else ""
        close = difflib.get_close_matches(name, [n for n in names if n not in KNOWN_COLUMNS], n=1, cutoff=0.4)
        there = ", ".join(brief(n) or "one without a name" for n in names[:12])
        hint = f"rename '{brief(close[0])}' if that is it" if close else f"it has {there or 'none'}"
        raise TrackingError(f"{source.name} has no column '{name}'{other}; {hint}.")
    for name in LENGTHS:
        if f"{name}_ft" in names and f"{name}_m" in names:
            raise TrackingError(f"{source.name} has both '{name}_ft' and '{name}_m'; keep one of them.")
    units = {name[-2:].strip("_") for name in names if name in ("x_ft", "x_m", "y_ft", "y_m")}
    if len(units) > 1:
        raise TrackingError(f"{source.name} has x and y in different units; give both in feet or both in metres.")


def _numbers(table: pa.Table, name: str, source: Source) -> np.ndarray:
    """A column as float64, NaN where empty or absent."""
    if name not in table.schema.names:
        return np.full(table.num_rows, np.nan)
    column = table[name].combine_chunks()
    kind = column.type
    if pa.types.is_string(kind) or pa.types.is_large_string(kind):
        values = _numbers_of_text(column, name, source)
    elif pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_decimal(kind):
        values = column.cast(pa.float64(), safe=False).to_numpy(zero_copy_only=False)
    elif pa.types.is_null(kind):
        values = np.full(len(column), np.nan)
    else:
        raise TrackingError(f"{source.name}: the column '{name}' holds {kind}, not numbers; export it as numbers.")
    values = np.asarray(values, dtype=np.float64)
    if np.isinf(values).any():
        raise TrackingError(
            f"{source.row(int(np.isinf(values).argmax()))}: '{name}' is infinite; leave it empty where it is not known."
        )
    far = np.abs(values) > GREATEST
    if far.any():
        row = int(far.argmax())
        raise TrackingError(
            f"{source.row(row)}: '{name}' is {values[row]:.3g}, which nothing on a court measures; correct it, or "
            "leave it empty where it is not known."
        )
    return values


def _numbers_of_text(column: pa.Array, name: str, source: Source) -> np.ndarray:
    values = np.full(len(column), np.nan)
    for index, text in enumerate(column.to_pylist()):
        if text is None or not text.strip():
            continue
        try:
            values[index] = float(text)
        except ValueError:
            comma = "; write decimals with a point" if "," in text else "; write a number or leave it empty"
            raise TrackingError(f"{source.row(index)}: '{name}' is '{brief(text)}', no number{comma}.") from None
    return values


def _lengths(table: pa.Table, name: str, source: Source) -> np.ndarray:
    """A length in feet whatever its unit, NaN where empty or absent."""
    if f"{name}_m" in table.schema.names:
        return _numbers(table, f"{name}_m", source) * FEET_PER_METRE
    return _numbers(table, f"{name}_ft", source)


def _codes(table: pa.Table, name: str, source: Source) -> tuple[np.ndarray, tuple[str, ...]]:
    """A column of words as codes (-1 where empty or absent) and the words in order of appearance."""
    if name not in table.schema.names:
        return np.full(table.num_rows, -1), ()
    column = table[name].combine_chunks()
    if pa.types.is_dictionary(column.type):
        column = column.cast(column.type.value_type)
    if pa.types.is_floating(column.type):
        column = pc.if_else(pc.is_nan(column), pa.scalar(None, column.type), column)
        whole = pc.and_kleene(pc.equal(column, pc.round(column)), pc.less(pc.abs(column), 2.0**53))
        column = column.cast(pa.int64()) if pc.all(whole).as_py() is not False else column
    try:
        words = pc.utf8_trim_whitespace(column.cast(pa.string()))
    except (pa.ArrowInvalid, pa.ArrowNotImplementedError):
        raise TrackingError(
            f"{source.name}: the column '{name}' holds {column.type}, no words or numbers; export it as text."
        ) from None
    words = pc.if_else(pc.equal(words, ""), pa.scalar(None, pa.string()), words)
    encoded = words.dictionary_encode()
    codes = encoded.indices.fill_null(-1).to_numpy(zero_copy_only=False).astype(np.int64)
    return codes, tuple(encoded.dictionary.to_pylist())


def _teams(
    table: pa.Table, agent: np.ndarray, agents: tuple[str, ...], is_ball: np.ndarray, source: Source
) -> tuple[np.ndarray, tuple[str, str], bool]:
    """Teams of the rows, the teams' names, and whether it is known that team 0 attacks."""
    if "team" not in table.schema.names:
        ten = [str(n) for n in range(2 * TEAM_SIZE)]
        strange = sorted({agents[n] for n in np.unique(agent[~is_ball])} - set(ten))
        if strange:
            raise TrackingError(
                f"{source.name} has no column 'team', and its agents are not 0 to 9 (there is "
                f"'{brief(strange[0])}'); add a column with the team of every player."
            )
        sides = np.array([int(name) // TEAM_SIZE if name in ten else NO_TEAM for name in agents])
        return np.where(is_ball, NO_TEAM, sides[agent]), ("", ""), True
    codes, names = _codes(table, "team", source)
    officials = [n for n, name in enumerate(names) if name.lower() in OFFICIALS]
    playing = sorted({names[n] for n in np.unique(codes[~is_ball]) if n >= 0 and n not in officials})
    if len(playing) != 2:
        found = ", ".join(f"'{brief(name)}'" for name in playing[:5]) or "none"
        raise TrackingError(
            f"{source.name}: the column 'team' names {len(playing)} teams of players ({found}); it needs two, "
            "and official for officials."
        )
    number = {names.index(name): side for side, name in enumerate(playing)} | dict.fromkeys(officials, OFFICIAL)
    sides = np.array([*(number.get(n, NO_TEAM) for n in range(len(names))), NO_TEAM])
    return np.where(is_ball, NO_TEAM, sides[codes]), (playing[0], playing[1]), False


def _check_one_row_each(rows: Rows) -> None:
    """No body is in two places at one time."""
    stamp = np.round(rows.t_s * 1e4).astype(np.int64)
    order = np.lexsort((rows.agent, stamp, rows.possession, rows.game))
    keys = np.column_stack([rows.game, rows.possession, stamp, rows.agent])[order]
    same = np.flatnonzero((keys[1:] == keys[:-1]).all(axis=1))
    if len(same):
        first, second = sorted(int(n) for n in order[same[0] : same[0] + 2])
        raise TrackingError(
            f"{rows.source.row(second)}: agent '{brief(rows.agents[rows.agent[second]])}' has a second place at "
            f"{rows.t_s[second]:g} s (the first is {rows.source.row(first).rpartition(', ')[2]}); keep one, or add a "
            "column 'possession' or 'game' if times start anew."
        )
