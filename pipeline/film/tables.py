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

BUG_FIELDS = ("clock", "period", "shot_clock", "score_a", "score_b", "bug")
"""Fields of a score graphic. ``bug`` is no text: its score says how much of the graphic is in the picture, 0..1."""

BUG_READINGS = TableSpec(
    "bug_readings",
    1,
    pa.schema(
        [
            ("frame", pa.int64()),
            ("t_s", pa.float64()),
            ("field", pa.string()),  # one of BUG_FIELDS
            ("text", pa.string()),  # as read; empty where nothing is
            ("score", pa.float32()),  # how sure, 0..1
        ]
    ),
)
"""The score graphic's fields as read from the picture, a few times a second; filled by the vision pass."""

CLOCK_STATUS = ("read", "carried", "hidden")
"""``read``: the clock was read about then; ``carried``: it follows from readings around; ``hidden``: unknown."""

CLOCK = TableSpec(
    "clock",
    1,
    pa.schema(
        [
            ("frame", pa.int64()),
            ("t_s", pa.float64()),
            ("period", pa.int8()),  # quarter, or half where halves are played; null: unknown
            (
                "game_clock_s",
                pa.float32(),
            ),  # as shown: time left, or time played on a clock that counts up; null: unknown
            ("shot_clock_s", pa.float32()),  # time left; null: unknown or off
            ("running", pa.bool_()),  # null: unknown
            ("status", pa.string()),  # one of CLOCK_STATUS, of the game clock
        ]
    ),
)
"""The game's time at every analysed frame."""
