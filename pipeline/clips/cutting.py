"""Cut a stretch out of a film, draw on it, and write it as an MP4 with its sound.

Frames keep their exact distances in time, whatever the film's rate; a moment can be held still, the
sound is silent meanwhile. The file is written under a temporary name and then renamed, so a killed run
leaves no half clip behind.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Protocol

import av
import av.error
import numpy as np
from av.video.reformatter import ColorRange, Colorspace, Interpolation

from pipeline.clips.settings import ClipSettings
from pipeline.errors import FilmError
from pipeline.film.decode import Frame, decode
from pipeline.film.probe import HD_HEIGHT_PX, FilmInfo, open_film, probe
from pipeline.film.settings import DecodeSettings

TICKS_PER_S = 90_000
SOUND_RATE = 48_000
SOUND_CHUNK = 1024

Progress = Callable[[float, float], None]
"""Called with seconds done and seconds in all."""


class Drawing(Protocol):
    """Draws on the frames of a clip."""

    def draw(self, frame: Frame) -> np.ndarray:
        """The frame as it is shown while the film runs, (H, W, 3) uint8 BGR; may be ``frame.image`` itself."""

    def hold(self, frame: Frame) -> np.ndarray:
        """The frame as it is shown while it is held still."""


class Plain:
    """Draws nothing."""

    def draw(self, frame: Frame) -> np.ndarray:
        """The frame as it is."""
        return frame.image

    def hold(self, frame: Frame) -> np.ndarray:
        """The frame as it is."""
        return frame.image


@dataclass(frozen=True, slots=True)
class Freeze:
    """A moment that is held.

    Attributes
    ----------
    t_s : float
        Film time; the first frame at or after it is held.
    length_s : float
        For how long.
    """

    t_s: float
    length_s: float


@dataclass(frozen=True, slots=True)
class Clip:
    """A clip that was written.

    Attributes
    ----------
    path : Path
    start_s, end_s : float
        Film time of its first frame and of its end.
    length_s : float
        Its own length, freezes included.
    frames : int
        Pictures written.
    has_sound : bool
    """

    path: Path
    start_s: float
    end_s: float
    length_s: float
    frames: int
    has_sound: bool


def cut_clip(
    film: Path,
    start_s: float,
    end_s: float,
    out: Path,
    drawing: Drawing | None = None,
    *,
    freezes: tuple[Freeze, ...] = (),
    settings: ClipSettings | None = None,
    decoding: DecodeSettings | None = None,
    progress: Progress | None = None,
) -> Clip:
    """Write a stretch of a film as H.264 MP4, drawn on.

    Parameters
    ----------
    film : Path
    start_s, end_s : float
        Half-open stretch of film time, exact to the frame.
    out : Path
        File to write; its folder is made when needed.
    drawing : Drawing, optional
        Nothing is drawn without it.
    freezes : tuple of Freeze
        Moments to hold, in order of time.
    settings, decoding : optional
    progress : callable, optional

    Raises
    ------
    FilmError
        If the film cannot be read, has no picture in the stretch, or the clip cannot be written.
    """
    chosen = settings or ClipSettings()
    info = probe(film, decoding)
    times = info.times_s
    inside = times[(times >= start_s - 1e-6) & (times < end_s - 1e-6)]
    if not len(inside):
        raise FilmError(
            f"{film} has no picture between {start_s:.2f} s and {end_s:.2f} s (it lasts {info.duration_s:.2f} s); "
            "choose another stretch."
        )
    first_s, last_s = float(inside[0]), min(end_s, info.duration_s)
    held = tuple(
        Freeze(float(inside[place]), f.length_s)
        for f in sorted(freezes, key=lambda f: f.t_s)
        if f.length_s > 0 and (place := int(np.searchsorted(inside, f.t_s - 1e-6))) < len(inside)
    )
    temporary = out.with_name(f".{out.stem}.{os.getpid()}.tmp.mp4")
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise FilmError(f"The folder {out.parent} cannot be made ({error.strerror}); choose another one.") from error
    try:
        with av.open(str(temporary), "w", options={"movflags": "faststart"}) as container:
            stream = _add_pictures(container, info, chosen)
            sound = _SoundTrack(container, _sound(info, first_s, last_s, held)) if info.audio_codec else None
            frames = decode(film, start_s=start_s, end_s=end_s, settings=decoding)
            written = 0
            for at_s, picture in _shown(frames, drawing or Plain(), held, first_s):
                container.mux(stream.encode(_encodable(picture, at_s, stream)))
                written += 1
                if sound is not None:
                    sound.write_until(at_s)
                if progress is not None:
                    progress(min(at_s, last_s - first_s), last_s - first_s)
            container.mux(stream.encode(None))
            if sound is not None:
                sound.write_until(math.inf)
        os.replace(temporary, out)
    except (OSError, av.error.FFmpegError) as error:
        raise FilmError(
            f"The clip {out} cannot be written ({error}); check the folder and the space on disk."
        ) from error
    finally:
        temporary.unlink(missing_ok=True)
    length_s = last_s - first_s + sum(f.length_s for f in held)
    return Clip(out, first_s, last_s, length_s, written, sound is not None)


def _shown(
    frames: Iterator[Frame], drawing: Drawing, freezes: tuple[Freeze, ...], first_s: float
) -> Iterator[tuple[float, np.ndarray]]:
    """Pictures with the clip's own times; a held frame comes again and again for as long as it is held."""
    waiting = list(freezes)
    held_s = 0.0
    for frame in frames:
        at_s = frame.t_s - first_s + held_s
        if waiting and frame.t_s >= waiting[0].t_s - 1e-6:
            freeze = waiting.pop(0)
            held = drawing.hold(frame)
            steps = max(1, math.ceil(freeze.length_s * 10))
            for step in range(steps):  # repeated, so that players that dislike long frames keep in time
                yield at_s + step * freeze.length_s / steps, held
            held_s += freeze.length_s
            at_s += freeze.length_s
        yield at_s, drawing.draw(frame)


def _add_pictures(container: av.container.OutputContainer, info: FilmInfo, settings: ClipSettings) -> av.VideoStream:
    stream = container.add_stream(
        "libx264",
        rate=max(Fraction(1), info.average_rate),
        options={"crf": str(settings.quality), "preset": settings.speed},
    )
    stream.width, stream.height = info.width_px + info.width_px % 2, info.height_px + info.height_px % 2
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

    def __init__(self, container: av.container.OutputContainer, samples: np.ndarray) -> None:
        self._container = container
        self._samples = samples
        self._stream = container.add_stream("aac", rate=SOUND_RATE)
        self._stream.layout = "stereo"
        self._written = 0

    def write_until(self, at_s: float) -> None:
        """Write what sounds before a time of the clip; all the rest and the end for infinity."""
        stop = self._samples.shape[1] if math.isinf(at_s) else min(round(at_s * SOUND_RATE), self._samples.shape[1])
        while self._written < stop and (self._written + SOUND_CHUNK <= stop or math.isinf(at_s)):
            chunk = np.ascontiguousarray(self._samples[:, self._written : self._written + SOUND_CHUNK])
            frame = av.AudioFrame.from_ndarray(chunk, format="fltp", layout="stereo")
            frame.sample_rate, frame.pts, frame.time_base = SOUND_RATE, self._written, Fraction(1, SOUND_RATE)
            self._container.mux(self._stream.encode(frame))
            self._written += chunk.shape[1]
        if math.isinf(at_s):
            self._container.mux(self._stream.encode(None))


def _sound(info: FilmInfo, start_s: float, end_s: float, freezes: tuple[Freeze, ...]) -> np.ndarray:
    """The film's sound between two times, silence where there is none, (2, samples) float32."""
    samples = np.zeros((2, max(0, round((end_s - start_s) * SOUND_RATE))), dtype=np.float32)
    zero_s = float(info.zero_pts * info.time_base)
    with open_film(info.path) as container:
        stream = container.streams.audio[0]
        resampler = av.AudioResampler(format="fltp", layout="stereo", rate=SOUND_RATE)
        if stream.time_base is not None:
            container.seek(max(0, round((start_s + zero_s - 0.5) / float(stream.time_base))), stream=stream)
        for packet in container.demux(stream):
            try:
                frames = packet.decode()
            except av.error.FFmpegError:
                continue  # a damaged packet of sound is a moment of silence
            for frame in frames:
                if frame.time is None:
                    continue
                at = round((frame.time - zero_s - start_s) * SOUND_RATE)
                if at >= samples.shape[1]:
                    return _with_silence(samples, start_s, freezes)
                frame.pts = None  # the place is kept here; the resampler need not
                for part in resampler.resample(frame):
                    at = _place(samples, part.to_ndarray(), at)
    return _with_silence(samples, start_s, freezes)


def _place(samples: np.ndarray, part: np.ndarray, at: int) -> int:
    """Copy a piece of sound to its place, as far as it lies inside; returns where it ends."""
    begin, end = max(0, at), min(samples.shape[1], at + part.shape[1])
    if begin < end:
        samples[:, begin:end] = part[:, begin - at : end - at]
    return at + part.shape[1]


def _with_silence(samples: np.ndarray, start_s: float, freezes: tuple[Freeze, ...]) -> np.ndarray:
    for freeze in sorted(freezes, key=lambda f: -f.t_s):
        place = round((freeze.t_s - start_s) * SOUND_RATE)
        if 0 <= place <= samples.shape[1]:
            silence = np.zeros((2, round(freeze.length_s * SOUND_RATE)), dtype=np.float32)
            samples = np.concatenate([samples[:, :place], silence, samples[:, place:]], axis=1)
    return samples
