"""Where the camera and everyone were at any film time, between the analysed frames too.

Tables hold analysed frames only, a clip shows all frames: places, boxes and camera angles are
interpolated between two analysed frames of one shot when these are near enough, and are unknown
otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.ball.tables import BALL
from pipeline.court.camera import Camera, NoCourt, camera_from_row
from pipeline.court.tables import CAMERAS
from pipeline.players.tables import TRACKS


@dataclass(frozen=True, slots=True)
class Body:
    """Someone at one moment.

    Attributes
    ----------
    track : int
    role : str
        One of :data:`~pipeline.players.tables.ROLES`.
    team : int
        0 or 1; -1 unknown or official.
    place_ft : tuple of two floats
        Where the feet are, court frame.
    box_px : tuple of four floats, or None
        x1, y1, x2, y2; None when the body was not seen.
    """

    track: int
    role: str
    team: int
    place_ft: tuple[float, float]
    box_px: tuple[float, float, float, float] | None


class Playback:
    """Cameras and bodies of one shot at any time of it.

    Parameters
    ----------
    cameras, tracks : pa.Table
        :data:`~pipeline.court.tables.CAMERAS` and :data:`~pipeline.players.tables.TRACKS` of the film.
    shot : int
        The shot.
    longest_bridge_s : float
        Analysed frames further apart than this are not joined.
    ball : pa.Table, optional
        :data:`~pipeline.ball.tables.BALL` of the film.
    """

    def __init__(
        self, cameras: pa.Table, tracks: pa.Table, shot: int, longest_bridge_s: float, ball: pa.Table | None = None
    ) -> None:
        self._bridge_s = longest_bridge_s
        rows = CAMERAS.check(cameras).filter(pc.field("shot") == shot).sort_by("t_s").to_pylist()
        found = [(row["t_s"], row["rule_book"], camera_from_row(row)) for row in rows]
        self._cameras = [(t_s, camera) for t_s, _, camera in found if not isinstance(camera, NoCourt)]
        self._camera_s = np.array([t_s for t_s, _ in self._cameras])
        names = [name for _, name, camera in found if not isinstance(camera, NoCourt) and name]
        self.rule_book = max(sorted(set(names)), key=names.count) if names else None
        """Rule book that most of the shot's frames were taken for; None without a registered frame."""
        mine = (
            TRACKS.check(tracks)
            .filter(pc.field("shot") == shot)
            .sort_by([("track", "ascending"), ("t_s", "ascending")])
        )
        columns = mine.to_pydict()
        numbers = np.array(columns["track"], dtype=np.int64)
        self._tracks: dict[int, tuple[np.ndarray, np.ndarray, np.ndarray, str, int]] = {}
        for track in np.unique(numbers):
            at = np.flatnonzero(numbers == track)
            pick = slice(int(at[0]), int(at[-1]) + 1)
            places = np.column_stack([columns["x_ft"][pick], columns["y_ft"][pick]]).astype(np.float64)
            boxes = np.array([columns[name][pick] for name in ("x1_px", "y1_px", "x2_px", "y2_px")], dtype=np.float64).T
            self._tracks[int(track)] = (
                np.array(columns["t_s"][pick]),
                places,
                boxes,
                columns["role"][pick.start],
                int(columns["team"][pick.start]),
            )

        self._ball_s = np.zeros(0)
        self._holders: list[int] = []
        self._ball = np.zeros((0, 4))
        if ball is not None:
            seen = BALL.check(ball).filter(pc.field("shot") == shot).sort_by("t_s").to_pydict()
            columns_of_ball = ("x_px", "y_px", "x_ft", "y_ft")
            self._ball_s = np.array(seen["t_s"], dtype=np.float64)
            self._holders = [-1 if holder is None else holder for holder in seen["holder"]]
            self._ball = np.array([seen[name] for name in columns_of_ball], dtype=np.float64).T.reshape(-1, 4)

    def camera(self, t_s: float) -> Camera | None:
        """The camera at a time, or None where it is not known."""
        pair = _neighbours(self._camera_s, t_s, self._bridge_s)
        if pair is None:
            return None
        before, after, share = pair
        one, other = self._cameras[before][1], self._cameras[after][1]
        if share == 0:
            return one
        return replace(
            one,
            centre_ft=(1 - share) * one.centre_ft + share * other.centre_ft,
            **{
                name: (1 - share) * getattr(one, name) + share * getattr(other, name)
                for name in ("pan_deg", "tilt_deg", "roll_deg", "focal_px")
            },
        )

    def ball_px(self, t_s: float) -> tuple[float, float] | None:
        """Where the ball is in the picture at a time, or None."""
        return self._ball_at(t_s, slice(0, 2))

    def ball_ft(self, t_s: float) -> tuple[float, float] | None:
        """The floor point under the ball at a time, or None."""
        return self._ball_at(t_s, slice(2, 4))

    def holder(self, t_s: float) -> int:
        """The track that has the ball at a time; -1 for nobody, or where it is not known."""
        pair = _neighbours(self._ball_s, t_s, self._bridge_s)
        return -1 if pair is None else self._holders[pair[0] if pair[2] < 0.5 else pair[1]]

    def _ball_at(self, t_s: float, columns: slice) -> tuple[float, float] | None:
        pair = _neighbours(self._ball_s, t_s, self._bridge_s)
        if pair is None:
            return None
        before, after, share = pair
        x, y = ((1 - share) * self._ball[before] + share * self._ball[after])[columns]
        return (float(x), float(y)) if np.isfinite([x, y]).all() else None

    def way(self, track: int, start_s: float, end_s: float, every_s: float = 0.1) -> np.ndarray:
        """Where a track went, (N, 2) ft, court frame, at even times and at the end; NaN where it is not known."""
        if track not in self._tracks or end_s <= start_s:
            return np.zeros((0, 2))
        times, places, *_ = self._tracks[track]
        at = np.append(np.arange(start_s, end_s, every_s), end_s)
        after = np.clip(np.searchsorted(times, at), 1, max(1, len(times) - 1))
        if len(times) < 2:
            return np.full((len(at), 2), np.nan)
        known = (at >= times[after - 1] - 1e-9) & (at <= times[after] + 1e-9)
        known &= times[after] - times[after - 1] <= self._bridge_s
        way = np.column_stack([np.interp(at, times, places[:, axis]) for axis in (0, 1)])
        way[~known] = np.nan
        return way

    def bodies(self, t_s: float) -> tuple[Body, ...]:
        """Everyone whose place is known at a time, by track."""
        found = []
        for track, (times, places, boxes, role, team) in self._tracks.items():
            pair = _neighbours(times, t_s, self._bridge_s)
            if pair is None:
                continue
            before, after, share = pair
            place = (1 - share) * places[before] + share * places[after]
            box = (1 - share) * boxes[before] + share * boxes[after]
            if np.isfinite(place).all():
                seen = (float(box[0]), float(box[1]), float(box[2]), float(box[3])) if np.isfinite(box).all() else None
                found.append(Body(track, role, team, (float(place[0]), float(place[1])), seen))
        return tuple(found)


def _neighbours(times: np.ndarray, t_s: float, bridge_s: float) -> tuple[int, int, float] | None:
    """The two moments around a time and how far between them it lies; None if none is near enough.

    Where two moments are too far apart to be joined, and before the first and after the last, a moment
    stands for the times up to half a bridge away.
    """
    if not len(times):
        return None
    after = int(np.searchsorted(times, t_s))
    if after < len(times) and times[after] == t_s:
        return after, after, 0.0
    if 0 < after < len(times) and times[after] - times[after - 1] <= bridge_s:
        return after - 1, after, float((t_s - times[after - 1]) / (times[after] - times[after - 1]))
    nearest = min((n for n in (after - 1, after) if 0 <= n < len(times)), key=lambda n: abs(times[n] - t_s))
    return (nearest, nearest, 0.0) if abs(times[nearest] - t_s) <= bridge_s / 2 else None
