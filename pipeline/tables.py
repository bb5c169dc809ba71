"""tables: how every table of the product is declared, checked, written and read.

Each room declares its own tables in its ``tables.py`` as :class:`TableSpec` values. A table is
an Arrow table in memory and one Parquet file on disk, whose metadata carry the table's name and
schema version. Files are written whole to a temporary name and renamed, so a killed process
never leaves half a table.
"""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from pipeline.errors import LibraryError, ShapeError

NAME_KEY = b"elbowroom.table"
VERSION_KEY = b"elbowroom.schema_version"


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
    """

    name: str
    version: int
    schema: pa.Schema

    def empty(self) -> pa.Table:
        """A table of no rows."""
        return self.schema.empty_table()

    def from_columns(self, columns: Mapping[str, Any]) -> pa.Table:
        """Build a table from arrays; every column of the schema must be given, none other."""
        missing = [n for n in self.schema.names if n not in columns]
        extra = [n for n in columns if n not in self.schema.names]
        if missing or extra:
            raise ShapeError(f"Table '{self.name}': missing columns {missing}, unknown columns {extra}.")
        arrays = [pa.array(columns[f.name], type=f.type) for f in self.schema]
        return pa.Table.from_arrays(arrays, schema=self.schema)

    def from_rows(self, rows: Sequence[Mapping[str, Any]]) -> pa.Table:
        """Build a table from a sequence of dicts; a key the schema lacks is refused."""
        for row in rows:
            extra = [n for n in row if n not in self.schema.names]
            if extra:
                raise ShapeError(f"Table '{self.name}': unknown columns {extra}.")
        return pa.Table.from_pylist([dict(r) for r in rows], schema=self.schema)

    def check(self, table: pa.Table) -> pa.Table:
        """Return the table if its columns are this spec's, in any order; else raise ShapeError."""
        wrong = [
            f.name for f in self.schema if f.name not in table.schema.names or table.schema.field(f.name).type != f.type
        ]
        if wrong:
            raise ShapeError(
                f"Table '{self.name}' version {self.version}: columns {wrong} are missing or of another type."
            )
        return table.select(self.schema.names)

    def path(self, folder: Path) -> Path:
        """Where this table lies in a folder of tables."""
        return folder / f"{self.name}.parquet"

    def write(self, table: pa.Table, folder: Path) -> Path:
        """Write the table whole under a temporary name in ``folder``, then rename it."""
        checked = self.check(table).replace_schema_metadata(
            {NAME_KEY: self.name.encode(), VERSION_KEY: str(self.version).encode()}
        )
        folder.mkdir(parents=True, exist_ok=True)
        final = self.path(folder)
        temporary = final.with_suffix(f".{os.getpid()}.tmp")
        pq.write_table(checked, temporary, compression="zstd")
        os.replace(temporary, final)
        return final

    def read(self, folder: Path) -> pa.Table:
        """Read the table from a folder.

        Raises
        ------
        LibraryError
            If the file is missing, is no Parquet file, or holds another table or version.
        """
        path = self.path(folder)
        if not path.is_file():
            raise LibraryError(f"Table '{self.name}' is missing: {path} does not exist; run the film again.")
        try:
            table = pq.read_table(path)
        except (pa.ArrowException, OSError) as error:
            raise LibraryError(
                f"Table file {path} cannot be read ({error}); delete it and run the film again."
            ) from error
        metadata = table.schema.metadata or {}
        found = (metadata.get(NAME_KEY, b"?").decode(), metadata.get(VERSION_KEY, b"?").decode())
        if found != (self.name, str(self.version)):
            raise LibraryError(
                f"{path} holds table {found[0]} version {found[1]}, expected {self.name} version {self.version}; "
                "run the film again."
            )
        return table.select(self.schema.names).replace_schema_metadata(None)
