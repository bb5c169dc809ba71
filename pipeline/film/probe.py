"""What a video file is, before a picture of it is decoded.

:func:`probe` reads every packet's header once (no decoding) and returns a :class:`FilmInfo` with
the exact presentation time of every picture. Time zero is the presentation time of the film's
first decodable picture, that is of its first key picture; sound that starts earlier has negative
times. A file that is no readable film raises :class:`~pipeline.errors.FilmError` with one
sentence that says what was found, where, and what to do.
"""

from __future__ import annotations

import functools
import io
import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from enum import Enum
from fractions import Fraction
from pathlib import Path

import av
import av.error
import numpy as np
from av.stream import Disposition

from pipeline.errors import FilmError
from pipeline.film.settings import DecodeSettings
from pipeline.user_files import sayable

HD_HEIGHT_PX = 720
"""From this height on, untagged film is taken as BT.709, below as BT.601 (ITU-R BT.709-6, BT.601-7)."""

LONGEST_HOLE_STEPS = 3000
"""A longer hole in a transport stream, in pictures, is a splice of two recordings, not damage."""

DROPPED_PICTURES_S = 0.5
"""A recorder that cannot keep up leaves out pictures for at most so long."""

PROBED_PICTURES = 12

READ_BYTES = 1 << 18
"""So much of a film is read at a time."""

RESTART_S = 0.5
RESTART_PICTURES = 10
"""A clock that falls back by more than so much starts again where so many pictures before and after run steadily."""

STILL_FORMATS = frozenset({"image2", "tty", "gif", "apng", "webp_pipe", "webp"})
"""Containers that FFmpeg reads as video though they hold pictures or text."""


class Scan(Enum):
    """How a picture was scanned."""

    PROGRESSIVE = "progressive"
    INTERLACED = "interlaced"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True, eq=False)  # arrays have no plain ==
class FilmInfo:
    """A film's dimensions and the presentation times of all its pictures.

    Attributes
    ----------
    path : Path
        The file.
    container : str
        FFmpeg's name of the container, e.g. ``"mov,mp4,m4a,3gp,3g2,mj2"``.
    codec : str
        FFmpeg's name of the video codec, e.g. ``"h264"``.
    coded_width_px, coded_height_px : int
        Size as coded.
    width_px, height_px : int
        Size of the decoded pictures: square pixels, upright.
    sample_aspect : Fraction
        Width of a coded pixel over its height.
    rotation_deg : int
        Counter-clockwise turn that makes the picture upright: 0, 90, 180 or 270.
    scan : Scan
        From the stream's header. Decoding goes by each picture's own mark.
    time_base : Fraction
        Seconds per tick.
    zero_pts : int
        Presentation timestamp, in ticks, of time zero.
    pts : ndarray of shape (N,), int64
        Presentation timestamps of all pictures in presentation order, ticks; the position is the
        frame index. Read-only.
    duration_s : float
        From time zero to the end of the last picture.
    announced_s : float
        Duration that the container's header announces; NaN when it announces none.
    average_rate : Fraction
        Pictures per second over the whole film: a label, never a clock.
    audio_codec : str or None
        Codec of the first sound track; None without sound.
    """

    path: Path
    container: str
    codec: str
    coded_width_px: int
    coded_height_px: int
    width_px: int
    height_px: int
    sample_aspect: Fraction
    rotation_deg: int
    scan: Scan
    time_base: Fraction
    zero_pts: int
    pts: np.ndarray
    duration_s: float
    announced_s: float
    average_rate: Fraction
    audio_codec: str | None

    @property
    def frames(self) -> int:
        """How many pictures the file holds."""
        return len(self.pts)

    @property
    def times_s(self) -> np.ndarray:
        """Presentation times of all pictures, seconds from time zero, shape (N,)."""
        return (self.pts - self.zero_pts) * float(self.time_base)

    @property
    def missing_tail_s(self) -> float:
        """Seconds between the last picture and the announced end; 0 when nothing is announced."""
        return max(0.0, self.announced_s - self.duration_s) if np.isfinite(self.announced_s) else 0.0

    def seconds(self, pts: int) -> float:
        """Seconds from time zero of a presentation timestamp in ticks."""
        return float((pts - self.zero_pts) * self.time_base)

    def frame_at(self, t_s: float) -> int:
        """Index of the picture on screen at a time: the last one that starts at or before it.

        Before the first picture it is 0.
        """
        position = int(np.searchsorted(self.times_s, t_s + 1e-9, side="right")) - 1
        return max(0, position)


def probe(path: str | os.PathLike[str], settings: DecodeSettings | None = None) -> FilmInfo:
    """Find out what a film file is, and the presentation time of every picture.

    Reads all packet headers once; the answer is remembered for as long as the file's size and
    modification time stay the same.

    Parameters
    ----------
    path : path
        The file. Network addresses are not films.
    settings : DecodeSettings, optional
        Says how much of the announced length may be missing.

    Raises
    ------
    FilmError
        If the file is missing, a folder, empty, not a film, without video, a still picture,
        without presentation times, or cut short by more than the settings allow.
    """
    film = Path(path)
    limits = settings or DecodeSettings()
    info = _read_info(film, *_file_state(film))
    if info.missing_tail_s > limits.largest_missing_tail_s:
        raise FilmError(
            f"{film} announces {info.announced_s:.1f} s of film but its pictures end at {info.duration_s:.1f} s: the "
            "recording or the copy was cut short; copy it again, or raise film.decode.largest_missing_tail_s to "
            "use what is there."
        )
    return info


@contextmanager
def open_film(path: Path) -> Iterator[av.container.InputContainer]:
    """Open a file for reading with FFmpeg, from disk only; trouble becomes a FilmError.

    FFmpeg takes a disk or share that has gone away for the film's end, which would make a damaged film of a good one.
    So the bytes are read here, and what goes wrong with that is told for what it is, at the latest when the film is
    closed; the error's cause is the system's.
    """
    with _opened(path) as reading:
        try:
            with _container(path, reading) as container:
                yield container
        except (FilmError, av.error.FFmpegError):
            reading.must_be_whole()
            raise
        reading.must_be_whole()


class _Reading:
    """A film's bytes for FFmpeg; what goes wrong with reading them is kept, and looks to FFmpeg like the end."""

    def __init__(self, path: Path, stream: io.FileIO) -> None:
        self.name = str(path)
        self._stream = stream
        self._trouble: OSError | None = None

    def read(self, size: int) -> bytes:
        try:
            return self._stream.read(size) or b""
        except OSError as error:
            self._trouble = error
            return b""

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        return self._stream.seek(offset, whence)

    def tell(self) -> int:
        return self._stream.tell()

    def must_be_whole(self) -> None:
        """FilmError if some of the bytes could not be read."""
        if self._trouble is not None:
            raise FilmError(
                f"{self.name} can no longer be read ({self._trouble.strerror}): its disk or share has gone away; "
                "connect it and run the film again, it goes on where it was."
            ) from self._trouble


@contextmanager
def _opened(path: Path) -> Iterator[_Reading]:
    try:
        stream = path.open("rb", buffering=0)
    except PermissionError as error:
        raise FilmError(f"{path} may not be read; check its permissions.") from error
    except OSError as error:
        raise FilmError(f"{path} cannot be opened ({error.strerror}); check the path and the share.") from error
    with stream:
        yield _Reading(path, stream)


def _container(path: Path, reading: _Reading) -> av.container.InputContainer:
    options = {"protocol_whitelist": "file"}
    try:
        return av.open(reading, "r", options=options, metadata_errors="replace", buffer_size=READ_BYTES)
    except (av.error.FFmpegError, ValueError) as error:
        raise FilmError(_why_unreadable(path, error)) from error


def video_stream(container: av.container.InputContainer, path: Path) -> av.VideoStream:
    """The film's picture track; cover art of a sound file does not count.

    Raises
    ------
    FilmError
        If there is none.
    """
    pictures = [s for s in container.streams.video if not s.disposition & Disposition.attached_pic]
    if not pictures:
        sound = " only sound" if container.streams.audio else " no video"
        raise FilmError(f"{path} holds{sound}, no pictures to analyse; choose the file with the video track.")
    if container.format.name in STILL_FORMATS or container.format.name.endswith("_pipe"):
        raise FilmError(
            f"{path} is a still picture or text ({container.format.name}), not a film; "
            "give a video file, or look at single pictures with the command 'look'."
        )
    if not pictures[0].codec_context:
        raise FilmError(f"{path} has video in a codec that cannot be decoded here; convert it to H.264 first.")
    if pictures[0].width <= 0 or pictures[0].height <= 0:
        raise FilmError(f"{path} does not say how large its pictures are: it is damaged; copy or convert it again.")
    return pictures[0]


def _file_state(path: Path) -> tuple[int, int]:
    """Size and modification time, after checking that the path is a file with something in it."""
    refuse_unsayable_name(path)
    try:
        state = path.stat()
    except FileNotFoundError as error:
        raise FilmError(f"{path} does not exist; check the name and the folder.") from error
    except OSError as error:
        raise FilmError(f"{path} cannot be read ({error.strerror}); check the path and its permissions.") from error
    if path.is_dir():
        raise FilmError(f"{path} is a folder, not a film; give the video file in it.")
    if not path.is_file():
        raise FilmError(f"{path} is not a regular file; copy the film to a disk first.")
    if state.st_size == 0:
        raise FilmError(f"{path} is empty (0 bytes); the recording or the copy failed, copy it again.")
    return state.st_size, state.st_mtime_ns


def refuse_unsayable_name(path: Path) -> None:
    """Refuse a path that holds bytes which are no letters: no record, page or log could name it.

    Raises
    ------
    FilmError
        With signs in the place of those bytes.
    """
    if sayable(path) != str(path):
        raise FilmError(f"The name of {sayable(path)} holds bytes that are no letters; rename the file or folder.")


def _why_unreadable(path: Path, error: Exception) -> str:
    if isinstance(error, av.error.InvalidDataError):
        return (
            f"{path} is not a readable film: it is no video file, or its beginning or index is damaged or was never "
            "written because the recording or the copy was cut short; copy it again or convert it."
        )
    what = error.strerror if isinstance(error, av.error.FFmpegError) else str(error)
    return f"{path} cannot be opened as a film ({what}); copy it again or convert it."


@functools.lru_cache(maxsize=64)
def _read_info(path: Path, size: int, mtime_ns: int) -> FilmInfo:  # noqa: ARG001 - the state is the cache's key
    with open_film(path) as container:
        stream = video_stream(container, path)
        context = stream.codec_context
        time_base = Fraction(stream.time_base) if stream.time_base else Fraction(0)
        if time_base <= 0:
            raise FilmError(f"{path} has no time base for its pictures: it is damaged; convert it again.")
        pts, last_duration = _packet_times(container, stream, path)
        sample_aspect = stream.sample_aspect_ratio or context.sample_aspect_ratio or Fraction(1)
        sample_aspect = Fraction(sample_aspect) if 0.1 < float(sample_aspect) < 10 else Fraction(1)
        rotation, decoded = _first_pictures(path, PROBED_PICTURES)
        pts = frame_timestamps(pts, decoded)
        if container.format.name in ("mpegts", "mpeg"):
            pts = with_lost_pictures(pts, 0)
        elif "matroska" in container.format.name:
            pts = with_lost_pictures(pts, round(DROPPED_PICTURES_S / time_base))
        pts.setflags(write=False)
        upright = (max(1, round(stream.width * sample_aspect)), stream.height)
        if rotation in (90, 270):
            upright = upright[::-1]
        steps = np.diff(pts)
        usual_step = float(np.median(steps)) if len(steps) else float(last_duration)
        last_step = last_duration or usual_step
        duration_s = float((int(pts[-1]) - int(pts[0]) + last_step) * time_base)
        pictures_per_s = (
            Fraction(len(steps)) / (Fraction(int(pts[-1]) - int(pts[0])) * time_base) if len(steps) else Fraction(0)
        )
        return FilmInfo(
            path=path,
            container=container.format.name,
            codec=context.name,
            coded_width_px=stream.width,
            coded_height_px=stream.height,
            width_px=upright[0],
            height_px=upright[1],
            sample_aspect=sample_aspect,
            rotation_deg=rotation,
            scan=_scan(context.field_order),
            time_base=time_base,
            zero_pts=int(pts[0]),
            pts=pts,
            duration_s=duration_s,
            announced_s=_announced_s(container, stream, int(pts[0]), time_base),
            average_rate=pictures_per_s.limit_denominator(1001),
            audio_codec=container.streams.audio[0].codec_context.name if _has_audio_decoder(container) else None,
        )


def _has_audio_decoder(container: av.container.InputContainer) -> bool:
    return bool(container.streams.audio) and container.streams.audio[0].codec_context is not None


def _packet_times(container: av.container.InputContainer, stream: av.VideoStream, path: Path) -> tuple[np.ndarray, int]:
    """Presentation timestamps of all pictures from the first key picture on, sorted, and the last one's duration.

    Packets before the first key picture, packets that an edit list hides, and leading pictures that
    refer to something before the first key picture are no pictures of the film.
    """
    shown: list[int] = []
    durations: dict[int, int] = {}
    first_key: int | None = None
    keyless: list[int] = []
    key_seen = False
    undated = 0
    clock: list[int] = []
    try:
        for packet in container.demux(stream):
            if packet.size == 0:
                continue
            if packet.dts is not None:
                clock.append(packet.dts)
            if packet.pts is None:
                undated += 1
                continue
            if packet.is_keyframe and not key_seen:
                key_seen = True
                first_key = None if packet.is_discard else packet.pts
            if packet.is_discard:
                continue
            (shown if key_seen else keyless).append(packet.pts)
            durations[packet.pts] = packet.duration or 0
    except av.error.FFmpegError as error:
        if not shown and not keyless:
            raise FilmError(f"{path} breaks off before its first picture ({error}); copy it again.") from error
    _refuse_two_clocks(np.asarray(clock, dtype=np.int64), Fraction(stream.time_base or 1), path)
    if not key_seen:
        shown = keyless
    if not shown:
        if undated:
            raise FilmError(f"{path} carries no presentation times for its pictures; put it into an MP4 or MKV file.")
        raise FilmError(f"{path} has a video track without a single picture in it; record or copy it again.")
    pts = np.unique(np.asarray(shown, dtype=np.int64))
    if first_key is not None:
        pts = pts[pts >= first_key]
    if len(pts) < 2:
        raise FilmError(f"{path} holds a single picture, not a film; give a video file.")
    return pts, durations.get(int(pts[-1]), 0)


def _refuse_two_clocks(dts: np.ndarray, time_base: Fraction, path: Path) -> None:
    """Refuse a file whose clock starts again on the way: two recordings joined, whose pictures would lie on each other.

    ``dts`` are the packets' times of decoding in the file's order. A single wrong time is damage, not a new clock.
    """
    steps_s = np.diff(dts) * float(time_base)
    steady = (steps_s >= 0) & (steps_s < RESTART_S)
    for place in np.flatnonzero(steps_s < -RESTART_S):
        before, after = steady[max(0, place - RESTART_PICTURES) : place], steady[place + 1 :][:RESTART_PICTURES]
        if len(before) == len(after) == RESTART_PICTURES and before.all() and after.all():
            at_s = float((int(dts[place]) - int(dts[0])) * time_base)
            raise FilmError(
                f"{path} holds two recordings in one: {at_s:.1f} s after its beginning its clock starts again; split "
                "it there, or convert it to MP4."
            )


def _announced_s(
    container: av.container.InputContainer, stream: av.VideoStream, zero_pts: int, time_base: Fraction
) -> float:
    """Where the header says the pictures end, in seconds from time zero; NaN if it does not say."""
    if stream.duration:
        start = stream.start_time if stream.start_time is not None else zero_pts
        return float((start + stream.duration - zero_pts) * time_base)
    if "matroska" in container.format.name and container.duration:
        start_s = (container.start_time or 0) / av.time_base
        end_s = _clock_s(stream.metadata.get("DURATION", "")) or container.duration / av.time_base
        # FFmpeg writes the time at which the track ends, others its length.
        return (end_s if end_s > start_s else start_s + end_s) - float(zero_pts * time_base)
    return float("nan")


def _clock_s(text: str) -> float:
    """Seconds of ``HH:MM:SS.fraction``; 0 for anything else."""
    parts = text.replace("\0", "").split(":")
    try:
        hours, minutes, seconds = (float(part) for part in parts)
    except ValueError:
        return 0.0
    return 3600 * hours + 60 * minutes + seconds


def _first_pictures(path: Path, count: int) -> tuple[int, np.ndarray]:
    """Turn that makes the film upright, and the timestamps of the first decoded pictures."""
    decoded: list[int] = []
    rotation_deg: int | None = None
    with open_film(path) as container:
        stream = video_stream(container, path)
        stream.codec_context.thread_count = 1
        packets = container.demux(stream)
        while len(decoded) < count:
            try:
                pictures = next(packets).decode()
            except StopIteration:
                break
            except av.error.FFmpegError:
                continue  # damage is counted where the film is decoded; here some whole pictures are enough
            for picture in pictures:
                if rotation_deg is None:
                    rotation_deg = int(round(picture.rotation / 90) * 90) % 360
                if picture.pts is not None:
                    decoded.append(picture.pts)
    if rotation_deg is None:
        raise FilmError(
            f"{path} has a video track of which no picture can be decoded: it is damaged; copy it again or convert it."
        )
    return rotation_deg, np.asarray(decoded, dtype=np.int64)


def frame_timestamps(listed: np.ndarray, decoded: np.ndarray) -> np.ndarray:
    """Timestamps of whole pictures where packets hold single fields.

    H.264 may code the two fields of an interlaced picture in two packets; the decoder gives one
    picture with the first field's time.

    Parameters
    ----------
    listed : ndarray of shape (N,), int64
        Timestamps of all packets, sorted.
    decoded : ndarray of shape (M,), int64
        Timestamps of the first pictures out of the decoder.

    Returns
    -------
    ndarray
        Every other timestamp of ``listed`` if exactly every other one was decoded, else ``listed``.
    """
    places = np.searchsorted(listed, np.sort(decoded))
    if len(places) < 4 or places[-1] >= len(listed) or not np.array_equal(listed[places], np.sort(decoded)):
        return listed
    return listed[places[0] % 2 :: 2] if (np.diff(places) == 2).all() else listed


def with_lost_pictures(pts: np.ndarray, borne_ticks: int) -> np.ndarray:
    """Add the pictures that a file without a list of them lost, so that they are counted as missing.

    In a transport stream or a Matroska file what was lost leaves only a hole in the times. In a film
    of constant rate (nine of ten steps alike) a hole of more than one and a half steps and at most
    :data:`LONGEST_HOLE_STEPS` is filled with evenly spaced timestamps.

    Parameters
    ----------
    pts : ndarray of shape (N,), int64
        Sorted timestamps.
    borne_ticks : int
        Holes up to this long are pictures that the recorder dropped, and stay.

    Returns
    -------
    ndarray of shape (N + lost,), int64
    """
    steps = np.diff(pts)
    if len(steps) < 10:
        return pts
    usual = float(np.median(steps))
    if np.mean(np.abs(steps - usual) <= 0.02 * usual + 1) < 0.9:
        return pts
    lost = [
        pts[i] + np.round(np.arange(1, round(steps[i] / usual)) * (steps[i] / round(steps[i] / usual)))
        for i in np.flatnonzero((steps > max(1.5 * usual, borne_ticks)) & (steps <= LONGEST_HOLE_STEPS * usual))
    ]
    return np.sort(np.concatenate([pts, *lost])).astype(np.int64)


def _scan(field_order: int) -> Scan:
    """FFmpeg's AVFieldOrder: 0 unknown, 1 progressive, 2 and more interlaced."""
    if field_order == 1:
        return Scan.PROGRESSIVE
    return Scan.INTERLACED if field_order > 1 else Scan.UNKNOWN
