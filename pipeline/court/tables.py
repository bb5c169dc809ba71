"""Tables of the court room."""

import pyarrow as pa

from pipeline.tables import TableSpec

BORDERS = ("court_edge", "arc_edge", "paint_edge", "circle_edge", "line")
"""What a mark lies on: outer edge of the floor's playing area, border of the three-point area,
of the paint, of the centre circle, or a painted line of unknown name."""

MARKS = TableSpec(
    "marks",
    1,
    pa.schema(
        [
            ("frame", pa.int64()),
            ("t_s", pa.float64()),
            ("shot", pa.int32()),
            ("border", pa.string()),  # one of BORDERS
            ("x_px", pa.float32()),
            ("y_px", pa.float32()),
            ("nx", pa.float32()),  # unit normal of the border in the picture, pointing to the inner area
            ("ny", pa.float32()),
            ("weight", pa.float32()),  # 0..1, sharpness of the border there
        ]
    ),
)
"""Points of the floor's markings seen in each analysed frame, in coded (distorted) pixels."""

CAMERA_STATUS = ("registered", "carried", "unknown")

CAMERAS = TableSpec(
    "cameras",
    1,
    pa.schema(
        [
            ("frame", pa.int64()),
            ("t_s", pa.float64()),
            ("shot", pa.int32()),
            ("status", pa.string()),  # one of CAMERA_STATUS
            ("reason", pa.string()),  # why unknown; empty otherwise
            ("rule_book", pa.string()),
            ("image_to_court", pa.list_(pa.float64(), 9)),  # undistorted px -> court ft, row-major; null if unknown
            ("centre_x_ft", pa.float64()),
            ("centre_y_ft", pa.float64()),
            ("centre_z_ft", pa.float64()),
            ("pan_deg", pa.float64()),
            ("tilt_deg", pa.float64()),
            ("roll_deg", pa.float64()),
            ("focal_px", pa.float64()),
            ("k1", pa.float64()),  # radial term, see court.camera.Lens
            ("width_px", pa.int32()),
            ("height_px", pa.int32()),
            ("residual_px", pa.float32()),
            ("residual_ft", pa.float32()),  # miss of its own markings; of a carried frame, the spread to be expected
            ("quality", pa.float32()),  # 0..1
        ]
    ),
)
"""One row per analysed frame of a main-camera shot. ``registered`` frames explain their own markings or pins,
``carried`` ones have their camera from the frames around them."""

AREAS = TableSpec(
    "areas",
    1,
    pa.schema(
        [
            ("frame", pa.int64()),
            ("t_s", pa.float64()),
            ("shot", pa.int32()),
            ("width_px", pa.int32()),  # of the picture
            ("height_px", pa.int32()),
            ("labels", pa.binary(64 * 36)),  # uint8 row-major, 36 rows of 64 cells over the whole picture:
            # 0 outside, 1 floor, 2 three-point area, 3 paint, 4 centre circle
            ("floor_share", pa.float32()),  # share of the cells that are not outside
            ("sureness", pa.float32()),  # mean weight of the frame's marks, 0..1
        ]
    ),
)
"""Coarse map of the floor areas seen in each analysed frame."""

MOTION = TableSpec(
    "motion",
    1,
    pa.schema(
        [
            ("frame", pa.int64()),
            ("t_s", pa.float64()),
            ("shot", pa.int32()),
            ("frame_before", pa.int64()),  # the analysed frame that it is compared with
            ("t_before_s", pa.float64()),
            ("x_px", pa.float32()),  # middle of the followed points in the earlier frame
            ("y_px", pa.float32()),
            ("dx_px", pa.float32()),  # how far the picture moved there
            ("dy_px", pa.float32()),
            ("scale", pa.float32()),  # how much it grew there
            ("turn_rad", pa.float32()),  # how it turned, clockwise positive
            ("inliers", pa.int32()),  # followed points that agree
            ("spread_px", pa.float32()),  # root mean square distance of those from their middle
            ("residual_px", pa.float32()),  # root mean square miss of those
        ]
    ),
)
"""How the picture moved between neighbouring analysed frames, coded pixels; a pair without enough agreement has no row.
A row whose two frames lie in different shots says nothing."""
