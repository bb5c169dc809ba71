"""The table of numbers: every value with its count, and only the table in the README changes."""

from datetime import UTC, datetime

import pytest

from pipeline.errors import DataError
from pipeline.evaluate.event_scores import Tally, together
from pipeline.evaluate.report import (
    BEGIN,
    END,
    Row,
    Sources,
    boxes_rows,
    court_rows,
    events_rows,
    films_rows,
    mot_rows,
    play_rows,
    put_into,
    table,
    write_report,
)


def test_only_the_section_changes():
    text = f"before\n{BEGIN}\nold\n{END}\nafter\n"
    assert put_into(text, "new") == f"before\n{BEGIN}\nnew\n{END}\nafter\n"
    assert put_into(put_into(text, "a"), "b") == put_into(text, "b")


@pytest.mark.parametrize("text", ["", BEGIN, f"{END}{BEGIN}", f"{BEGIN}{END}{BEGIN}{END}"])
def test_a_readme_without_its_marks_is_refused(text):
    with pytest.raises(DataError, match="once each"):
        put_into(text, "new")


def test_the_table_names_machine_day_and_counts():
    text = table([Row("a", "b", "1.0 %", "7 frames")], "2 cores", datetime(2026, 5, 6, tzinfo=UTC))
    assert "2026-05-06" in text
    assert "2 cores" in text
    assert "| a | b | 1.0 % | 7 frames |" in text


def test_missing_data_is_said_and_nothing_else_happens(tmp_path):
    readme = tmp_path / "README.md"
    readme.write_text(f"{BEGIN}\n{END}\n")
    (tmp_path / "clips").mkdir()
    begun: list[str] = []
    rows = write_report(Sources(tmp_path / "clips", tmp_path / "none", (tmp_path / "boxes",)), readme, begun.append)
    assert begun == []
    assert {row.value for row in rows} == {"not measured: its data is not here"}
    assert readme.read_text().count("not measured") == len(rows) == 5


def test_events_are_told_by_family_with_their_worst_kind():
    drive = Tally(true=2, found=2, right=1)
    tallies = {"pass": Tally(true=4, found=4, right=4), "drive": drive, "shot": Tally(found=1)}
    mean, share = events_rows("actions", "simulated film", {**together(tallies), "games": 3})
    assert mean == Row(
        "actions, mean F1 over kinds", "simulated film, 3 games", "75.0 %, least 50.0 % (drive)", "2 kinds, 6 true"
    )
    assert (share.value, share.count) == ("83.3 % / 71.4 %", "6 true, 7 found")
    assert list(events_rows("sets", "x", {**together({}), "games": 1})) == []


def test_values_that_are_not_defined_read_none():
    ball = {"labels": 0, "ap50": None, "recall": None, "precision": 0.5}
    people = {"labels": 4, "recall": 0.75, "precision": None}
    row, floor = boxes_rows("x", {"classes": {"ball": ball}, "people_on_floor": people})
    assert row.value == "none / none / 50.0 %"
    assert (floor.value, floor.count) == ("75.0 % / none", "4 labels")
    one = {"frames": 3, "registered": 0.0, "median_ft": None, "p90_ft": None}
    rows = list(court_rows({"games": {"tv_c": one}, "all": one}, ["tv_c"]))
    assert rows[0].data == "real frames, tv_c (held out)"
    assert rows[1].value == "none / none"


def test_trackers_stand_side_by_side():
    one = {"HOTA": 0.7, "AssA": 0.6, "DetA": 0.9, "IDF1": 0.8, "switches": 5}
    rows = list(mot_rows({"sequences": 2, "boxes": 9, **dict.fromkeys(("ours", "bytetrack", "ocsort", "cbiou"), one)}))
    assert [row.value for row in rows] == ["70.0 % / 60.0 % / 80.0 % / 5"] * 4


def test_readers_and_base_rates_have_rows_of_their_own():
    base = {"others_in_paint_share": {"0": 0.25, "1": 0.75}, "drives_into_paint": 4, "crowded_threshold": 5}
    one = {"per_game": 20.0, "published": {"low": 24.0, "high": 25.0}}
    base |= {"possessions": 9, "crowded_share": 0.0, "actions": {"on_ball_screen": one, "handoff": one}}
    rows = list(play_rows("real", base))
    assert rows[1].value == "20.0 (published 24-25)"
    assert rows[2].value == "0: 25.0, 1: 75.0"
    kinds = {"drives": {"recall": 0.5, "precision": None, "f1": None, "labels": 2}}
    (row,) = play_rows("read", {**base, "kinds": kinds})
    assert (row.value, row.count) == ("none (50.0 % / none)", "2 seen by both")


def test_a_line_over_films_names_what_is_asked_and_the_worst():
    line = {
        "name": "passes, F1",
        "asked": "at least 90.0 %",
        "value": 0.8,
        "worst": 0.5,
        "worst_film": "b",
        "count": 7,
        "unit": "%",
    }
    (row,) = films_rows({"measures": [line], "films": {"a": {}, "b": {}}})
    assert row == Row("passes, F1 (asked: at least 90.0 %)", "2 simulated films", "80.0 %, worst 50.0 %", "7")
