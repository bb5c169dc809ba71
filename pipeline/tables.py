"""tables: how every table of the product is declared, checked, written and read.

Each room declares its own tables in its ``tables.py`` as :class:`TableSpec` values. A table is
an Arrow table in memory and one Parquet file on disk, whose metadata carry the table's name and
schema version. Files are written whole to a temporary name and renamed, so a killed process or
a power cut never leaves half a table.
"""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from pipeline.errors import LibraryError, ShapeError
from pipeline.user_files import shown
from pipeline.whole_files import flush_folder, made_aside

NAME_KEY = b"elbowroom.table"
VERSION_KEY = b"elbowroom.schema_version"

ROWS_TOGETHER = 4096
"""Rows of a table with lists that are packed, and later unpacked, together. Of 85,528 boxes, 20 MB, reading took 62 MB
at a time so, and 223 MB with all rows together."""


@dataclass(frozen=True, slots=True)
class TableSpec:
    """Name, schema version and columns of one table.

    Attributes
    ----------
    name : str
        File stem on disk, e.g. ``"tracks"``.
    version : int
        Raised with every change of columns.
    schema : pa.Schema
        Columns with types. Units end the column names (``_s``, ``_ft``, ``_px``).
    added : tuple of str
        Columns that came with the latest version and may be null; older tables are read with nulls there.
    """

    name: str
    version: int
    schema: pa.Schema
    added: tuple[str, ...] = ()

    def empty(self) -> pa.Table:
        """A table of no rows."""
        return self.schema.empty_table()

    def from_columns(self, columns: Mapping[str, Any]) -> pa.Table:
        """Build a table from arrays; every column of the schema but an added one must be given, none other."""
        missing = [n for n in self.schema.names if n not in columns and n not in self.added]
        extra = [n for n in columns if n not in self.schema.names]
        if missing or extra:
            raise ShapeError(f"Table '{self.name}': missing columns {missing}, unknown columns {extra}.")
        count = len(next(iter(columns.values()))) if columns else 0
        arrays = [
            pa.array(columns[f.name], type=f.type) if f.name in columns else pa.nulls(count, f.type)
            for f in self.schema
        ]
        return pa.Table.from_arrays(arrays, schema=self.schema)

    def from_rows(self, rows: Sequence[Mapping[str, Any]]) -> pa.Table:
        """Build a table from a sequence of dicts; a key the schema lacks is refused."""
        for row in rows:
            extra = [n for n in row if n not in self.schema.names]
            if extra:
                raise ShapeError(f"Table '{self.name}': unknown columns {extra}.")
        return pa.Table.from_pylist([dict(r) for r in rows], schema=self.schema)

    def check(self, table: pa.Table) -> pa.Table:
        """Return the table if its columns are this spec's, in any order; else raise ShapeError.

        An added column that it lacks is null.
        """
        table = self._with_added(table)
        wrong = [
            f.name for f in self.schema if f.name not in table.schema.names or table.schema.field(f.name).type != f.type
        ]
        if wrong:
            raise ShapeError(
                f"Table '{self.name}' version {self.version}: columns {wrong} are missing or of another type."
            )
        return table.select(self.schema.names)

    def _with_added(self, table: pa.Table) -> pa.Table:
        for name in self.added:
            if name not in table.schema.names:
                field = self.schema.field(name)
                table = table.append_column(field, pa.nulls(table.num_rows, field.type))
        return table

    def path(self, folder: Path) -> Path:
        """Where this table lies in a folder of tables."""
        return folder / f"{self.name}.parquet"

    def write(self, table: pa.Table, folder: Path) -> Path:
        """Write the table whole under a temporary name in ``folder``, then rename it."""
        final = self.path(folder)
        os.replace(self.write_aside(table, folder), final)
        flush_folder(folder)
        return final

    def write_aside(self, table: pa.Table, folder: Path) -> Path:
        """Write the table under a temporary name in ``folder`` only, and return that; see ``whole_files``."""
        checked = self.check(table).replace_schema_metadata(
            {NAME_KEY: self.name.encode(), VERSION_KEY: str(self.version).encode()}
        )
        folder.mkdir(parents=True, exist_ok=True)
        plain = _with_plain_lists(checked)
        return made_aside(self.path(folder), lambda temporary: _write_parquet(plain, temporary))

    def read(self, folder: Path, columns: Sequence[str] | None = None) -> pa.Table:
        """Read the table from a folder.

        Parameters
        ----------
        folder : Path
        columns : sequence of str, optional
            Only these columns, in order of the schema; the others are not read from the disk.

        Raises
        ------
        LibraryError
            If the file is missing, is no Parquet file, or holds another table or version.
        """
        path = self.path(folder)
        if not path.is_file():
            raise LibraryError(f"Table '{self.name}' is missing: {path} does not exist; run the film again.")
        try:
            with pq.ParquetFile(path, page_checksum_verification=True) as file:
                there = file.schema_arrow.names
                wanted = None if columns is None else [name for name in there if name in columns]
                table = _read_by_groups(file, wanted)
        except (pa.ArrowException, OSError, UnicodeDecodeError) as error:
            raise LibraryError(
                f"Table file {path} cannot be read ({shown(str(error))}); delete it and run the film again."
            ) from error
        metadata = table.schema.metadata or {}
        found = [metadata.get(key, b"?").decode(errors="replace") for key in (NAME_KEY, VERSION_KEY)]
        known = {str(self.version), *([str(self.version - 1)] if self.added else [])}
        if found[0] != self.name or found[1] not in known:
            raise LibraryError(
                f"{path} holds table {shown(found[0])} version {shown(found[1])}, expected {self.name} version "
                f"{self.version}; run the film again."
            )
        names = [name for name in self.schema.names if columns is None or name in columns]
        table = self._with_added(table)
        lacking = [name for name in names if table.schema.names.count(name) != 1]
        if not lacking:
            table = self._with_fixed_lists(table.select(names)).replace_schema_metadata(None)
            lacking = [name for name in names if table.schema.field(name).type != self.schema.field(name).type]
        if lacking:
            raise LibraryError(
                f"{path} lacks the column '{lacking[0]}' or has it in another form; delete it and run the film again."
            )
        return table

    def _with_fixed_lists(self, table: pa.Table) -> pa.Table:
        """Undo :func:`_with_plain_lists`."""
        for place, name in enumerate(table.schema.names):
            field = self.schema.field(name)
            kind = table.schema.field(place).type
            if pa.types.is_fixed_size_list(field.type) and pa.types.is_list(kind):
                table = table.set_column(place, field, _fixed_lists(table.column(place), field.type))
        return table


def _read_by_groups(file: pq.ParquetFile, columns: Sequence[str] | None) -> pa.Table:
    """A file's table, one group of rows after the other: while lists are unpacked they take many times their room."""
    if file.num_row_groups <= 1:
        return file.read(columns=columns)
    groups = range(file.num_row_groups)
    return pa.concat_tables(file.read_row_group(k, columns=columns, use_threads=False) for k in groups).combine_chunks()


def _write_parquet(table: pa.Table, path: Path) -> None:
    """Numbers with a fraction hardly ever repeat: a dictionary of them costs time and place, and bytes of like weight
    side by side (BYTE_STREAM_SPLIT of the Parquet format) are what the compression is good at. On tracks a quarter
    less on the disk, and two to three times as fast both ways."""
    if any(pa.types.is_nested(field.type) for field in table.schema):
        pq.write_table(table, path, compression="zstd", write_page_checksum=True, row_group_size=ROWS_TOGETHER)
        return
    split = [field.name for field in table.schema if pa.types.is_floating(field.type)]
    others = [field.name for field in table.schema if field.name not in split]
    pq.write_table(
        table,
        path,
        compression="zstd",
        use_dictionary=others or False,
        use_byte_stream_split=split or False,
        write_page_checksum=True,
    )


def _with_plain_lists(table: pa.Table) -> pa.Table:
    """Lists of fixed length as plain lists, for the file: some versions of pyarrow write nulls among the former such
    that others cannot read them."""
    for place, field in enumerate(table.schema):
        if pa.types.is_fixed_size_list(field.type):
            lists = _plain_lists(table.column(place).combine_chunks(), field.type)
            table = table.set_column(place, pa.field(field.name, lists.type), lists)
    return table


def _plain_lists(column: pa.FixedSizeListArray, kind: pa.FixedSizeListType) -> pa.ListArray:
    known = column.is_valid().to_numpy(zero_copy_only=False)
    starts = np.concatenate([[0], np.cumsum(known * kind.list_size)]).astype(np.int32)
    # A null start makes a null list, and such a list holds nothing.
    offsets = pa.array(starts, pa.int32(), mask=np.append(~known, [False]))
    return pa.ListArray.from_arrays(offsets, column.flatten())


def _fixed_lists(column: pa.ChunkedArray, kind: pa.FixedSizeListType) -> pa.Array:
    lists = column.combine_chunks()
    known = lists.is_valid().to_numpy(zero_copy_only=False)
    values = np.zeros((len(lists), kind.list_size), kind.value_type.to_pandas_dtype())
    values[known] = lists.flatten().to_numpy(zero_copy_only=False).reshape(-1, kind.list_size)
    filled = pa.FixedSizeListArray.from_arrays(pa.array(values.ravel(), kind.value_type), type=kind)
    return pc.if_else(pa.array(known), filled, pa.scalar(None, kind))
