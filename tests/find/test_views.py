"""SQL over a library: documented views, nothing but reading, and what is missing said."""

import shutil
import threading

import duckdb
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from made_up_library import GAMES, NOW, make_library

from pipeline.actions.tables import ACTIONS
from pipeline.errors import SearchError
from pipeline.find import open_views
from pipeline.find.view_words import VIEWS
from pipeline.find.views import run_sql, view_lines, views_of
from pipeline.library.games import Library
from pipeline.spacing.tables import FAULTS
from pipeline.tables import NAME_KEY, VERSION_KEY
from pipeline.tags import State

FIRST, SECOND = GAMES


@pytest.fixture(scope="module")
def shared(tmp_path_factory):
    library = make_library(tmp_path_factory.mktemp("shared") / "library")
    with library.tag_store() as store:
        store.decide(1, State.CONFIRMED, who="ana", when=NOW)
        store.decide(2, State.UNSURE, who="ben", when=NOW)
    return library


@pytest.fixture
def views(shared):
    with open_views(shared) as opened:
        yield opened


def rows(views, query):
    return run_sql(views, query).to_pylist()


@pytest.mark.parametrize("view", VIEWS, ids=lambda view: view.name)
def test_every_column_of_every_view_is_documented(views, view):
    table = run_sql(views, f"SELECT * FROM {view.name}")
    assert table.schema.names == list(view.columns)
    assert view.meaning
    assert all(view.columns.values())
    if view.table is not None:
        assert set(view.table.schema.names) <= set(view.columns), "a column of the table is not shown"


def test_views_hold_every_game(views):
    assert rows(views, "SELECT game, count(*) AS n FROM actions GROUP BY game ORDER BY game") == [
        {"game": game, "n": 3} for game in GAMES
    ]
    assert rows(views, "SELECT measures['gain_ft'] AS g FROM actions WHERE kind = 'drive' ORDER BY ALL")[0] == {
        "g": 12.0
    }
    assert rows(views, "SELECT count(*) AS n FROM actions WHERE measures['top_speed_ft_s'] > 1") == [{"n": 2}]
    assert rows(views, "SELECT tag, verdict, decided_by FROM decisions ORDER BY tag") == [
        {"tag": 1, "verdict": "confirmed", "decided_by": "ana"},
        {"tag": 2, "verdict": "unsure", "decided_by": "ben"},
    ]
    (joined,) = rows(
        views, "SELECT g.opponent FROM tags t JOIN games g USING (game) WHERE t.game LIKE 'o''hara%' AND t.tag = 7"
    )
    assert joined == {"opponent": "O'Hara's"}


@pytest.mark.parametrize(
    "query",
    [
        "DELETE FROM tags",
        "CREATE TABLE t AS SELECT 1",
        "INSERT INTO hits SELECT * FROM hits",
        "COPY (SELECT 1) TO '/tmp/elbowroom.csv'",
        "ATTACH '/tmp/elbowroom.db'",
        "SET enable_external_access = true",
        "INSTALL httpfs",
        "LOAD httpfs",
        "EXPORT DATABASE '/tmp/elbowroom'",
        "PRAGMA database_list",
        "SELECT 1; SELECT 2",
        "",
        "EXPLAIN ANALYZE SELECT 1",
        "WITH gone AS MATERIALIZED (DELETE FROM hits RETURNING *) FROM gone",
        "SELECT * FROM read_csv('/etc/passwd')",
        "SELECT * FROM read_text('/etc/passwd')",
        "SELECT * FROM read_parquet('{tables}/actions.parquet')",
        "SELECT * FROM '{tables}/actions.parquet'",
        "SELECT * FROM glob('/etc/*')",
        "SELECT * FROM sniff_csv('/etc/passwd')",
        "SELECT * FROM secret",
        "SELECT nothing FROM tags",
        "SELEC 1",
    ],
)
def test_nothing_but_reading_the_views(shared, query):
    secret = pa.table({"word": ["secret"]})
    assert secret.num_rows
    with open_views(shared) as views, pytest.raises(SearchError) as caught:
        run_sql(views, query.format(tables=shared.game(FIRST).tables))
    assert str(caught.value)


def test_the_connection_itself_is_sealed(shared):
    with open_views(shared) as views:
        for query in (
            "SET lock_configuration = false",
            "SET enable_external_access = true",
            "CREATE TABLE t AS SELECT 1",
            "COPY (SELECT 1) TO '/tmp/elbowroom.csv'",
            "SELECT * FROM read_text('/etc/hostname')",
        ):
            with pytest.raises(duckdb.Error):
                views.execute(query)


def test_games_with_missing_or_older_tables_are_left_out_and_said(tmp_path):
    library = make_library(tmp_path / "library")
    tables = library.game(FIRST).tables
    old = pq.read_table(ACTIONS.path(tables)).replace_schema_metadata({NAME_KEY: b"actions", VERSION_KEY: b"0"})
    pq.write_table(old, ACTIONS.path(tables))
    FAULTS.path(tables).write_bytes(b"no parquet")
    shutil.rmtree(library.game(SECOND).tables)
    opened = views_of(library)
    with opened.connection as views:
        assert rows(views, "SELECT count(*) AS n FROM actions") == [{"n": 0}]
        assert rows(views, "SELECT count(*) AS n FROM set_candidates") == [{"n": 5}]
    said = [text for text in opened.left_out if f"'{FIRST}' is left out of actions" in text]
    assert len(said) == 1
    assert "version 0, this program knows 2" in said[0]
    assert any(f"'{FIRST}' is left out of faults" in text and "cannot be read" in text for text in opened.left_out)
    assert any(f"'{SECOND}' is left out of tracks" in text for text in opened.left_out)
    assert all(text.endswith(".") for text in opened.left_out)


def test_a_table_of_the_version_before_is_shown(tmp_path):
    library = make_library(tmp_path / "library")
    tables = library.game(FIRST).tables
    old = pq.read_table(ACTIONS.path(tables)).drop_columns(["traits"])
    pq.write_table(old.replace_schema_metadata({NAME_KEY: b"actions", VERSION_KEY: b"1"}), ACTIONS.path(tables))
    with open_views(library) as views:
        (told,) = rows(views, f"SELECT count(*) AS n, count(traits) AS t FROM actions WHERE game = '{FIRST}'")
        assert told == {"n": 3, "t": 0}


def test_an_empty_library(tmp_path):
    (tmp_path / "library" / "games").mkdir(parents=True)
    with open_views(Library(tmp_path / "library")) as views:
        for view in VIEWS:
            assert run_sql(views, f"FROM {view.name}").num_rows == 0


def test_many_ask_at_once(shared):
    counts, problems = [], []

    def ask():
        try:
            with open_views(shared) as views:
                counts.append(rows(views, "SELECT count(*) AS n FROM tags")[0]["n"])
        except Exception as error:
            problems.append(error)

    threads = [threading.Thread(target=ask) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert problems == []
    assert counts == [12] * 8


def test_the_views_are_told_in_words():
    text = "\n".join(view_lines())
    for view in VIEWS:
        assert f"{view.name}: {view.meaning}" in text
    assert "catch" not in "\n".join(view_lines(("shots",)))
