"""How odd films are written: FFmpeg through PyAV, with damage done to the bytes afterwards.

Each function here writes a film to a path from pictures, (180, 320, 3) uint8 BGR, or gives a function that does.
"""

from __future__ import annotations

import os
import zipfile
from collections.abc import Callable, Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import cv2
import numpy as np

from pipeline.sim.priority import same_priority

RATE = Fraction(25)
COUNT = 50
"""Pictures of each film: two seconds."""

SIZE_PX = (320, 180)


Make = Callable[[Path, Sequence[np.ndarray]], None]


def write_video(
    path: Path,
    pictures: Sequence[np.ndarray],
    *,
    codec: str = "libx264",
    rate: Fraction = RATE,
    pixels: str = "yuv420p",
    options: dict[str, str] | None = None,
    container_options: dict[str, str] | None = None,
    container_format: str | None = None,
    size_px: tuple[int, int] | None = None,
    aspect: Fraction | None = None,
    turn_deg: int = 0,
    ticks: Sequence[int] | None = None,
    interlaced: str = "",
    sound_s: Sequence[float] = (),
    sound_codec: str = "aac",
    second_video: bool = False,
    timecode: str = "",
) -> None:
    """Encode pictures, with whatever is odd about them; ``ticks`` are presentation times in 1/1000 s."""
    base = 1 / rate if ticks is None else Fraction(1, 1000)
    with (
        same_priority(),
        av.open(str(path), "w", format=container_format, options=container_options or {}) as container,
    ):
        stream: Any = container.add_stream(codec, rate=rate, options=options or {})
        shaped = [_sized(picture, size_px) for picture in pictures]
        stream.width, stream.height = shaped[0].shape[1], shaped[0].shape[0]
        stream.pix_fmt = pixels
        if timecode:
            stream.metadata["timecode"] = timecode
        if ticks is not None:
            stream.codec_context.time_base = base
        if aspect is not None:
            stream.codec_context.sample_aspect_ratio = aspect
        if turn_deg:
            stream.set_display_rotation(turn_deg)
        if interlaced:
            stream.codec_context.flags |= av.codec.context.Flags.interlaced_dct
        other: Any = container.add_stream("libx264", rate=rate) if second_video else None
        if other is not None:
            other.width, other.height, other.pix_fmt = 96, 54, "yuv420p"
        sounds: list[Any] = [container.add_stream(sound_codec, rate=48000) for _ in sound_s]
        for number, picture in enumerate(shaped):
            frame = av.VideoFrame.from_ndarray(picture, format="bgr24")
            frame.pts, frame.time_base = (number if ticks is None else ticks[number]), base
            container.mux(stream.encode(frame))
            if other is not None:
                small = av.VideoFrame.from_ndarray(_sized(picture, (96, 54)), format="bgr24")
                small.pts, small.time_base = number, 1 / rate
                container.mux(other.encode(small))
        container.mux(stream.encode(None))
        if other is not None:
            container.mux(other.encode(None))
        for sound, length_s in zip(sounds, sound_s, strict=True):
            _tone(container, sound, length_s)


def _sized(picture: np.ndarray, size_px: tuple[int, int] | None) -> np.ndarray:
    return picture if size_px is None else cv2.resize(picture, size_px, interpolation=cv2.INTER_LINEAR)


def _tone(container: Any, stream: Any, length_s: float) -> None:
    samples = np.arange(round(48000 * length_s))
    tone = (0.2 * np.sin(2 * np.pi * 440 * samples / 48000)).astype(np.float32)
    for start in range(0, len(tone), 1024):
        frame = av.AudioFrame.from_ndarray(tone[None, start : start + 1024], format="fltp", layout="mono")
        frame.sample_rate, frame.pts, frame.time_base = 48000, start, Fraction(1, 48000)
        container.mux(stream.encode(frame))
    container.mux(stream.encode(None))


def video(**how: Any) -> Make:
    return lambda path, pictures: write_video(path, pictures, **how)


def just_bytes(data: bytes) -> Make:
    def make(path: Path, _pictures: Sequence[np.ndarray]) -> None:
        path.write_bytes(data)

    return make


def cut(share: float, *, repeats: int = 5, **how: Any) -> Make:
    """A film of so many times the pictures, of which a share of the bytes is there."""

    def make(path: Path, pictures: Sequence[np.ndarray]) -> None:
        write_video(path, [*pictures] * repeats, **how)
        whole = path.read_bytes()
        path.write_bytes(whole[: int(share * len(whole))])

    return make


def spoilt(place: float, length: int, *, repeats: int = 1, **how: Any) -> Make:
    """Bytes replaced by noise from a place on; a negative length is a share of the file, in per cent."""

    def make(path: Path, pictures: Sequence[np.ndarray]) -> None:
        write_video(path, [*pictures] * repeats, **how)
        data = bytearray(path.read_bytes())
        start = int(place * len(data))
        stop = start + (length if length > 0 else -length * len(data) // 100)
        data[start:stop] = np.random.default_rng(1).bytes(len(data[start:stop]))
        path.write_bytes(data)

    return make


def headless(share: float, **how: Any) -> Make:
    """A recording that was begun in the middle of a broadcast: its first part is missing."""

    def make(path: Path, pictures: Sequence[np.ndarray]) -> None:
        write_video(path, pictures, **how)
        whole = path.read_bytes()
        start = int(share * len(whole)) // 188 * 188
        path.write_bytes(whole[start:])

    return make


def joined(first_ticks: int, second_ticks: int, **how: Any) -> Make:
    """Two transport streams in one file, each with a clock of its own that begins at so many milliseconds."""

    def make(path: Path, pictures: Sequence[np.ndarray]) -> None:
        half = len(pictures) // 2
        parts = []
        for part, offset in ((pictures[:half], first_ticks), (pictures[half:], second_ticks)):
            ticks = [offset + 40 * k for k in range(len(part))]
            write_video(path, part, ticks=ticks, **how)
            parts.append(path.read_bytes())
        path.write_bytes(b"".join(parts))

    return make


def one_grey(pixel: int) -> Make:
    def make(path: Path, pictures: Sequence[np.ndarray]) -> None:
        write_video(path, [np.full_like(picture, pixel) for picture in pictures])

    return make


def noise(path: Path, pictures: Sequence[np.ndarray]) -> None:
    rng = np.random.default_rng(2)
    write_video(path, [rng.integers(0, 256, picture.shape, dtype=np.uint8) for picture in pictures])


def adverts(path: Path, pictures: Sequence[np.ndarray]) -> None:
    """A new plain picture with words every half second."""
    shown = []
    for number, picture in enumerate(pictures):
        card = np.full_like(picture, (37 * (number // 12) % 256, 91 * (number // 12) % 256, 160))
        cv2.putText(card, f"SALE {number // 12}", (40, 110), cv2.FONT_HERSHEY_SIMPLEX, 2.0, (255, 255, 255), 4)
        shown.append(card)
    write_video(path, shown)


def phone(path: Path, pictures: Sequence[np.ndarray]) -> None:
    """Held upright, shaking, at a rate that changes."""
    rng = np.random.default_rng(3)
    ticks = np.cumsum(rng.integers(25, 60, len(pictures)))
    shaken = [np.roll(picture, rng.integers(-6, 7, 2), (0, 1)) for picture in pictures]
    write_video(path, shaken, ticks=[int(t - ticks[0]) for t in ticks], turn_deg=90)


def still_picture(path: Path, pictures: Sequence[np.ndarray]) -> None:
    suffix = ".png" if path.suffix == ".gif" else ".jpg"
    done, data = cv2.imencode(suffix, pictures[0])
    assert done
    path.write_bytes(data.tobytes())


def animation(path: Path, pictures: Sequence[np.ndarray]) -> None:
    write_video(path, pictures[:6], codec="gif", pixels="rgb8", container_format="gif")


def sound_only(path: Path, _pictures: Sequence[np.ndarray]) -> None:
    with av.open(str(path), "w") as container:
        _tone(container, container.add_stream("aac", rate=48000), 2.0)


def no_pictures(path: Path, _pictures: Sequence[np.ndarray]) -> None:
    with av.open(str(path), "w") as container:
        stream: Any = container.add_stream("libx264", rate=RATE)
        stream.width, stream.height, stream.pix_fmt = 320, 180, "yuv420p"
        _tone(container, container.add_stream("aac", rate=48000), 1.0)


def archive(path: Path, _pictures: Sequence[np.ndarray]) -> None:
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("film.mp4", b"\0" * 4096)


def a_folder(path: Path, _pictures: Sequence[np.ndarray]) -> None:
    path.mkdir()


def dead_link(path: Path, _pictures: Sequence[np.ndarray]) -> None:
    path.symlink_to(path.with_name("nowhere at all.mp4"))


def sizes(path: Path, pictures: Sequence[np.ndarray]) -> None:
    """A broadcast whose pictures become smaller half-way, as where adverts in old resolution begin."""
    half = len(pictures) // 2
    parts = []
    for size_px, first, part in ((None, 0, pictures[:half]), ((160, 120), half, pictures[half:])):
        ticks = [1000 + 40 * (first + k) for k in range(len(part))]
        write_video(path, part, ticks=ticks, size_px=size_px, options={"bf": "0"})
        parts.append(path.read_bytes())
    path.write_bytes(b"".join(parts))


def hours_of_adverts(path: Path, pictures: Sequence[np.ndarray]) -> None:
    """Three hours of cards with words, one every four seconds."""
    cards = []
    for number in range(60):
        card = np.full_like(pictures[0], (37 * number % 256, 91 * number % 256, 160))
        cv2.putText(card, f"SALE {number}", (40, 110), cv2.FONT_HERSHEY_SIMPLEX, 2.0, (255, 255, 255), 4)
        cards.append(card)
    shown = [cards[number % len(cards)] for number in range(2700)]
    ticks = [4000 * number for number in range(len(shown))]
    write_video(path, shown, ticks=ticks, options={"preset": "ultrafast", "g": "50"})


def another_game(path: Path, pictures: Sequence[np.ndarray]) -> None:
    """A green field with white lines and people on it, the camera following."""
    shown = []
    for number in range(len(pictures)):
        picture = np.full_like(pictures[0], (60, 140, 50))
        shift = 2 * number
        for x in (60 - shift, 200 - shift, 340 - shift):
            cv2.line(picture, (x, 60), (x - 25, 180), (240, 240, 240), 2)
        cv2.ellipse(picture, (200 - shift, 120), (40, 18), 0, 0, 360, (240, 240, 240), 2)
        cv2.line(picture, (0, 60), (320, 60), (240, 240, 240), 2)
        for man in range(14):
            x, y = (47 * man + number * (man % 3 - 1)) % 320, 70 + 31 * man % 95
            cv2.rectangle(picture, (x, y), (x + 5, y + 14), ((200, 60, 40) if man % 2 else (40, 40, 220)), -1)
        shown.append(picture)
    write_video(path, shown)


def pipe(path: Path, _pictures: Sequence[np.ndarray]) -> None:
    """A named pipe that nobody writes to: whoever opens it waits for ever."""
    path.unlink(missing_ok=True)
    os.mkfifo(path)


def link_to(name: str) -> Make:
    """A link to another film of the folder."""

    def make(path: Path, _pictures: Sequence[np.ndarray]) -> None:
        path.unlink(missing_ok=True)
        path.symlink_to(path.with_name(name))

    return make
