"""Tables of the film room."""

import pyarrow as pa

from pipeline.tables import TableSpec

FRAMES = TableSpec(
    "frames",
    1,
    pa.schema(
        [
            ("frame", pa.int64()),  # index in presentation order, a label only
            ("t_s", pa.float64()),  # presentation time from the start of the file
            ("shot", pa.int32()),
        ]
    ),
)
"""The analysed frames, in order."""

VIEWS = ("main", "replay", "closeup", "crowd", "graphics", "other")
"""What a shot shows. Only ``main`` can be live play."""

TRANSITIONS = ("start", "cut", "wipe", "dissolve")

EVIDENCE = TableSpec(
    "evidence",
    1,
    pa.schema(
        [
            ("frame", pa.int64()),
            ("t_s", pa.float64()),
            ("floor_share", pa.float32()),  # share of the picture that is playing floor; null: not measured
            ("paint_share", pa.float32()),  # share that is paint
            ("people", pa.int16()),  # boxes of players and officials; null: not measured
            ("person_height_share", pa.float32()),  # median box height over picture height; null: nobody
            ("largest_person_share", pa.float32()),  # largest box height over picture height; null: nobody
            ("camera_motion", pa.float32()),  # median flow, picture widths per second; null: no frame before
            ("people_motion", pa.float32()),  # flow of the people against the rest, the same unit
            ("detail", pa.float32()),  # mean gradient, grey levels per pixel of the small picture
            ("thumb", pa.binary()),  # small grey picture as JPEG, on few frames; null on the others
        ]
    ),
)
"""What was seen in each analysed frame that tells live play from the rest; filled by the vision pass."""

SHOTS = TableSpec(
    "shots",
    1,
    pa.schema(
        [
            ("shot", pa.int32()),
            ("start_s", pa.float64()),
            ("end_s", pa.float64()),  # half-open: the next shot starts here
            ("start_frame", pa.int64()),
            ("end_frame", pa.int64()),  # half-open
            ("view", pa.string()),  # one of VIEWS
            ("live", pa.bool_()),  # main court camera in live play
            ("transition_in", pa.string()),  # one of TRANSITIONS
            ("score", pa.float32()),  # confidence in view and live, 0..1
            ("reason", pa.string()),  # one sentence: why live or not
        ]
    ),
)
"""The shots of a film, without gaps or overlaps."""
