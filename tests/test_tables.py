"""Tables come back from disk as they were written, and their files hold nothing that some pyarrow cannot read."""

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.tables import TableSpec

LISTS = TableSpec("lists", 1, pa.schema([("frame", pa.int64()), ("kit", pa.list_(pa.float32(), 3))]))


def lists(kits: list[list[float] | None]) -> pa.Table:
    return LISTS.from_columns({"frame": np.arange(len(kits)), "kit": kits})


@settings(deadline=None, max_examples=40)
@given(
    st.lists(st.none() | st.lists(st.floats(width=32, allow_nan=False), min_size=3, max_size=3), max_size=12),
    st.integers(0, 5),
)
def test_lists_of_fixed_length_come_back(tmp_path_factory, kits, start):
    folder = tmp_path_factory.mktemp("tables")
    table = lists(kits).slice(min(start, len(kits)))
    LISTS.write(table, folder)
    back = LISTS.read(folder)
    assert back.schema == table.schema
    assert back.to_pylist() == table.to_pylist()


def test_the_file_holds_plain_lists_whose_nulls_are_empty(tmp_path):
    """pyarrow 25 cannot read what pyarrow 26 writes for nulls among lists of fixed length."""
    path = LISTS.write(lists([None, [1, 2, 3], None]), tmp_path)
    assert pq.read_schema(path).field("kit").type == pa.list_(pa.field("element", pa.float32()))
    assert pq.read_table(path)["kit"].to_pylist() == [None, [1, 2, 3], None]


def test_files_from_before_are_read(tmp_path):
    table = lists([[1, 2, 3], [4, 5, 6]]).replace_schema_metadata(
        {b"elbowroom.table": b"lists", b"elbowroom.schema_version": b"1"}
    )
    pq.write_table(table, tmp_path / "lists.parquet")
    assert LISTS.read(tmp_path)["kit"].to_pylist() == [[1, 2, 3], [4, 5, 6]]


@pytest.mark.parametrize("kits", [[], [None, None]])
def test_nothing_is_a_table_too(tmp_path, kits):
    LISTS.write(lists(kits), tmp_path)
    assert LISTS.read(tmp_path)["kit"].to_pylist() == kits


SIZES = TableSpec(
    "sizes",
    2,
    pa.schema(
        [("frame", pa.int64()), ("x_ft", pa.float64()), ("role", pa.string()), ("kit", pa.list_(pa.float32(), 3))]
    ),
    added=("role",),
)


def test_only_the_columns_that_are_asked_for_are_read(tmp_path):
    table = SIZES.from_columns({"frame": [1, 2], "x_ft": [0.5, None], "role": ["a", None], "kit": [None, [1, 2, 3]]})
    SIZES.write(table, tmp_path)
    assert SIZES.read(tmp_path, ("kit", "frame")).equals(table.select(["frame", "kit"]))
    assert SIZES.read(tmp_path, ()).num_columns == 0
    older = table.drop_columns(["role"]).replace_schema_metadata(
        {b"elbowroom.table": b"sizes", b"elbowroom.schema_version": b"1"}
    )
    pq.write_table(older, tmp_path / "sizes.parquet")
    assert SIZES.read(tmp_path, ("role", "x_ft")).to_pylist() == [
        {"x_ft": 0.5, "role": None},
        {"x_ft": None, "role": None},
    ]


def test_numbers_that_hardly_repeat_take_less_place(tmp_path):
    spec = TableSpec("places", 1, pa.schema([("frame", pa.int64()), ("x_ft", pa.float64()), ("y_ft", pa.float32())]))
    rng = np.random.default_rng(1)
    x, y = (np.cumsum(rng.normal(0, 0.1, 60_000)) for _ in "xy")
    table = spec.from_columns({"frame": np.arange(60_000), "x_ft": x, "y_ft": y})
    path = spec.write(table, tmp_path)
    assert spec.read(tmp_path).equals(table)
    pq.write_table(table, tmp_path / "plain.parquet", compression="zstd")
    assert path.stat().st_size < 0.85 * (tmp_path / "plain.parquet").stat().st_size
