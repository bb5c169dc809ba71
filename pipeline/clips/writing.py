"""An MP4 from parts: pictures with times, and the sound beside them.

The file is written under a temporary name and then renamed, so a killed run leaves no half film behind; what such a
run left under its temporary name goes with the next one.
"""

from __future__ import annotations

import io
import math
import os
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import av
import av.error
import numpy as np
from av.video.reformatter import ColorRange, Colorspace, Interpolation
from PIL import Image

from pipeline import whole_files
from pipeline.clips.settings import ClipSettings
from pipeline.errors import ExportError, FilmError
from pipeline.film.probe import HD_HEIGHT_PX

TICKS_PER_S = 90_000
SOUND_RATE = 48_000
SOUND_CHUNK = 1024

Timed = tuple[float, np.ndarray]
"""A picture, (H, W, 3) uint8 BGR, and when it comes on screen, seconds."""

Progress = Callable[[float, float], None]
"""Called with seconds done and seconds in all."""


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """A stretch of a film that is being made.

    Attributes
    ----------
    length_s : float
    pictures : iterable of (seconds from the part's start, picture)
        In order of time; the last one stands until the part's end.
    sound : ndarray of shape (2, samples), float32, or None
        At :data:`SOUND_RATE`, cut or filled with silence to the part's length; None is silence.
    """

    length_s: float
    pictures: Iterable[Timed]
    sound: np.ndarray | None = None


@dataclass(frozen=True, slots=True)
class Shape:
    """Size of the pictures, and how many a second there are (a label: every picture has its own time).

    Attributes
    ----------
    width_px, height_px : int
        Odd sizes are written one pixel larger: H.264 with halved colour planes has even ones only.
    rate : Fraction
    has_sound : bool
        Whether the film gets a sound track.
    """

    width_px: int
    height_px: int
    rate: Fraction
    has_sound: bool


def write_film(
    out: Path, parts: Iterable[Part], shape: Shape, settings: ClipSettings, heard: Callable[[float], None] | None = None
) -> tuple[float, int]:
    """Write parts one after the other as H.264 with AAC sound.

    Parameters
    ----------
    out : Path
        Its folder is made when needed.
    parts : iterable of Part
        Taken one by one, as they are written.
    shape : Shape
    settings : ClipSettings
    heard : callable, optional
        Told after every picture how many seconds of the film are written.

    Returns
    -------
    length_s, pictures

    Raises
    ------
    FilmError
        If the file cannot be written.
    """
    make_folder(out)
    _clear_left_behind(out)
    temporary = out.with_name(f".{out.stem}.{os.getpid()}.tmp.mp4")
    try:
        with av.open(str(temporary), "w", format="mp4", options={"movflags": "faststart"}) as container:
            stream = _add_pictures(container, shape, settings)
            sound = _SoundTrack(container) if shape.has_sound else None
            start_s, written = 0.0, 0
            for part in parts:
                if sound is not None:
                    sound.add(part.sound, start_s, part.length_s)
                for at_s, picture in part.pictures:
                    container.mux(stream.encode(_encodable(picture, start_s + at_s, stream)))
                    written += 1
                    if sound is not None:
                        sound.write_until(start_s + at_s)
                    if heard is not None:
                        heard(start_s + at_s)
                start_s += part.length_s
            container.mux(stream.encode(None))
            if sound is not None:
                sound.write_until(math.inf)
        os.replace(temporary, out)
    except (OSError, av.error.FFmpegError) as error:
        raise FilmError(f"{out} cannot be written ({error}); check the folder and the space on disk.") from error
    finally:
        temporary.unlink(missing_ok=True)
    return start_s, written


def make_folder(out: Path) -> None:
    """Make the folder of a file that is going to be written; FilmError when that cannot be."""
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise FilmError(f"The folder {out.parent} cannot be made ({error.strerror}); choose another one.") from error


def write_whole(data: bytes, out: Path) -> None:
    """Write a file under a temporary name and rename it, its folder made when needed.

    Raises
    ------
    ExportError, FilmError
        If the file or its folder cannot be written.
    """
    make_folder(out)
    try:
        whole_files.write_whole(out, data)
    except OSError as error:
        raise ExportError(f"{out} cannot be written ({error.strerror}); check the folder.") from error


def png_bytes(image: Image.Image) -> bytes:
    """A picture as the bytes of a PNG."""
    sink = io.BytesIO()
    image.save(sink, "PNG", optimize=True)
    return sink.getvalue()


def at_rate(part: Part, rate: Fraction) -> Part:
    """The same part with pictures at even distances, a whole number of them; each shows what is on screen then."""
    count = max(1, round(part.length_s * rate))
    return Part(float(count / rate), _even(part.pictures, count, rate), part.sound)


def _even(pictures: Iterable[Timed], count: int, rate: Fraction) -> Iterator[Timed]:
    coming = iter(pictures)
    following = next(coming, None)
    if following is None:
        return
    shown = following[1]
    for number in range(count):
        at_s = float(number / rate)
        while following is not None and following[0] <= at_s + 1e-4:
            shown, following = following[1], next(coming, None)
        yield at_s, shown


def _clear_left_behind(out: Path) -> None:
    """Take away what killed runs left of this file under their temporary names."""
    for path in out.parent.glob(f".{_literal(out.stem)}.*.tmp.mp4"):
        pid = path.name.removesuffix(".tmp.mp4").rpartition(".")[2]
        if pid.isdigit() and int(pid) != os.getpid() and not _alive(int(pid)):
            path.unlink(missing_ok=True)


def _literal(name: str) -> str:
    return "".join(f"[{letter}]" if letter in "*?[" else letter for letter in name)


def _alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True


def _add_pictures(container: av.container.OutputContainer, shape: Shape, settings: ClipSettings) -> av.VideoStream:
    stream = container.add_stream(
        "libx264",
        rate=max(Fraction(1), shape.rate),
        options={"crf": str(settings.quality), "preset": settings.speed},
    )
    stream.width, stream.height = shape.width_px + shape.width_px % 2, shape.height_px + shape.height_px % 2
    stream.pix_fmt = "yuv420p"
    stream.codec_context.time_base = Fraction(1, TICKS_PER_S)
    stream.codec_context.color_range = ColorRange.MPEG
    # ITU-T H.273: 1 is BT.709, 6 is BT.601 with 525 lines.
    for name in ("color_primaries", "color_trc", "colorspace"):
        setattr(stream.codec_context, name, 1 if stream.height >= HD_HEIGHT_PX else 6)
    return stream


def _encodable(picture: np.ndarray, at_s: float, stream: av.VideoStream) -> av.VideoFrame:
    """A picture in the encoder's colours and even size, with its time."""
    below, right = stream.height - picture.shape[0], stream.width - picture.shape[1]
    even = np.pad(picture, ((0, below), (0, right), (0, 0)), mode="edge") if below or right else picture
    frame = av.VideoFrame.from_ndarray(np.ascontiguousarray(even), format="bgr24").reformat(
        format="yuv420p",
        dst_colorspace=Colorspace.ITU709 if stream.height >= HD_HEIGHT_PX else Colorspace.ITU601,
        dst_color_range=ColorRange.MPEG,
        interpolation=Interpolation.BICUBIC | Interpolation.ACCURATE_RND,
    )
    frame.pts, frame.time_base = round(at_s * TICKS_PER_S), Fraction(1, TICKS_PER_S)
    return frame


class _SoundTrack:
    """Writes sound beside the pictures, so that both lie next to each other in the file."""

    def __init__(self, container: av.container.OutputContainer) -> None:
        self._container = container
        self._stream = container.add_stream("aac", rate=SOUND_RATE)
        self._stream.layout = "stereo"
        self._waiting = np.zeros((2, 0), dtype=np.float32)
        self._written = 0
        self._added = 0

    def add(self, samples: np.ndarray | None, start_s: float, length_s: float) -> None:
        """Put a part's sound behind what there is, cut or filled to the part's length."""
        count = max(0, round((start_s + length_s) * SOUND_RATE) - self._added)
        own = np.zeros((2, count), dtype=np.float32)
        if samples is not None:
            own[:, : min(count, samples.shape[1])] = samples[:, :count]
        self._waiting = np.concatenate([self._waiting, own], axis=1)
        self._added += count

    def write_until(self, at_s: float) -> None:
        """Write what sounds before a time of the film; all the rest and the end for infinity."""
        to_the_end = math.isinf(at_s)
        stop = self._added if to_the_end else min(round(at_s * SOUND_RATE), self._added)
        place = 0
        while self._written < stop and (self._written + SOUND_CHUNK <= stop or to_the_end):
            chunk = np.ascontiguousarray(self._waiting[:, place : place + SOUND_CHUNK])
            frame = av.AudioFrame.from_ndarray(chunk, format="fltp", layout="stereo")
            frame.sample_rate, frame.pts, frame.time_base = SOUND_RATE, self._written, Fraction(1, SOUND_RATE)
            self._container.mux(self._stream.encode(frame))
            self._written += chunk.shape[1]
            place += chunk.shape[1]
        self._waiting = self._waiting[:, place:]
        if to_the_end:
            self._container.mux(self._stream.encode(None))
