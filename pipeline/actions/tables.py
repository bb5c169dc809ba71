"""Tables of the actions room. Faults and set candidates have the same columns."""

import pyarrow as pa

from pipeline.tables import TableSpec

EVENT_COLUMNS = [
    ("event", pa.int32()),  # unique in its table
    ("kind", pa.string()),  # e.g. "drive", "on_ball_screen", "crowded_paint"
    ("shot", pa.int32()),
    ("possession", pa.int32()),  # null when unknown
    ("start_s", pa.float64()),
    ("end_s", pa.float64()),
    ("t_s", pa.float64()),  # the moment of it
    ("actors", pa.list_(pa.struct([("role", pa.string()), ("track", pa.int32())]))),
    ("x_ft", pa.float64()),  # place of it, court frame
    ("y_ft", pa.float64()),
    ("attacked_end", pa.string()),  # "left" or "right"
    ("measures", pa.map_(pa.string(), pa.float64())),  # every quantity the rule used, units in the name
    ("traits", pa.map_(pa.string(), pa.string())),  # what is said of it in words; "unknown" where it could not be seen
    ("score", pa.float32()),  # 0..1, see the recogniser's docstring
]

ACTIONS = TableSpec("actions", 2, pa.schema(EVENT_COLUMNS), added=("traits",))
"""Recognised actions with their evidence."""
