"""Tables of the ball room."""

import pyarrow as pa

from pipeline.tables import TableSpec

BALL = TableSpec(
    "ball",
    1,
    pa.schema(
        [
            ("frame", pa.int64()),
            ("t_s", pa.float64()),
            ("shot", pa.int32()),
            ("x_px", pa.float32()),
            ("y_px", pa.float32()),
            ("x_ft", pa.float64()),  # floor point under the ball; null when not known
            ("y_ft", pa.float64()),
            ("z_ft", pa.float64()),  # height; null when not known
            ("holder", pa.int32()),  # track, null when nobody holds it or unknown
            ("observed", pa.bool_()),
            ("score", pa.float32()),
        ]
    ),
)
"""Where the ball was, one row per analysed frame in which it is known."""

TOUCH_KINDS = ("hold", "dribble", "pass", "handoff", "shot", "rebound", "loose")

TOUCHES = TableSpec(
    "touches",
    1,
    pa.schema(
        [
            ("touch", pa.int32()),
            ("shot", pa.int32()),
            ("kind", pa.string()),  # one of TOUCH_KINDS
            ("start_s", pa.float64()),
            ("end_s", pa.float64()),
            ("track", pa.int32()),  # holder, passer, shooter or rebounder
            ("to_track", pa.int32()),  # receiver of a pass or handoff; null otherwise
            ("team", pa.int8()),
            ("score", pa.float32()),
        ]
    ),
)
"""Stretches of control and what came between them.

A ``dribble`` lies within a ``hold`` of the same track; it is given only where it is seen.
"""

POSSESSIONS = TableSpec(
    "possessions",
    2,
    pa.schema(
        [
            ("possession", pa.int32()),
            ("shot", pa.int32()),
            ("team", pa.int8()),  # the attacking team
            ("attacked_end", pa.string()),  # "left" or "right"
            ("start_s", pa.float64()),
            ("end_s", pa.float64()),
            ("half_court_s", pa.float64()),  # start of the half-court phase; null when there was none or not known
            ("score", pa.float32()),
        ]
    ),
    added=("half_court_s",),
)
"""Who attacked which ring, and when."""
