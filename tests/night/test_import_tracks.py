"""Tracking data from elsewhere into a library."""

import string
import sys
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.csv as pcsv
import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parents[1] / "players"))

from tracking_data import renamed, tracking_table, with_column

from pipeline.actions.tables import ACTIONS
from pipeline.ball.tables import POSSESSIONS, TOUCHES
from pipeline.clips.floor_shown import show_floor
from pipeline.clips.tag_film import cut_tag
from pipeline.errors import ElbowroomError, LibraryError, TrackingError
from pipeline.film.tables import CLOCK
from pipeline.library.game_time import game_time
from pipeline.library.games import Library
from pipeline.night.import_tracks import import_tracks
from pipeline.night.telling import import_lines
from pipeline.night.tracking_files import read_tracking
from pipeline.players.imported_rows import Convention
from pipeline.settings import Settings

DATA = Path(__file__).resolve().parents[2] / ".." / "shared" / "data"
SETTINGS = Settings()


def csv(path: Path, table: pa.Table) -> Path:
    pcsv.write_csv(table, path)
    return path


def parquet(path: Path, table: pa.Table) -> Path:
    pq.write_table(table, path)
    return path


def passes_and_shots(library: Library, name: str) -> list[tuple]:
    touches = TOUCHES.read(library.game(name).tables).to_pylist()
    return [(t["kind"], t["track"], t["to_track"]) for t in touches if t["kind"] in ("pass", "handoff", "shot")]


TOLD = [("pass", 0, 1), ("pass", 1, 3), ("shot", 3, None)]


@pytest.mark.parametrize("write", [csv, parquet])
def test_a_file_becomes_a_game_with_everything_in_it(tmp_path, write):
    library = Library(tmp_path / "library")
    suffix = "csv" if write is csv else "parquet"
    file = write(tmp_path / f"home game.{suffix}", tracking_table(possession="p1", period=3, clock_s=250.0))
    (done,) = import_tracks([file], library, SETTINGS)
    assert done.game.name == "home-game"
    assert done.possessions == 1
    assert passes_and_shots(library, "home-game") == TOLD
    (possession,) = POSSESSIONS.read(done.game.tables).to_pylist()
    assert (possession["team"], possession["attacked_end"]) == (0, "right")
    kinds = set(ACTIONS.read(done.game.tables)["kind"].to_pylist())
    assert {"pass", "shot", "touch"} <= kinds
    time = game_time(CLOCK.read(done.game.tables), 4.0)
    assert str(time) == "P3 4:10"
    assert done.game.file().tracking is not None
    (again,) = import_tracks([file], library, SETTINGS)
    assert again.game.name == "home-game"
    assert not any(ran.ran for ran in again.stages)


def test_feet_metres_centre_and_either_y_axis_tell_the_same(tmp_path):
    library = Library(tmp_path / "library")
    plain = tracking_table(possession="a")
    x, y = plain["x_ft"].to_numpy(), plain["y_ft"].to_numpy()
    metres = with_column(with_column(plain, "x_ft", x * 0.3048), "y_ft", y * 0.3048)
    centre = with_column(with_column(plain, "x_ft", x - 47), "y_ft", 25 - y)
    import_tracks([csv(tmp_path / "plain.csv", plain)], library, SETTINGS)
    import_tracks([csv(tmp_path / "metres.csv", renamed(metres, x_ft="x_m", y_ft="y_m"))], library, SETTINGS)
    turned = Convention("centre", "towards")
    import_tracks([csv(tmp_path / "turned.csv", centre)], library, SETTINGS, convention=turned)
    plain_actions = ACTIONS.read(library.game("plain").tables)
    for name in ("metres", "turned"):
        assert passes_and_shots(library, name) == TOLD
        other = ACTIONS.read(library.game(name).tables)
        assert other["kind"].to_pylist() == plain_actions["kind"].to_pylist()
        assert other["x_ft"].to_numpy() == pytest.approx(plain_actions["x_ft"].to_numpy(), abs=1e-4)


def test_a_whole_court_game_without_possessions_finds_them(tmp_path):
    library = Library(tmp_path / "library")
    table = tracking_table()
    teams = ["" if a < 0 else "red" if a < 5 else "blue" for a in table["agent"].to_pylist()]
    (done,) = import_tracks([csv(tmp_path / "game.csv", with_column(table, "team", teams))], library, SETTINGS)
    (possession,) = POSSESSIONS.read(done.game.tables).to_pylist()
    assert possession["team"] == 1, "red is the second of the two names"
    assert done.game.file().team_1.name == "red"


def test_games_of_one_file_are_games_of_the_library(tmp_path):
    library = Library(tmp_path / "library")
    both = pa.concat_tables([tracking_table(game=name, possession="1") for name in ("May 3", "May 5")])
    done = import_tracks([parquet(tmp_path / "season.parquet", both)], library, SETTINGS)
    assert [one.game.name for one in done] == ["season-may-3", "season-may-5"]


def test_a_bad_file_among_good_ones_leaves_nothing(tmp_path):
    library = Library(tmp_path / "library")
    good = csv(tmp_path / "good.csv", tracking_table())
    bad = tmp_path / "bad.csv"
    bad.write_text(good.read_text().replace("\n", "\nx", 1))
    with pytest.raises(TrackingError, match=r"bad\.csv, line 2: 't_s' is 'x0', no number"):
        import_tracks([good, bad], library, SETTINGS)
    assert not (tmp_path / "library").exists()


def test_another_rule_book_or_origin_for_a_known_game_is_refused(tmp_path):
    library = Library(tmp_path / "library")
    file = csv(tmp_path / "game.csv", tracking_table())
    import_tracks([file], library, SETTINGS)
    with pytest.raises(LibraryError, match="say --rule-book nba"):
        import_tracks([file], library, SETTINGS, book="ncaa")
    with pytest.raises(LibraryError, match="--y-axis away"):
        import_tracks([file], library, SETTINGS, convention=Convention("corner", "towards"))


def test_there_is_no_film_to_cut(tmp_path):
    library = Library(tmp_path / "library")
    two = tracking_table(possession="a")
    (done,) = import_tracks([csv(tmp_path / "game.csv", two)], library, SETTINGS)
    with pytest.raises(LibraryError, match="has no film"):
        done.game.film()
    with pytest.raises(LibraryError, match="has no film"):
        show_floor(done.game, "3", tmp_path, SETTINGS.film.decode)
    for tag in done.tags:
        with pytest.raises(LibraryError, match="has no film"):
            cut_tag(library, tag, tmp_path, SETTINGS)


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("a.csv", "", "is empty"),
        ("a.csv", "t_s,agent,x_ft,y_ft\n0,1\n", "every line needs a value"),
        ("a.csv", "t_s;agent;x_ft;y_ft\n0;ball;1,5;2\n", "write decimals with a point"),
        ("a.csv", "t_s,agent,x_ft,y_ft\n", "has no rows"),
        ("a.csv", "0,1,2,3\n0,1,2,3\n", "no column 't_s'"),
        ("a.parquet", "not parquet", "no Parquet file"),
        ("a.json", "{}", "neither CSV nor Parquet"),
    ],
)
def test_files_of_another_kind_are_refused(tmp_path, name, content, said):
    path = tmp_path / name
    path.write_text(content)
    with pytest.raises(TrackingError, match=said) as refused:
        import_tracks([path], Library(tmp_path / "library"), SETTINGS)
    assert str(path) in str(refused.value)


def test_a_tab_and_a_byte_order_mark_are_read(tmp_path):
    path = csv(tmp_path / "a.csv", tracking_table())
    path.write_text("\ufeff" + path.read_text().replace(",", "\t").replace('"', ""), encoding="utf-8")
    table, _ = read_tracking(path)
    assert table.schema.names == ["t_s", "agent", "x_ft", "y_ft"]
    assert table.num_rows == 880


def test_a_folder_of_possessions_takes_game_and_clock_from_its_list(tmp_path):
    folder = tmp_path / "play"
    folder.mkdir()
    tracks = pa.concat_tables([tracking_table(possession=name) for name in ("a", "b")])
    parquet(folder / "tracks.parquet", tracks)
    listed = {"possession": ["b", "a"], "game": ["g2", "g1"], "period": [2, 1], "clock_start_s": [90.0, 700.0]}
    parquet(folder / "possessions.parquet", pa.table(listed))
    table, _ = read_tracking(folder)
    row = table.filter(pa.array(np.array(table["possession"]) == "b")).to_pylist()[22]
    assert (row["game"], row["period"], row["clock_s"]) == ("g2", 2, pytest.approx(90.0 - row["t_s"]))
    parquet(folder / "possessions.parquet", pa.table({"possession": ["a", "a"]}))
    with pytest.raises(TrackingError, match="lists a possession twice"):
        read_tracking(folder)


SIGNS = st.text(alphabet=string.ascii_letters + string.digits + " .,;-+\"'\t\n%é", max_size=8)
PLAIN = tracking_table(rate=6.0)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(
        st.tuples(
            st.integers(0, 60), st.integers(0, 3), SIGNS | st.sampled_from(["", "nan", "inf", "-1", "1e308", "ball"])
        ),
        min_size=1,
        max_size=6,
    ),
    st.booleans(),
)
def test_whatever_stands_in_a_file_it_is_read_or_refused_in_one_sentence(tmp_path_factory, changes, cut_short):
    folder = tmp_path_factory.mktemp("fuzz")
    lines = csv(folder / "plain.csv", PLAIN).read_text().splitlines()
    for line, column, text in changes:
        cells = lines[line].split(",")
        cells[column] = text
        lines[line] = ",".join(cells)
    whole = "\n".join(lines)
    path = folder / "fuzzed.csv"
    path.write_text(whole[: len(whole) // 2] if cut_short else whole, encoding="utf-8")
    library = Library(folder / "library")
    said = refusal(path, library)
    if said is None:
        assert len(library.games()) == 1
        return
    assert "\n" not in said
    assert said.endswith(".")
    assert "fuzzed.csv" in said
    assert not (folder / "library").exists()


def refusal(path: Path, library: Library) -> str | None:
    """What is said of a file that is refused; None of one that is read."""
    try:
        import_tracks([path], library, SETTINGS)
    except ElbowroomError as error:
        return str(error)
    return None


@pytest.mark.skipif(not (DATA / "possessions_read").is_dir(), reason="no ../shared/data beside the repository")
def test_real_possessions_go_through_the_door(tmp_path):
    library = Library(tmp_path / "library")
    done = import_tracks([DATA / "possessions_read"], library, SETTINGS)
    assert sum(one.possessions for one in done) == 20
    for one in done:
        (possession,) = POSSESSIONS.read(one.game.tables).to_pylist()
        assert possession["team"] == 0
        kinds = ACTIONS.read(one.game.tables)["kind"].to_pylist()
        assert "shot" in kinds


def test_one_body_told_twice_is_said(tmp_path):
    table = tracking_table(possession="p1")
    agent, t_s = np.array(table["agent"]), np.array(table["t_s"])
    for name in ("x_ft", "y_ft"):
        value = np.array(table[name]).copy()
        twice = (agent == 7) & (t_s >= 3) & (t_s < 4)
        value[twice] = value[(agent == 2) & (t_s >= 3) & (t_s < 4)]
        table = with_column(table, name, value)
    (done,) = import_tracks([parquet(tmp_path / "game.parquet", table)], Library(tmp_path / "library"), SETTINGS)
    (at_s,) = done.merged
    assert at_s == pytest.approx(3.0, abs=0.11)
    assert any(
        "In 1 of 1 stretch(es) two players stand at one and the same place" in line for line in import_lines([done])
    )
