"""Columns and values of tracking data from elsewhere."""

from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from tracking_data import renamed, tracking_table, with_column

from pipeline.court.rule_books import FEET_PER_METRE, FIBA, NBA
from pipeline.errors import TrackingError
from pipeline.players.imported_rows import KNOWN_COLUMNS, NO_TEAM, OFFICIAL, Convention, Source, read_rows

ROOT = Path(__file__).resolve().parents[2]
CSV = Source("a.csv", 2, "line")


def rows_of(table: pa.Table, convention: Convention | None = None):
    return read_rows(table, CSV, NBA, convention or Convention())


def changed(name: str, row: int, value: object, kind: pa.DataType | None = None) -> pa.Table:
    table = tracking_table()
    values = table[name].to_pylist()
    values[row] = value
    return table.set_column(table.schema.get_field_index(name), name, pa.array(values, kind))


def test_the_plain_form():
    rows = rows_of(tracking_table())
    assert rows.attackers_known
    assert set(rows.team[~rows.is_ball].tolist()) == {0, 1}
    assert (rows.team[rows.is_ball] == NO_TEAM).all()
    assert rows.is_ball.sum() == len(rows.t_s) / 11
    assert rows.unused == ()


def test_metres_are_feet_inside():
    feet = tracking_table()
    metres = renamed(feet, x_ft="x_m", y_ft="y_m")
    for name in ("x_m", "y_m"):
        metres = with_column(metres, name, metres[name].to_numpy() / FEET_PER_METRE)
    assert rows_of(metres).xy_ft == pytest.approx(rows_of(feet).xy_ft)


@pytest.mark.parametrize("book", [NBA, FIBA], ids=lambda b: b.name)
def test_conventions_turn_places_into_the_court_frame(book):
    places = np.array([[10.0, 4.0]])
    middle = np.array([book.length_ft, book.width_ft]) / 2
    assert Convention().to_court(places, book) == pytest.approx(places)
    assert Convention("centre").to_court(places - middle, book) == pytest.approx(places)
    towards = np.array([[10.0, book.width_ft - 4.0]])
    assert Convention("corner", "towards").to_court(towards, book) == pytest.approx(places)
    assert Convention("centre", "towards").to_court((places - middle) * [1, -1], book) == pytest.approx(places)


def test_teams_by_name_and_officials():
    table = tracking_table()
    agents = table["agent"].to_numpy()
    named = with_column(table, "agent", [f"p{a}" if a >= 0 else "ball" for a in agents])
    team = ["" if a < 0 else "official" if a == 9 else "red" if a < 5 else "blue" for a in agents]
    rows = rows_of(with_column(named, "team", team))
    assert rows.team_names == ("blue", "red")
    assert not rows.attackers_known
    by_agent = {rows.agents[a]: int(t) for a, t in zip(rows.agent, rows.team, strict=True)}
    assert (by_agent["p0"], by_agent["p7"], by_agent["p9"]) == (1, 0, OFFICIAL)


def test_whole_numbers_as_floats_and_words_alike_are_names():
    floats = with_column(tracking_table(), "agent", tracking_table()["agent"].to_numpy().astype(float))
    assert set(rows_of(floats).agents) == {str(n) for n in range(-1, 10)}
    coded = tracking_table()
    coded = with_column(coded, "agent", coded["agent"].cast(pa.string()).combine_chunks().dictionary_encode())
    assert set(rows_of(coded).agents) == {str(n) for n in range(-1, 10)}


def test_other_columns_are_named():
    assert rows_of(tracking_table(speed=1.0)).unused == ("speed",)


@pytest.mark.parametrize(
    ("table", "said"),
    [
        (renamed(tracking_table(), t_s="time_s"), "no column 't_s'; rename 'time_s'"),
        (renamed(tracking_table(), x_ft="x"), "no column 'x_ft' (or 'x_m'); rename 'x'"),
        (renamed(tracking_table(), x_ft="x_m"), "x and y in different units"),
        (with_column(tracking_table(), "x_m", tracking_table()["x_ft"].to_numpy()), "both 'x_ft' and 'x_m'"),
        (tracking_table().slice(0, 0), "has no rows"),
        (changed("t_s", 5, None), "a.csv, line 7: 't_s' is empty"),
        (with_column(tracking_table(), "t_s", ["soon"] * 880), "'soon'"),
        (with_column(tracking_table(), "x_ft", ["1,5"] * 880), "write decimals with a point"),
        (changed("x_ft", 3, float("inf")), "line 5: 'x_ft' is infinite"),
        (changed("agent", 4, None), "line 6: 'agent' is empty"),
        (with_column(tracking_table(), "agent", [5] * 880), "no row for the ball"),
        (with_column(tracking_table(), "agent", [-1, *range(10, 20)] * 80), "no column 'team'"),
        (tracking_table(team="red"), "names 1 teams"),
        (with_column(tracking_table(), "team", ["a", "b", "c", "d"] * 220), "names 4 teams"),
        (with_column(tracking_table(), "t_s", [0.0] * 880), "has a second place at 0 s"),
        (with_column(tracking_table(), "x_ft", [[1.0]] * 880), "not numbers"),
        (with_column(tracking_table(), "jersey", [[1]] * 880), "no words or numbers"),
        (pa.Table.from_arrays([pa.array([1.0])] * 2, names=["t_s", "t_s"]), "'t_s' twice"),
    ],
)
def test_bad_input_is_one_sentence_with_its_place(table, said):
    with pytest.raises(TrackingError) as refused:
        rows_of(table)
    text = str(refused.value)
    assert said in text
    assert text.startswith("a.csv")
    assert text.endswith(".")
    assert "\n" not in text


def test_a_row_of_a_parquet_file_is_counted_from_one():
    with pytest.raises(TrackingError, match="b, row 6: 't_s'"):
        read_rows(changed("t_s", 5, None), Source("b", 1, "row"), NBA, Convention())


def test_every_column_is_documented():
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    for name in KNOWN_COLUMNS:
        assert f"`{name}`" in text, name
