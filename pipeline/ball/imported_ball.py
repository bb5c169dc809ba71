"""Ball, touches and possessions of tracking data from elsewhere."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa

from pipeline.ball.denser import denser
from pipeline.ball.from_tracking import touches_from_places
from pipeline.ball.place_states import Places
from pipeline.ball.possessions import Floor, Spell, attacked_end, half_court_start, possessions
from pipeline.ball.settings import BallSettings
from pipeline.ball.tables import BALL, POSSESSIONS, TOUCHES
from pipeline.court.rule_books import RuleBook
from pipeline.players.imported_play import Stretch, first_frames, imported_tracks
from pipeline.players.settings import ImportSettings


@dataclass(frozen=True, slots=True)
class PlayTables:
    """A game's play in the pipeline's own tables, as the players and ball rooms declare them."""

    tracks: pa.Table
    ball: pa.Table
    touches: pa.Table
    possessions: pa.Table


def play_tables(
    stretches: Sequence[Stretch], book: RuleBook, reading: ImportSettings, settings: BallSettings
) -> PlayTables:
    """Put stretches of play into tables; a stretch's place in the sequence is its shot.

    Possessions are the data's own where it names them: they end as the ball comes to the ring with the attackers' last
    shot, or with the stretch. Where it names none they are worked out from touches as in film.
    """
    tracks = imported_tracks(stretches, reading)
    told = [_touches(shot, stretch, book, settings) for shot, stretch in enumerate(stretches)]
    touches = TOUCHES.from_rows([{"touch": n, **row} for n, row in enumerate(row for rows in told for row in rows)])
    if any(stretch.possession is not None for stretch in stretches):
        rows = (
            _possession(shot, stretch, told[shot], book, settings)
            for shot, stretch in enumerate(stretches)
            if stretch.possession is not None
        )
        found = POSSESSIONS.from_rows([{"possession": n, **row} for n, row in enumerate(r for r in rows if r)])
    else:
        found = possessions(touches, tracks, book, settings)
    balls = [
        _ball_rows(shot, stretch, told[shot], first)
        for (shot, stretch), first in zip(enumerate(stretches), first_frames(stretches), strict=True)
    ]
    return PlayTables(tracks, pa.concat_tables(balls) if balls else BALL.empty(), touches, found)


def _touches(shot: int, stretch: Stretch, book: RuleBook, settings: BallSettings) -> list[dict[str, Any]]:
    players = ~stretch.official
    places = Places(
        stretch.t_s, stretch.ball_ft, stretch.ball_z_ft, stretch.players_ft[:, players], stretch.teams[players]
    )
    rules = settings.places
    places = denser(places, rules.slowest_step_s, rules.longest_unseen_s)
    return touches_from_places(places, stretch.tracks[players], shot, book, settings)


def _ball_rows(shot: int, stretch: Stretch, touches: Sequence[Mapping[str, Any]], first: int) -> pa.Table:
    known = np.isfinite(stretch.ball_ft).all(axis=1)
    holder = np.full(len(stretch.t_s), -1)
    for row in touches:
        if row["kind"] == "hold":
            holder[(stretch.t_s >= row["start_s"] - 1e-6) & (stretch.t_s <= row["end_s"] + 1e-6)] = row["track"]
    count = int(known.sum())
    unseen = pa.nulls(count, pa.float32())
    height = stretch.ball_z_ft[known]
    return BALL.from_columns(
        {
            "frame": first + np.flatnonzero(known),
            "t_s": stretch.t_s[known],
            "shot": np.full(count, shot),
            "x_px": unseen,
            "y_px": unseen,
            "x_ft": stretch.ball_ft[known, 0],
            "y_ft": stretch.ball_ft[known, 1],
            "z_ft": pa.array(height, pa.float64(), mask=~np.isfinite(height)),
            "holder": pa.array(holder[known].astype(np.int32), mask=holder[known] < 0),
            "observed": np.ones(count, bool),
            "score": np.ones(count),
        }
    )


def _possession(
    shot: int, stretch: Stretch, touches: Sequence[dict[str, Any]], book: RuleBook, settings: BallSettings
) -> dict[str, Any] | None:
    """The possession that a stretch is; None where its attackers or their ring cannot be told."""
    held = {team: sum(_lasts(r) for r in touches if r["kind"] == "hold" and r["team"] == team) for team in (0, 1)}
    team = 0 if stretch.attackers_known or held[0] >= held[1] else 1
    if not stretch.attackers_known and not max(held.values()):
        return None
    players = ~stretch.official
    floor = Floor(stretch.t_s, stretch.tracks[players], stretch.teams[players], stretch.players_ft[:, players])
    shots = [row for row in touches if row["kind"] == "shot" and row["team"] == team]
    start_s, last_s = float(stretch.t_s[0]), float(stretch.t_s[-1])
    end_s = shots[-1]["end_s"] if shots else last_s
    end, sure = attacked_end(floor, start_s, end_s, book)
    if end is None:
        return None
    spell = Spell(team, start_s, end_s, held[team])
    begins = half_court_start(list(touches), floor, spell, end, book, settings.possessions)
    scores = [row["score"] for row in touches if row["kind"] == "hold" and row["team"] == team]
    return {
        "shot": shot,
        "team": team,
        "attacked_end": end,
        "start_s": start_s,
        "end_s": end_s,
        "half_court_s": begins,
        "score": float(np.mean(scores)) * sure if scores else 0.0,
    }


def _lasts(row: Mapping[str, Any]) -> float:
    return float(row["end_s"] - row["start_s"])
