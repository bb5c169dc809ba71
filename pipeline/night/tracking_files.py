"""Files of tracking data: CSV, Parquet, or a folder with ``tracks.parquet`` and perhaps ``possessions.parquet``."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pcsv
import pyarrow.parquet as pq

from pipeline.errors import TrackingError
from pipeline.players.imported_rows import TEXT, Source
from pipeline.user_files import shown

TRACKS_FILE = "tracks.parquet"
POSSESSIONS_FILE = "possessions.parquet"
OF_POSSESSIONS = ("game", "period")
"""What a folder's list of possessions may add to its tracks, besides the clock."""


def read_tracking(path: Path) -> tuple[pa.Table, Source]:
    """The rows of a file, or of a folder in the form of ``tracks.parquet`` and ``possessions.parquet``.

    Raises
    ------
    TrackingError
        If it is missing, of another kind, or damaged; the text names file and line.
    """
    if path.is_dir():
        return _read_folder(path)
    if not path.is_file():
        raise TrackingError(f"There is no file {path}; check the path.")
    if path.stat().st_size == 0:
        raise TrackingError(f"{path} is empty; export it again.")
    kind = path.suffix.lower()
    if kind in (".parquet", ".pq"):
        return _parquet(path), Source(str(path), 1, "row")
    if kind in (".csv", ".txt", ".tsv"):
        return _csv(path), Source(str(path), 2, "line")
    raise TrackingError(f"{path} is neither CSV nor Parquet by its name; name it .csv or .parquet.")


def _parquet(path: Path) -> pa.Table:
    try:
        return pq.read_table(path)
    except (pa.ArrowException, OSError) as error:
        raise TrackingError(f"{path} is no Parquet file ({_first_line(error)}); export it again.") from error


def _csv(path: Path) -> pa.Table:
    with path.open("rb") as stream:
        head = stream.readline(1 << 16)
    try:
        header = head.decode("utf-8-sig").strip()
    except UnicodeDecodeError as error:
        raise TrackingError(f"{path}, line 1, is no header in UTF-8; export it as CSV in UTF-8.") from error
    separator = next((sign for sign in (",", ";", "\t") if sign in header), ",")
    text = {name: pa.string() for name in TEXT}
    try:
        return pcsv.read_csv(
            path,
            parse_options=pcsv.ParseOptions(delimiter=separator),
            convert_options=pcsv.ConvertOptions(column_types=text, strings_can_be_null=True),
        )
    except pa.ArrowInvalid as error:
        said = _first_line(error).removeprefix("CSV parse error: ").removeprefix("CSV conversion error: ")
        raise TrackingError(
            f"{path} is not well-formed CSV ({said}); every line needs a value for each column of the header, in UTF-8."
        ) from error
    except (pa.ArrowException, OSError) as error:
        raise TrackingError(f"{path} cannot be read ({_first_line(error)}); export it again.") from error


def _read_folder(folder: Path) -> tuple[pa.Table, Source]:
    path = folder / TRACKS_FILE
    if not path.is_file():
        raise TrackingError(f"{folder} holds no {TRACKS_FILE}; give a folder in the documented form, or a file.")
    table, source = _parquet(path), Source(str(path), 1, "row")
    listed = folder / POSSESSIONS_FILE
    if not listed.is_file() or "possession" not in table.schema.names:
        return table, source
    return _with_possessions(table, _parquet(listed), listed), source


def _with_possessions(table: pa.Table, listed: pa.Table, path: Path) -> pa.Table:
    """Game, period and running clock from a list of possessions, laid beside every row of the tracks."""
    if "possession" not in listed.schema.names:
        raise TrackingError(f"{path} has no column 'possession'; it needs the names that {TRACKS_FILE} uses.")
    names = listed["possession"].cast(pa.string())
    if len(pc.unique(names)) != listed.num_rows:
        raise TrackingError(f"{path} lists a possession twice; every one needs one row.")
    at = pc.index_in(table["possession"].cast(pa.string()), value_set=names.combine_chunks())
    for name in OF_POSSESSIONS:
        if name in listed.schema.names and name not in table.schema.names:
            table = table.append_column(name, listed[name].take(at))
    if "clock_start_s" in listed.schema.names and "clock_s" not in table.schema.names:
        start = pc.cast(listed["clock_start_s"].take(at), pa.float64()).to_numpy(zero_copy_only=False)
        times = pc.cast(table["t_s"], pa.float64()).to_numpy(zero_copy_only=False)
        table = table.append_column("clock_s", pa.array(np.maximum(start - times, 0.0)))
    return table


def _first_line(error: Exception) -> str:
    return shown(str(error).strip().splitlines()[0]) if str(error).strip() else type(error).__name__
