"""Readings of a track vote on its number."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.players.jersey_votes import NUMBERS, vote, with_jerseys, worn_numbers
from pipeline.players.settings import VotingSettings
from pipeline.players.tables import NUMBERS_SEEN, TRACKS

SETTINGS = VotingSettings()


def tracks_of(bodies: dict[int, tuple[int, str, range]]) -> pa.Table:
    """Tracks by name: team, role and frames; each stands at its own place in the picture."""
    rows = []
    for track, (team, role, frames) in bodies.items():
        for frame in frames:
            left = 100.0 * track
            rows.append(
                {
                    "frame": frame, "t_s": frame / 25, "shot": 0, "track": track, "role": role, "team": team,
                    "jersey": None, "x_ft": 10.0 * track, "y_ft": 20.0, "vx_ft_s": 0.0, "vy_ft_s": 0.0, "sigma_ft": 0.3,
                    "observed": True, "x1_px": left, "y1_px": 100.0, "x2_px": left + 50, "y2_px": 250.0, "score": 0.9,
                }
            )  # fmt: skip
    return TRACKS.from_rows(rows).sort_by("frame")


def readings_of(rows: list[tuple[int, int, str, float]]) -> pa.Table:
    """Readings: frame, track whose box it is, text, score."""
    return NUMBERS_SEEN.from_rows(
        [
            {
                "frame": frame, "t_s": frame / 25, "shot": 0, "x1_px": 100.0 * track + 2, "y1_px": 100.0,
                "x2_px": 100.0 * track + 52, "y2_px": 250.0, "text": text, "score": score,
            }
            for frame, track, text, score in rows
        ]
    )  # fmt: skip


def jerseys(table: pa.Table) -> dict[int, str | None]:
    return dict(zip(table["track"].to_pylist(), table["jersey"].to_pylist(), strict=True))


TWO = {0: (0, "player", range(50)), 1: (1, "player", range(50))}


def test_agreeing_readings_are_believed_and_only_on_their_track() -> None:
    rows = [(8 * k, 0, "12", 0.8) for k in range(5)]
    assert jerseys(with_jerseys(tracks_of(TWO), readings_of(rows), {}, SETTINGS)) == {0: "12", 1: None}


@pytest.mark.parametrize(
    "rows",
    [
        [],
        [(0, 0, "12", 0.99), (8, 0, "12", 0.99)],
        [(8 * k, 0, text, 0.9) for k, text in enumerate(["12", "12", "12", "17", "17", "17"])],
        [(8 * k, 0, "12", 0.3) for k in range(5)],
        [(100 + 8 * k, 0, "12", 0.9) for k in range(5)],
    ],
    ids=["none", "too few", "split", "unsure", "other frames"],
)
def test_unsure_is_unknown(rows: list[tuple[int, int, str, float]]) -> None:
    table = with_jerseys(tracks_of(TWO), readings_of(rows), {}, SETTINGS)
    assert table["jersey"].null_count == table.num_rows
    assert table.schema.names == TRACKS.schema.names


def test_one_number_is_not_worn_twice_at_a_time() -> None:
    same = {0: (0, "player", range(50)), 1: (0, "player", range(25, 75))}
    many, few = [(4 * k, 0, "7", 0.9) for k in range(12)], [(26 + 8 * k, 1, "7", 0.9) for k in range(3)]
    assert jerseys(with_jerseys(tracks_of(same), readings_of(many + few), {}, SETTINGS)) == {0: "7", 1: None}
    even = [(26 + 4 * k, 1, "7", 0.9) for k in range(12)]
    assert jerseys(with_jerseys(tracks_of(same), readings_of(many + even), {}, SETTINGS)) == {0: None, 1: None}
    later = {0: (0, "player", range(50)), 1: (0, "player", range(50, 75))}
    rows = many + [(52 + 4 * k, 1, "7", 0.9) for k in range(5)]
    assert jerseys(with_jerseys(tracks_of(later), readings_of(rows), {}, SETTINGS)) == {0: "7", 1: "7"}


def test_a_roster_allows_its_numbers_only() -> None:
    rows = [(8 * k, 0, "17", 0.9) for k in range(6)]
    table = tracks_of(TWO)
    assert jerseys(with_jerseys(table, readings_of(rows), {0: ("4", "11")}, SETTINGS))[0] is None
    assert jerseys(with_jerseys(table, readings_of(rows), {0: ("4", "17")}, SETTINGS))[0] == "17"
    assert jerseys(with_jerseys(table, readings_of(rows), {1: ("4",)}, SETTINGS))[0] == "17"


def test_officials_wear_no_number() -> None:
    bodies = {0: (-1, "official", range(50))}
    rows = [(8 * k, 0, "17", 0.9) for k in range(6)]
    assert worn_numbers(tracks_of(bodies), readings_of(rows), {}, SETTINGS) == {}


@given(st.lists(st.tuples(st.sampled_from(NUMBERS), st.floats(0.0, 1.0)), min_size=1, max_size=12))
def test_the_vote_is_a_probability_and_does_not_mind_the_order(readings: list[tuple[str, float]]) -> None:
    texts, scores = [t for t, _ in readings], np.array([s for _, s in readings])
    won = vote(texts, scores, NUMBERS, SETTINGS)
    if won is not None:
        assert won[0] in NUMBERS
        assert 0 < won[1] <= 1
    again = vote(texts[::-1], scores[::-1], NUMBERS, SETTINGS)
    assert (won is None) == (again is None)
    if won is not None and again is not None:
        assert won[1] == pytest.approx(again[1])


@given(st.sampled_from(NUMBERS), st.integers(3, 10), st.floats(0.7, 1.0))
def test_more_of_the_same_makes_surer(number: str, count: int, score: float) -> None:
    few = vote([number] * count, np.full(count, score), NUMBERS, SETTINGS)
    more = vote([number] * (count + 1), np.full(count + 1, score), NUMBERS, SETTINGS)
    assert few is not None
    assert more is not None
    assert few[0] == more[0] == number
    assert more[1] >= few[1]
