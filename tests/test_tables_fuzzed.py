"""Spoilt files of tables: the table, or one sentence that says which file to delete."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from broken_files import ODD_PLACES, odd_place, read_or_told, spoilt
from hypothesis import given
from hypothesis import strategies as st

from pipeline.tables import TableSpec

SPEC = TableSpec(
    "fuzzed",
    2,
    pa.schema(
        [
            ("frame", pa.int64()),
            ("word", pa.string()),
            ("kit", pa.list_(pa.float32(), 3)),
            ("rows", pa.list_(pa.struct([("role", pa.string()), ("track", pa.int32())]))),
            ("measures", pa.map_(pa.string(), pa.float64())),
            ("note", pa.string()),
        ]
    ),
    added=("note",),
)
TABLE = SPEC.from_columns(
    {
        "frame": np.arange(40),
        "word": [f"w{n % 7}" for n in range(40)],
        "kit": [None if n % 3 else [1.0, 2.0, n] for n in range(40)],
        "rows": [[{"role": "handler", "track": n}] for n in range(40)],
        "measures": [[("gain_ft", n / 2)] for n in range(40)],
    }
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("tables")


@pytest.fixture(scope="module")
def good(folder) -> bytes:
    return SPEC.write(TABLE, folder).read_bytes()


@given(data=st.data())
def test_a_spoilt_table(folder, good, data):
    path = SPEC.path(folder)
    path.write_bytes(data.draw(spoilt(good)))
    table = read_or_told(lambda: SPEC.read(folder), path)
    if table is not None:
        assert table.schema.equals(SPEC.schema)
        table.validate(full=True)


@given(
    version=st.one_of(st.none(), st.integers(-1, 4), st.text(max_size=4)),
    dropped=st.sets(st.sampled_from(SPEC.schema.names)),
    kinds=st.dictionaries(st.sampled_from(("frame", "word", "note")), st.sampled_from((pa.int8(), pa.binary()))),
)
def test_another_version_or_other_columns(folder, version, dropped, kinds):
    fields = [pa.field(f.name, kinds.get(f.name, f.type)) for f in SPEC.schema if f.name not in dropped]
    told = {} if version is None else {"elbowroom.schema_version": str(version), "elbowroom.table": "fuzzed"}
    pq.write_table(pa.schema(fields, told).empty_table(), SPEC.path(folder))
    table = read_or_told(lambda: SPEC.read(folder), SPEC.path(folder))
    assert table is None or table.schema.equals(SPEC.schema)


@pytest.mark.parametrize("odd", ODD_PLACES)
def test_something_odd_in_its_place(folder, odd):
    with odd_place(SPEC.path(folder), odd):
        assert read_or_told(lambda: SPEC.read(folder), SPEC.path(folder)) is None
