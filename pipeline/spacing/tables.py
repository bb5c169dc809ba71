"""Tables of the spacing room."""

import pyarrow as pa

from pipeline.actions.tables import EVENT_COLUMNS
from pipeline.tables import TableSpec

SPACING = TableSpec(
    "spacing",
    1,
    pa.schema(
        [
            ("frame", pa.int64()),
            ("t_s", pa.float64()),
            ("shot", pa.int32()),
            ("handler", pa.int32()),  # track, null when unknown
            ("attacked_end", pa.string()),
            ("paint_attack", pa.int16()),  # in the attacked paint, the handler not counted
            ("paint_defence", pa.int16()),
            ("paint_unknown", pa.int16()),  # bodies whose team is unknown
        ]
    ),
)
"""Spacing measures, one row per analysed frame of a possession."""

FAULTS = TableSpec("faults", 2, pa.schema(EVENT_COLUMNS), added=("traits",))
"""Spacing faults found, with their evidence."""
