"""Searching a library: what is found, what is left out and said, and every mistake in one sentence."""

import shutil

import pytest
from made_up_library import ACTION_ROWS, GAMES, NOW, SET_ROWS, make_library

from pipeline.actions.tables import ACTIONS
from pipeline.conditions import judge, read_condition
from pipeline.errors import LanguageError, LibraryError, SearchError
from pipeline.find import Filters, columns, find, search
from pipeline.find.index import FOLDER
from pipeline.library.games import Library
from pipeline.sets.tables import SET_CANDIDATES
from pipeline.settings import Settings
from pipeline.spacing.tables import FAULTS
from pipeline.tags import State

SETTINGS = Settings()
FIRST, SECOND = GAMES


@pytest.fixture(scope="module")
def shared(tmp_path_factory):
    return make_library(tmp_path_factory.mktemp("shared") / "library")


@pytest.fixture
def library(tmp_path):
    return make_library(tmp_path / "library")


def times(library, **filters):
    """Game and moment of every hit."""
    table = find(library, Filters(**filters), SETTINGS)
    return list(zip(table["game"].to_pylist(), table["t_s"].to_pylist(), strict=True))


def test_the_issues_search(shared):
    found = search(
        shared,
        Filters(sets=("weak_side_motion",), where="return_catch_ft > 28 and ended = 'post entry'"),
        SETTINGS,
    )
    assert found.table["t_s"].to_pylist() == [20.0, 20.0]
    assert found.table["return_catch_ft"].to_pylist() == [30.5, 30.5]
    assert found.table["return_catch"].to_pylist() == ["poor", "poor"]
    assert found.table["ended"].to_pylist() == ["post_entry", "post_entry"]
    assert found.table["state"].to_pylist() == ["candidate", "candidate"]
    assert found.table["sentence"].to_pylist() == ["The set was run."] * 2
    assert found.unknown == 2, "in each game one return catch was not seen"
    assert found.left_out == ()


def test_conditions_mean_what_they_mean_in_fault_files(shared):
    for where in ("return_catch_ft > 25", "not return_catch_ft > 25", "return_catch = poor or top_wait_s > 2"):
        condition = read_condition(where)
        truth = {
            row["t_s"]: judge(condition, {**dict(row["measures"]), **dict(row["traits"])})
            for row in SET_ROWS
            if row["complete"]
        }
        found = search(shared, Filters(sets=("weak_side_motion",), games=(FIRST,), where=where), SETTINGS)
        assert found.table["t_s"].to_pylist() == [t for t, held in truth.items() if held]
        assert found.unknown == sum(held is None for held in truth.values())


def test_sets_in_part_are_found_when_they_are_asked_for(shared):
    assert (FIRST, 60.0) not in times(shared, sets=("weak_side_motion",))
    assert times(shared, sets=("weak_side_motion",), games=(FIRST,), where="complete = no") == [(FIRST, 60.0)]
    assert len(times(shared, sets=("weak_side_motion",), games=(FIRST,), where="complete known")) == len(SET_ROWS)


def test_the_word_ended_is_that_of_a_set_or_of_a_fault(shared):
    assert times(shared, where="ended = corner") == [(FIRST, 33.0), (SECOND, 33.0)]
    assert times(shared, where="ended = 'zipper curl'", games=(SECOND,)) == [(SECOND, 40.0)]


def test_without_kinds_faults_and_sets_are_searched_and_actions_that_keep_what_is_asked(shared):
    assert len(times(shared, games=(FIRST,))) == 6
    assert times(shared, games=(FIRST,), where="gain_ft > 20") == [(FIRST, 15.0)]
    assert len(times(shared, games=(FIRST,), actions=("any",))) == len(ACTION_ROWS)


def test_teams_games_periods_and_days(shared):
    assert {game for game, _ in times(shared, games=("O'Hara's 2",))} == {SECOND}
    assert times(shared, actions=("drive",), teams=("harbour",)) == [(FIRST, 5.0), (SECOND, 15.0)]
    assert times(shared, actions=("drive",), teams=("sc löwen", 'the "five"')) == [(FIRST, 15.0), (SECOND, 5.0)]
    assert times(shared, sets=("any",), periods=(2,), games=(FIRST,)) == [(FIRST, t) for t in (30.0, 40.0, 50.0)]
    assert {game for game, _ in times(shared, since="2026-01-04")} == {SECOND}
    assert {game for game, _ in times(shared, until="2026-01-04")} == {FIRST}
    assert times(shared, where="opponent = \"O'Hara's\" and kind = pushed_out_catch") == [(SECOND, 20.0)]


def test_clock_period_and_team_are_told(shared):
    (hit,) = find(shared, Filters(actions=("drive",), games=(FIRST,), where="gain_ft > 20"), SETTINGS).to_pylist()
    assert (hit["period"], hit["clock_s"], hit["team"], hit["opponent"], hit["tag"]) == (
        1, 585.0, "SC Löwen", "SC Löwen", None,
    )  # fmt: skip
    assert hit["off_screen"] is None, "an unknown word is null"


def test_decisions_edits_and_labels_are_found(library):
    with library.tag_store() as store:
        tag = store.tags(game=FIRST, kind="pushed_out_catch")[0]
        store.decide(tag.tag, State.CONFIRMED, who="ana", when=NOW)
        store.edit(tag.tag, who="ana", when=NOW, start_s=17.5)
        store.label(tag.tag, add=("For Monday",), who="ana", when=NOW)
    (hit,) = find(library, Filters(states=("confirmed",)), SETTINGS).to_pylist()
    assert (hit["tag"], hit["start_s"], hit["state"]) == (tag.tag, 17.5, "confirmed")
    assert times(library, labels=("for monday",)) == [(FIRST, 20.0)]
    assert times(library, where="state = confirmed and severity = fault") == [(FIRST, 20.0)]
    assert len(times(library, where="state != confirmed", games=(FIRST,))) == 5


def test_a_tag_that_the_tables_no_longer_hold_is_still_found(library):
    with library.tag_store() as store:
        tag = store.tags(game=FIRST, kind="wasted_cutter")[0]
        store.decide(tag.tag, State.REJECTED, who="ana", when=NOW)
    FAULTS.write(FAULTS.empty(), library.game(FIRST).tables)
    assert times(library, faults=("wasted_cutter",)) == [(FIRST, 33.0), (SECOND, 33.0)]


def test_order_and_limit(shared):
    ordered = find(shared, Filters(actions=("drive",), order="gain_ft desc, game"), SETTINGS)
    assert ordered["gain_ft"].to_pylist() == [21.5, 21.5, 12.0, 12.0]
    by_speed = find(shared, Filters(actions=("drive",), order="top_speed_ft_s"), SETTINGS)
    assert by_speed["top_speed_ft_s"].to_pylist() == [15.0, 15.0, None, None], "unknown comes last"
    found = search(shared, Filters(actions=("drive",), order="score desc", limit=1), SETTINGS)
    assert (found.table.num_rows, found.total) == (1, 4)
    assert find(shared, Filters(limit=0), SETTINGS).num_rows == 0


@pytest.mark.parametrize(
    ("filters", "says"),
    [
        ({"sets": ("weak_side_moton",)}, "did you mean 'weak_side_motion'"),
        ({"actions": ("driv",)}, "did you mean 'drive'"),
        ({"faults": ("zzz",)}, "there are: .*crowded_paint"),
        ({"games": ("harbor-1",)}, "did you mean 'harbour-1'"),
        ({"teams": ("Harbor",)}, "did you mean 'Harbour'"),
        ({"states": ("confrmed",)}, "did you mean 'confirmed'"),
        ({"labels": ("monday",)}, "there are none here"),
        ({"since": "3.1.2026"}, "no day; write it as 2026-01-31"),
        ({"limit": -1}, "give 0 or more"),
    ],
)
def test_what_does_not_exist_is_named(shared, filters, says):
    with pytest.raises(SearchError, match=says) as caught:
        find(shared, Filters(**filters), SETTINGS)
    assert str(caught.value).endswith((".", "?"))


@pytest.mark.parametrize(
    ("where", "column", "says"),
    [
        ("return_cach_ft > 28", 1, "did you mean 'return_catch_ft'"),
        ("score > 0.5 and ended = 'post entri'", 25, "did you mean 'post_entry'"),
        ("score >", 8, "expected"),
        ("return_catch_ft > 28 s", 22, "is in ft, not in s"),
        ("return_catch > 28", 1, "is a word"),
        ("kind = drive", 8, "no value of 'kind'"),
    ],
)
def test_a_mistake_in_the_condition_is_shown_where_it_is(shared, where, column, says):
    with pytest.raises(LanguageError, match=says) as caught:
        find(shared, Filters(sets=("weak_side_motion",), where=where), SETTINGS)
    assert (caught.value.line, caught.value.column) == (1, column)
    assert "^" in str(caught.value)


def test_a_bad_name_gets_the_names_that_exist(shared):
    with pytest.raises(LanguageError) as caught:
        find(shared, Filters(sets=("horns",), where="nearness_ft > 2"), SETTINGS)
    told = str(caught.value)
    assert "Columns of every hit: family, kind, tag," in told
    assert "Measures and words of the kinds searched: contact, contact_ft, counter, patience," in told
    with pytest.raises(LanguageError, match=r"the order, line 1, column 8.*did you mean 'contact_ft'"):
        find(shared, Filters(sets=("horns",), order="score, contct_ft desc"), SETTINGS)
    with pytest.raises(LanguageError, match="an order is names"):
        find(shared, Filters(sets=("horns",), order="score downwards"), SETTINGS)


def test_columns_are_documented():
    known = {column.name: column for column in columns(SETTINGS, Filters(sets=("weak_side_motion",)))}
    assert known["return_catch_ft"].unit == "ft"
    assert known["return_catch_ft"].kinds == ("weak_side_motion",)
    assert "post_entry" in known["ended"].values
    assert known["kind"].values == ("weak_side_motion",)
    assert all(column.meaning for column in columns(SETTINGS))


def test_missing_older_and_damaged_tables_are_left_out_and_said(library):
    tables = library.game(FIRST).tables
    SET_CANDIDATES.path(tables).unlink()
    ACTIONS.path(tables).write_bytes(b"no parquet")
    shutil.rmtree(library.game(SECOND).tables)
    (library.game(SECOND).folder / "game.toml").write_text("date = ")
    found = search(library, Filters(actions=("any",)), SETTINGS)
    assert found.table.num_rows == 0
    said = [text for text in found.left_out if f"'{FIRST}'" in text]
    assert any("its actions are left out" in text for text in said)
    assert any("its set candidates are left out" in text for text in said)
    assert any(f"'{SECOND}': its date and teams are unknown" in text for text in found.left_out)
    assert all(text.endswith(".") for text in found.left_out)
    assert len(times(library)) == 12, "tags are found without their tables"


def test_an_empty_library_and_none(tmp_path):
    (tmp_path / "library" / "games").mkdir(parents=True)
    found = search(Library(tmp_path / "library"), Filters(), SETTINGS)
    assert (found.table.num_rows, found.total, found.unknown) == (0, 0, 0)
    with pytest.raises(LibraryError, match="There is no library"):
        find(Library(tmp_path / "none"), Filters(), SETTINGS)


def test_the_index_follows_the_tables(library):
    assert len(times(library, actions=("drive",))) == 4
    (before,) = (library.root / FOLDER).glob("hits-*.duckdb")
    assert len(times(library, actions=("drive",))) == 4
    assert before.is_file(), "unchanged tables need no new index"
    ACTIONS.write(ACTIONS.from_rows(ACTION_ROWS[1:]), library.game(FIRST).tables)
    assert times(library, actions=("drive",)) == [(FIRST, 15.0), (SECOND, 5.0), (SECOND, 15.0)]
    assert not before.exists()
    shutil.rmtree(library.root / "games" / SECOND)
    assert times(library, actions=("drive",)) == [(FIRST, 15.0)]
    shutil.rmtree(library.root / FOLDER)
    assert times(library, actions=("drive",)) == [(FIRST, 15.0)]


def test_a_damaged_index_is_made_anew(library):
    times(library)
    (path,) = (library.root / FOLDER).glob("hits-*.duckdb")
    path.write_bytes(b"broken")
    assert len(times(library, actions=("drive",))) == 4


def test_a_library_that_cannot_be_written_is_searched_all_the_same(library):
    (library.root / FOLDER).write_text("in the way")
    assert len(times(library, actions=("drive",))) == 4
