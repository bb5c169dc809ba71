"""Spoilt tracking data: refused with file, line and column, or stretches of play whose numbers are sound."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.csv as pcsv
import pyarrow.parquet as pq
import pytest
from broken_files import ODD_PLACES, odd_place, read_or_told, spoilt
from hypothesis import given
from hypothesis import strategies as st
from tracking_data import tracking_table

from pipeline.court.rule_books import rule_book
from pipeline.night.tracking_files import read_tracking
from pipeline.players.imported_play import Stretch, games_of, laid_apart
from pipeline.players.imported_rows import KNOWN_COLUMNS, Convention, Source, read_rows
from pipeline.players.settings import ImportSettings

BOOK = rule_book("nba")
TABLE = tracking_table(rate=6.0, period=1, game="a", possession="p 1", clock_s=700.0)


def as_csv(table: pa.Table) -> bytes:
    out = io.BytesIO()
    pcsv.write_csv(table, out)
    return out.getvalue()


def as_parquet(table: pa.Table) -> bytes:
    out = io.BytesIO()
    pq.write_table(table, out)
    return out.getvalue()


CSV = as_csv(TABLE)
SHORT_CSV = as_csv(TABLE.slice(0, 44))
PARQUET = as_parquet(TABLE.slice(0, 110))


@pytest.fixture(scope="module")
def place(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("tracks")


def read(path: Path) -> dict[str, tuple[Stretch, ...]]:
    return games_in(*read_tracking(path))


def games_in(table: pa.Table, source: Source) -> dict[str, tuple[Stretch, ...]]:
    games = games_of(read_rows(table, source, BOOK, Convention()), BOOK, ImportSettings())
    for name, stretches in games.items():
        games[name] = laid_apart(stretches, ImportSettings())
    return games


def check_sound(games: dict[str, tuple[Stretch, ...]] | None) -> None:
    for stretch in [one for stretches in (games or {}).values() for one in stretches]:
        assert np.isfinite(stretch.t_s).all()
        assert (np.diff(stretch.t_s) > 0).all()
        assert not np.isinf(stretch.players_ft).any()
        assert not np.isinf(stretch.ball_ft).any()
        assert stretch.players_ft.shape[:2] == (len(stretch.t_s), len(stretch.tracks))


def test_the_good_files_are_read(place):
    for name, data in (("a.csv", CSV), ("a.parquet", as_parquet(TABLE))):
        (place / name).write_bytes(data)
        assert len(read(place / name)["a"]) == 1


@given(data=st.sampled_from((CSV, SHORT_CSV)).flatmap(spoilt))
def test_a_spoilt_csv(place, data):
    path = place / "spoilt.csv"
    path.write_bytes(data)
    check_sound(read_or_told(lambda: read(path), path))


@given(data=spoilt(PARQUET))
def test_a_spoilt_parquet(place, data):
    path = place / "spoilt.parquet"
    path.write_bytes(data)
    check_sound(read_or_told(lambda: read(path), path))


@given(
    names=st.lists(st.one_of(st.sampled_from(KNOWN_COLUMNS), st.text(max_size=4)), min_size=1, max_size=8, unique=True),
    rows=st.integers(0, 6),
    data=st.data(),
)
def test_any_table_in_parquet(place, names, rows, data):
    kinds = [data.draw(st.sampled_from(("float", "int", "text", "flag", "bytes", "list", "date"))) for _ in names]
    columns = [pa.array(data.draw(_column(kind, rows)), _TYPES[kind]) for kind in kinds]
    path = place / "any.parquet"
    pq.write_table(pa.Table.from_arrays(columns, names=names), path)
    check_sound(read_or_told(lambda: read(path), path))


_TYPES = {
    "float": pa.float64(), "int": pa.int64(), "text": pa.string(), "flag": pa.bool_(), "bytes": pa.binary(),
    "list": pa.list_(pa.int8()), "date": pa.timestamp("us"),
}  # fmt: skip


def _column(kind: str, rows: int) -> st.SearchStrategy[list]:
    value = {
        "float": st.floats(),
        "int": st.integers(-(2**63), 2**63 - 1),
        "text": st.sampled_from(("", "a", "-1", "ball", "1,5", "1e999", "nan", "7")),
        "flag": st.booleans(),
        "bytes": st.binary(max_size=3),
        "list": st.just([1]),
        "date": st.just(0),
    }[kind]
    return st.lists(st.one_of(st.none(), value), min_size=rows, max_size=rows)


@given(
    row=st.integers(0, TABLE.num_rows - 1),
    column=st.sampled_from(("t_s", "x_ft", "y_ft", "agent", "period", "clock_s")),
    value=st.one_of(st.none(), st.floats(), st.integers(-(2**63), 2**63 - 1)),
)
def test_one_strange_value_in_good_data(row, column, value):
    values = TABLE[column].cast(pa.float64()).to_numpy().copy()
    values[row] = np.nan if value is None else value
    changed = TABLE.set_column(TABLE.schema.get_field_index(column), column, pa.array(values))
    check_sound(read_or_told(lambda: games_in(changed, Source("a.parquet", 1, "row")), Path("a.parquet")))


@pytest.mark.parametrize("odd", ODD_PLACES)
@pytest.mark.parametrize("name", ["odd.csv", "odd.parquet"])
def test_something_odd_in_their_place(place, name, odd):
    path = place / name
    with odd_place(path, odd):
        assert read_or_told(lambda: read(path), path) is None


@given(tracks=spoilt(PARQUET), listed=st.binary(max_size=20))
def test_a_spoilt_folder(place, tracks, listed):
    folder = place / "folder"
    folder.mkdir(exist_ok=True)
    (folder / "tracks.parquet").write_bytes(tracks)
    (folder / "possessions.parquet").write_bytes(listed)
    check_sound(read_or_told(lambda: read(folder), folder))
