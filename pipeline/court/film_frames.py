"""The analysed frames of a film while it is being registered, and the motion between them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from pipeline.court.camera import NoCourt
from pipeline.court.fitting import Fit, MarkSet
from pipeline.court.floor_lines import BORDER_NAMES, edge_areas
from pipeline.court.marks import FloorEvidence, marks_by_frame
from pipeline.court.pins import PinnedFrame, miss_px
from pipeline.court.rule_books import RuleBook
from pipeline.court.settings import RegistrationSettings
from pipeline.court.single_view import CourtFit, checked, judge
from pipeline.court.smoothing import Links
from pipeline.court.view_bank import MAP_SIZE

Array = NDArray[np.float64]

_NO_MARKS = MarkSet(np.zeros((0, 2)), np.zeros((0, 2)), np.zeros(0, dtype=np.intp), np.zeros(0))
_EDGE = tuple(BORDER_NAMES.index(name) for name in ("court_edge", "circle_edge"))
NOT_LOOKED_AT = "The floor was not looked at in this frame."


@dataclass(slots=True, eq=False)
class FilmFrame:
    """One analysed frame.

    Attributes
    ----------
    frame, t_s, shot, size_px
        As in the tables.
    marks : MarkSet
        Empty where the floor was not looked at.
    seen : ndarray of uint8, shape (36, 64)
        Label map of the areas; all zero where the floor was not looked at.
    pins : PinnedFrame or None
        What staff pinned on it.
    fit, judged : Fit, CourtFit or None
        The camera so far, from marks or pins, with its own check passed.
    reason : str
        Why there is none.
    carried : ndarray of shape (9,) or None
        A camera from neighbouring frames, where there is no own one.
    carried_sigma_ft : float
        Spread expected of it on the floor.
    whole : FloorEvidence or None
        All that the frame shows, where ``marks`` and ``seen`` are of the court's edge and circle only.
    """

    frame: int
    t_s: float
    shot: int
    size_px: tuple[int, int]
    marks: MarkSet
    seen: NDArray[np.uint8]
    pins: PinnedFrame | None = None
    fit: Fit | None = None
    judged: CourtFit | None = None
    reason: str = NOT_LOOKED_AT
    carried: Array | None = None
    carried_sigma_ft: float = float("nan")
    whole: FloorEvidence | None = None

    def by_edge(self) -> FilmFrame:
        """The frame before any fit, with the marks and areas of the court's edge and centre circle only."""
        kept = self.marks.only(np.isin(self.marks.border, _EDGE))
        whole = FloorEvidence(self.marks, self.seen)
        seen = edge_areas(self.seen)
        return FilmFrame(self.frame, self.t_s, self.shot, self.size_px, kept, seen, self.pins, whole=whole)

    def take(self, fit: Fit, book: RuleBook, settings: RegistrationSettings) -> bool:
        """Keep a fit if it passes its own check; else its reason. Returns whether it passed."""
        judged = judge(fit, book, self.size_px, self.seen, settings.markings)
        if self.pins is not None:  # pins are not weighed against what a network saw
            self.fit, self.reason = fit, ""
            self.judged = replace(judged, quality=1 / (1 + (miss_px(fit) / 2) ** 2))
            return True
        verdict = checked(judged, settings)
        if isinstance(verdict, NoCourt):
            self.fit, self.judged, self.reason = None, None, verdict.reason
            return False
        self.fit, self.judged, self.reason = fit, judged, ""
        return True

    def passes(self, fit: Fit, book: RuleBook, settings: RegistrationSettings) -> bool:
        """Whether a fit passes its own check."""
        return isinstance(checked(judge(fit, book, self.size_px, self.seen, settings.markings), settings), CourtFit)

    def tried(self, settings: RegistrationSettings) -> bool:
        """Whether marks, not pins, were to give a camera and were enough for it."""
        looked_at = self.fit is not None or self.reason != NOT_LOOKED_AT
        return self.pins is None and len(self.marks) >= settings.least_marks and looked_at

    def shows(self, settings: RegistrationSettings) -> bool:
        """Whether enough markings are seen for a fit; if not, the reason is noted."""
        if len(self.marks) >= settings.least_marks:
            return True
        if self.seen.any():
            self.reason = (
                f"Only {len(self.marks)} points of floor markings are seen, {settings.least_marks} are needed."
            )
        return False


def film_frames(
    marks: pa.Table, areas: pa.Table, frames: pa.Table | None, pins: Sequence[PinnedFrame] = ()
) -> list[FilmFrame]:
    """All analysed frames in the order of time: those of ``areas``, and those of ``frames`` that were not looked at."""
    pinned = {one.frame: one for one in pins}
    by_frame = marks_by_frame(marks)
    columns, rows = MAP_SIZE
    found = [
        FilmFrame(
            row["frame"],
            row["t_s"],
            row["shot"],
            (row["width_px"], row["height_px"]),
            by_frame.get(row["frame"], _NO_MARKS),
            np.frombuffer(row["labels"], dtype=np.uint8).reshape(rows, columns),
        )
        for row in areas.to_pylist()
    ]
    if found and frames is not None:
        looked_at = {f.frame for f in found}
        nothing = np.zeros((rows, columns), dtype=np.uint8)
        found += [
            FilmFrame(row["frame"], row["t_s"], row["shot"], found[0].size_px, _NO_MARKS, nothing)
            for row in frames.to_pylist()
            if row["frame"] not in looked_at
        ]
    for frame in found:
        frame.pins = pinned.get(frame.frame)
    return sorted(found, key=lambda f: (f.t_s, f.frame))


def by_shot(frames: Sequence[FilmFrame]) -> dict[int, list[FilmFrame]]:
    """The frames of each shot, in the order of time."""
    shots: dict[int, list[FilmFrame]] = {}
    for frame in frames:
        shots.setdefault(frame.shot, []).append(frame)
    return shots


class MotionBetween:
    """The motion table, by frame.

    Parameters
    ----------
    motion : pa.Table or None
        ``motion`` table; None knows nothing.
    settings : RegistrationSettings
    """

    def __init__(self, motion: pa.Table | None, settings: RegistrationSettings) -> None:
        self._rows = {} if motion is None else {row["frame"]: row for row in motion.to_pylist()}
        self._settings = settings

    def between(self, shot: Sequence[FilmFrame]) -> Links:
        """Links of all neighbours among some frames of one shot that were compared."""
        first, place, spread, moved, sigma = [], [], [], [], []
        for i in range(len(shot) - 1):
            row = self._rows.get(shot[i + 1].frame)
            if row is None or row["frame_before"] != shot[i].frame:
                continue
            width, height = shot[i].size_px
            first.append(i)
            place.append(((row["x_px"] - (width - 1) / 2) / width, (row["y_px"] - (height - 1) / 2) / width))
            spread.append(max(row["spread_px"] / width, 0.02))
            moved.append((row["dx_px"] / width, row["dy_px"] / width, np.log(row["scale"]), row["turn_rad"]))
            miss = np.hypot(
                1.5 * row["residual_px"] / width / np.sqrt(row["inliers"]), self._settings.motion_sigma_share
            )
            sigma.append((miss, miss, miss / spread[-1], miss / spread[-1]))
        return Links(
            np.array(first, dtype=np.intp),
            np.array(place, dtype=np.float64).reshape(-1, 2),
            np.array(spread, dtype=np.float64),
            np.array(moved, dtype=np.float64).reshape(-1, 4),
            np.array(sigma, dtype=np.float64).reshape(-1, 4),
        )
