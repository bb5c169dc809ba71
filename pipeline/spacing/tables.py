"""Tables of the spacing room."""

import pyarrow as pa

from pipeline.actions.tables import EVENT_COLUMNS
from pipeline.tables import TableSpec

SPACING = TableSpec(
    "spacing",
    2,
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
            ("possession", pa.int32()),
            ("hull_attack_ft2", pa.float32()),  # area round the five; null unless all five are placed
            ("hull_defence_ft2", pa.float32()),
            ("centroid_attack_ft", pa.float32()),  # mean distance of the five to their centroid; null likewise
            ("centroid_defence_ft", pa.float32()),
            ("perimeter_gap_ft", pa.float32()),  # distance to the nearest teammate, mean of the perimeter players
            ("perimeter_least_gap_ft", pa.float32()),  # and the least of them; null where nobody is out there
            ("ball_side", pa.string()),  # "left" or "right" as seen from half court; null when unknown
            ("ball_side_attack", pa.int16()),  # on the ball's side, the handler counted
            ("ball_side_defence", pa.int16()),
        ]
    ),
    added=(
        "possession",
        "hull_attack_ft2",
        "hull_defence_ft2",
        "centroid_attack_ft",
        "centroid_defence_ft",
        "perimeter_gap_ft",
        "perimeter_least_gap_ft",
        "ball_side",
        "ball_side_attack",
        "ball_side_defence",
    ),
)
"""Spacing measures, one row per moment of a possession."""

POSSESSION_MEASURES = TableSpec(
    "possession_measures",
    1,
    pa.schema(
        [
            ("possession", pa.int32()),
            ("shot", pa.int32()),
            ("team", pa.int8()),
            ("attacked_end", pa.string()),
            ("start_s", pa.float64()),
            ("end_s", pa.float64()),
            ("settled_s", pa.float64()),  # start of the half-court phase; null when there was none
            ("placed_share", pa.float32()),  # share of its moments with all ten placed
            ("touches", pa.int16()),
            ("passes", pa.int16()),  # handoffs not counted
            ("handoffs", pa.int16()),
            ("reversals", pa.int16()),
            ("seconds_per_touch_s", pa.float32()),
            ("first_action", pa.string()),  # kind of the first action of the half-court phase
            ("first_action_s", pa.float32()),  # from the start of the half-court phase
            # Means over the half-court phase, the whole possession where there was none; null where never known.
            ("hull_attack_ft2", pa.float32()),
            ("hull_defence_ft2", pa.float32()),
            ("centroid_attack_ft", pa.float32()),
            ("centroid_defence_ft", pa.float32()),
            ("perimeter_gap_ft", pa.float32()),
            ("perimeter_least_gap_ft", pa.float32()),
            ("paint_attack", pa.float32()),
            ("paint_defence", pa.float32()),
            ("paint_most", pa.int16()),  # most bodies in the paint at one moment, the handler not counted
            ("ball_side_attack", pa.float32()),
            ("ball_side_defence", pa.float32()),
        ]
    ),
)
"""Spacing of every possession in one row."""

FAULTS = TableSpec("faults", 2, pa.schema(EVENT_COLUMNS), added=("traits",))
"""Spacing faults found, with their evidence."""
