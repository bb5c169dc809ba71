"""One possession as arrays: who was where, in the attack frame, and who had the ball."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.actions.settings import ActionSettings
from pipeline.court.attack_frame import to_attack, to_court
from pipeline.court.geometry import End
from pipeline.court.rule_books import RuleBook

AFTER_END_S = 0.25
"""A view begins and ends a little outside its possession, so that what happens at its edges has surroundings."""

NOBODY = -1
"""Index of the handler where nobody has the ball or it is not known."""


@dataclass(frozen=True, slots=True, eq=False)
class PossessionView:
    """T moments and N players of one possession.

    Attributes
    ----------
    possession, shot, team : int
        As in the ``possessions`` table.
    end : "left" or "right"
        The attacked end.
    book : RuleBook
        The court's dimensions.
    t_s : ndarray (T,)
        Film time of the analysed frames, rising; steps may differ.
    frame : ndarray (T,) of int
        Frame labels.
    tracks : ndarray (N,) of int
        Track of each column; players only, no officials.
    teams : ndarray (N,) of int
        0, 1 or -1.
    uv_ft, velocity_ft_s : ndarray (T, N, 2)
        Attack frame; NaN where a track is not known.
    sigma_ft : ndarray (T, N)
        One-sigma uncertainty of the place; NaN where not known.
    observed : ndarray (T, N) of bool
        Seen in that frame, not filled in.
    handler : ndarray (T,) of int
        Column of the handler, or ``NOBODY``.
    ball_uv_ft : ndarray (T, 2)
        Floor point under the ball; NaN where not known.
    """

    possession: int
    shot: int
    team: int
    end: End
    book: RuleBook
    t_s: np.ndarray
    frame: np.ndarray
    tracks: np.ndarray
    teams: np.ndarray
    uv_ft: np.ndarray
    velocity_ft_s: np.ndarray
    sigma_ft: np.ndarray
    observed: np.ndarray
    handler: np.ndarray
    ball_uv_ft: np.ndarray

    def __post_init__(self) -> None:
        for array in (
            self.t_s,
            self.frame,
            self.tracks,
            self.teams,
            self.uv_ft,
            self.velocity_ft_s,
            self.sigma_ft,
            self.observed,
            self.handler,
            self.ball_uv_ft,
        ):
            array.flags.writeable = False

    @property
    def attackers(self) -> np.ndarray:
        """Columns of the attacking team, (N,) bool."""
        return self.teams == self.team

    @property
    def defenders(self) -> np.ndarray:
        """Columns of the defending team, (N,) bool."""
        return (self.teams >= 0) & (self.teams != self.team)

    def ring_distance_ft(self) -> np.ndarray:
        """Distance of every player to the point under the attacked ring, (T, N)."""
        return np.hypot(self.uv_ft[..., 0], self.uv_ft[..., 1])

    def court_place_ft(self, moment: int, column: int) -> tuple[float, float]:
        """Where a player is at a moment, court frame."""
        x, y = to_court(self.uv_ft[moment, column][None], self.book, self.end)[0]
        return float(x), float(y)

    def holds(self) -> Iterator[tuple[int, int, int]]:
        """Stretches of one handler as (column, first, past-last moment)."""
        start = 0
        for i in range(1, len(self.handler) + 1):
            if i == len(self.handler) or self.handler[i] != self.handler[start]:
                if self.handler[start] != NOBODY:
                    yield int(self.handler[start]), start, i
                start = i


def possession_views(
    tracks: pa.Table,
    ball: pa.Table,
    touches: pa.Table,
    possessions: pa.Table,
    book: RuleBook,
    settings: ActionSettings,
) -> tuple[PossessionView, ...]:
    """Cut the tables into one view per possession.

    Parameters
    ----------
    tracks, ball, touches, possessions : pa.Table
        As declared in ``players/tables.py`` and ``ball/tables.py``. ``ball`` may be empty.
    book : RuleBook
        Dimensions of the court that the tables' feet are on.

    Returns
    -------
    tuple of PossessionView
        In order of the ``possessions`` table; possessions without a single tracked player are left out.
    """
    views = (
        _view(row, tracks, ball, touches, book, settings)
        for row in possessions.sort_by("start_s").to_pylist()
        if row["attacked_end"] in ("left", "right")
    )
    return tuple(view for view in views if view is not None)


def _view(
    row: dict, tracks: pa.Table, ball: pa.Table, touches: pa.Table, book: RuleBook, settings: ActionSettings
) -> PossessionView | None:
    end: End = row["attacked_end"]
    last_s = row["end_s"] + settings.drive.after_hold_s + AFTER_END_S
    inside = tracks.filter(
        (pc.field("shot") == row["shot"])
        & (pc.field("role") == "player")
        & (pc.field("t_s") >= row["start_s"] - AFTER_END_S)
        & (pc.field("t_s") <= last_s)
        & pc.field("x_ft").is_valid()
    )
    if inside.num_rows == 0:
        return None
    times, moment = np.unique(inside["t_s"].to_numpy(), return_inverse=True)
    names, column = np.unique(inside["track"].to_numpy(), return_inverse=True)
    frame = np.zeros(len(times), np.int64)
    frame[moment] = inside["frame"].to_numpy()
    teams = np.array([_most_common(inside["team"].to_numpy()[column == n]) for n in range(len(names))])

    shape = (len(times), len(names))
    xy = np.full((*shape, 2), np.nan)
    xy[moment, column, 0] = inside["x_ft"].to_numpy()
    xy[moment, column, 1] = inside["y_ft"].to_numpy()
    uv = to_attack(xy.reshape(-1, 2), book, end).reshape(xy.shape)
    velocity = np.full((*shape, 2), np.nan)
    velocity[moment, column, 0] = inside["vx_ft_s"].to_numpy(zero_copy_only=False)
    velocity[moment, column, 1] = inside["vy_ft_s"].to_numpy(zero_copy_only=False)
    origin = to_attack(np.zeros((1, 2)), book, end)
    velocity = (to_attack(velocity.reshape(-1, 2), book, end) - origin).reshape(velocity.shape)
    sigma = np.full(shape, np.nan)
    sigma[moment, column] = inside["sigma_ft"].to_numpy(zero_copy_only=False)
    observed = np.zeros(shape, bool)
    observed[moment, column] = inside["observed"].to_numpy(zero_copy_only=False)

    ball_uv = np.full((len(times), 2), np.nan)
    known = ball.filter((pc.field("shot") == row["shot"]) & pc.field("x_ft").is_valid())
    if known.num_rows:
        at = np.searchsorted(times, known["t_s"].to_numpy())
        fits = (at < len(times)) & np.isclose(times[np.minimum(at, len(times) - 1)], known["t_s"].to_numpy(), atol=1e-6)
        ball_xy = np.column_stack([known["x_ft"].to_numpy(), known["y_ft"].to_numpy()])
        ball_uv[at[fits]] = to_attack(ball_xy[fits], book, end)

    return PossessionView(
        possession=row["possession"],
        shot=row["shot"],
        team=row["team"],
        end=end,
        book=book,
        t_s=times,
        frame=frame,
        tracks=names,
        teams=teams,
        uv_ft=uv,
        velocity_ft_s=velocity,
        sigma_ft=sigma,
        observed=observed,
        handler=_handlers(times, names, teams == row["team"], row["shot"], touches, settings),
        ball_uv_ft=ball_uv,
    )


def _handlers(
    times: np.ndarray,
    names: np.ndarray,
    attacks: np.ndarray,
    shot: int,
    touches: pa.Table,
    settings: ActionSettings,
) -> np.ndarray:
    """Column of the attacker who holds the ball at each time; short gaps within one player's hold are his."""
    handler = np.full(len(times), NOBODY)
    columns = {int(name): n for n, name in enumerate(names)}
    holds = touches.filter((pc.field("shot") == shot) & (pc.field("kind") == "hold")).sort_by("start_s").to_pylist()
    before: dict | None = None
    for hold in holds:
        column = columns.get(hold["track"])
        if column is not None and attacks[column]:
            start = hold["start_s"]
            if before and before["track"] == hold["track"] and start - before["end_s"] <= settings.hold_gap_s:
                start = before["end_s"]
            handler[(times >= start - 1e-6) & (times <= hold["end_s"] + 1e-6)] = column
        before = hold
    return handler


def _most_common(values: np.ndarray) -> int:
    found, counts = np.unique(values, return_counts=True)
    return int(found[counts.argmax()])
