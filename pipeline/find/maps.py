"""Map columns of Arrow tables."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc


def one_map(column: pa.ChunkedArray) -> pa.MapArray:
    """A map column in one piece whose entries begin at 0; an empty map where there was none."""
    array = column.combine_chunks()
    if isinstance(array, pa.ChunkedArray):  # a column without rows
        return pa.array([], column.type)
    offsets = np.asarray(array.offsets)
    first, last = int(offsets[0]), int(offsets[-1])
    return pa.MapArray.from_arrays(
        pa.array(offsets - first, pa.int32()), array.keys[first:last], array.items[first:last]
    )


def known_entries(maps: pa.MapArray, known: np.ndarray) -> pa.MapArray:
    """A map with those of its entries whose value is known.

    Parameters
    ----------
    maps : pa.MapArray
        As :func:`one_map` gives it.
    known : ndarray of bool
        For every entry.
    """
    offsets = np.asarray(maps.offsets)
    owner = np.repeat(np.arange(len(maps)), np.diff(offsets))
    kept = np.bincount(owner[known], minlength=len(maps))
    new = pa.array(np.concatenate([[0], np.cumsum(kept)]), pa.int32())
    mask = pa.array(known)
    return pa.MapArray.from_arrays(new, maps.keys.filter(mask), maps.items.filter(mask))


def spread(column: pa.ChunkedArray) -> dict[str, pa.Array]:
    """A map column as one column for every key that occurs, null where a row lacks it."""
    maps = one_map(column)
    coded = pc.dictionary_encode(maps.keys)
    codes = np.asarray(coded.indices)
    if not len(codes):
        return {}
    owner = np.repeat(np.arange(len(maps)), np.diff(np.asarray(maps.offsets)))
    found: dict[str, pa.Array] = {}
    counts = np.bincount(codes, minlength=len(coded.dictionary))
    for code, places in enumerate(np.split(np.argsort(codes, kind="stable"), np.cumsum(counts)[:-1])):
        taken = np.full(len(maps), -1)
        taken[owner[places]] = places
        found[coded.dictionary[code].as_py()] = maps.items.take(pa.array(taken, mask=taken < 0))
    return found
