"""Tables of the sets room."""

import pyarrow as pa

from pipeline.actions.tables import EVENT_COLUMNS
from pipeline.tables import TableSpec

PHASE = pa.struct(
    [
        ("name", pa.string()),  # as in the set file
        ("found", pa.bool_()),
        ("event", pa.int32()),  # of the actions table; null when not found, or seen otherwise than as an action
        ("start_s", pa.float64()),  # null when not found
        ("end_s", pa.float64()),
    ]
)

SET_CANDIDATES = TableSpec(
    "set_candidates",
    1,
    pa.schema(
        [
            *EVENT_COLUMNS,  # kind is the set's name, actors its roles, measures and traits its points of emphasis
            ("ending", pa.string()),  # name of the ending that was played; null when none was, or the set has none
            ("complete", pa.bool_()),  # every phase that must be there was found
            ("phases", pa.list_(PHASE)),  # in order of the file, the chosen way and its counters only
            ("missing", pa.list_(pa.string())),  # names of the phases that must be there and were not found
        ]
    ),
)
"""Plays of the set library that were found, complete or in part, with the actions that made them."""
