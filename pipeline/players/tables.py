"""Tables of the players room."""

import pyarrow as pa

from pipeline.tables import TableSpec

BOX_CLASSES = ("player", "official", "ball", "ring")
"""Classes of the detector, in the order of its outputs. ``ring`` is ring, net and board together."""

KIT_LENGTH = 6
"""Jersey L, a, b then shorts L, a, b (CIELAB medians of the box's torso and hip regions)."""

LOOK_LENGTH = 128
"""Shares of sixteen fixed colours in eight stripes from head to shoes (:mod:`pipeline.players.body_looks`)."""

BOXES = TableSpec(
    "boxes",
    2,
    pa.schema(
        [
            ("frame", pa.int64()),
            ("t_s", pa.float64()),
            ("shot", pa.int32()),
            ("class", pa.string()),  # one of BOX_CLASSES
            ("x1_px", pa.float32()),
            ("y1_px", pa.float32()),
            ("x2_px", pa.float32()),
            ("y2_px", pa.float32()),
            ("score", pa.float32()),
            ("kit_lab", pa.list_(pa.float32(), KIT_LENGTH)),  # null for ball and ring
            ("look", pa.list_(pa.uint8(), LOOK_LENGTH)),  # null for ball and ring
            ("stands_across", pa.float32()),  # right of the lower edge's middle, in box heights; null likewise
            ("stands_away_ft", pa.float32()),  # behind the lowest seen point, along the floor; null likewise
        ]
    ),
    added=("look", "stands_across", "stands_away_ft"),
)
"""Everything the detector saw, in coded pixels."""

ROLES = ("player", "official", "other")

TRACKS = TableSpec(
    "tracks",
    1,
    pa.schema(
        [
            ("frame", pa.int64()),
            ("t_s", pa.float64()),
            ("shot", pa.int32()),
            ("track", pa.int32()),  # unique in the film; a track is not a player
            ("role", pa.string()),  # one of ROLES
            ("team", pa.int8()),  # 0 or 1; -1 unknown or official
            ("jersey", pa.string()),  # null when not read
            ("x_ft", pa.float64()),  # court frame, where the feet are
            ("y_ft", pa.float64()),
            ("vx_ft_s", pa.float64()),
            ("vy_ft_s", pa.float64()),
            ("sigma_ft", pa.float32()),
            ("observed", pa.bool_()),  # false: filled in
            ("x1_px", pa.float32()),  # null when filled in
            ("y1_px", pa.float32()),
            ("x2_px", pa.float32()),
            ("y2_px", pa.float32()),
            ("score", pa.float32()),
        ]
    ),
)
"""Who was where, in feet, one row per track and analysed frame."""

NUMBERS_SEEN = TableSpec(
    "numbers_seen",
    1,
    pa.schema(
        [
            ("frame", pa.int64()),
            ("t_s", pa.float64()),
            ("shot", pa.int32()),
            ("x1_px", pa.float32()),  # the body's box as the detector gave it
            ("y1_px", pa.float32()),
            ("x2_px", pa.float32()),
            ("y2_px", pa.float32()),
            ("text", pa.string()),  # "0" to "99", or "00"
            ("score", pa.float32()),  # probability that it is the number worn
        ]
    ),
)
"""Jersey numbers read in single pictures; each may be wrong."""
