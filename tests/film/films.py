"""Test films made from numpy: moving patterns whose every frame carries its own number.

The number is written as sixteen black or white blocks along the top, so that a decoded frame says
which frame it is whatever the codec did to it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np

from pipeline.sim.priority import same_priority

BITS = 12
BLOCK_SHARE = 1 / 8  # height of the number's blocks over the picture's height


def numbered_picture(number: int, width_px: int, height_px: int, shift_px: float = 0.0) -> np.ndarray:
    """A smooth colour pattern, shifted sideways, with the number in blocks along the top; (h, w, 3) uint8 BGR."""
    x = np.arange(width_px) + shift_px
    y = np.arange(height_px)[:, None]
    image = np.empty((height_px, width_px, 3), dtype=np.float64)
    image[..., 0] = 110 + 60 * np.sin(x / 17.0) + 0 * y
    image[..., 1] = 120 + 60 * np.sin(x / 29.0 + y / 13.0)
    image[..., 2] = 100 + 60 * np.cos(y / 19.0) + 0 * x
    picture = image.clip(0, 255).astype(np.uint8)
    band = round(height_px * BLOCK_SHARE)
    edges = np.linspace(0, width_px, BITS + 1).round().astype(int)
    for bit in range(BITS):
        picture[:band, edges[bit] : edges[bit + 1]] = 255 if number >> bit & 1 else 0
    return picture


def read_number(image: np.ndarray) -> int:
    """The number in a picture made by :func:`numbered_picture`."""
    height, width = image.shape[:2]
    row = image[max(1, round(height * BLOCK_SHARE / 2)), :, 1].astype(int)
    edges = np.linspace(0, width, BITS + 1)
    return sum(1 << bit for bit in range(BITS) if row[int((edges[bit] + edges[bit + 1]) / 2)] > 127)


def write_film(
    path: Path,
    pictures: Iterable[np.ndarray],
    *,
    codec: str = "libx264",
    rate: Fraction = Fraction(25),
    ticks: Sequence[int] | None = None,
    pixel_format: str = "yuv420p",
    options: dict[str, str] | None = None,
    container_options: dict[str, str] | None = None,
    sample_aspect: Fraction | None = None,
    rotation_deg: int = 0,
    sound_s: float = 0.0,
    interlaced: bool = False,
) -> Path:
    """Encode pictures to a file whose suffix names the container.

    ``ticks`` gives each picture's presentation time in 1/1000 s for a variable rate.
    """
    time_base = 1 / rate if ticks is None else Fraction(1, 1000)
    with same_priority(), av.open(str(path), "w", options=container_options or {}) as container:
        stream = None
        sound = container.add_stream("aac", rate=48000) if sound_s else None
        for number, picture in enumerate(pictures):
            if stream is None:
                stream = container.add_stream(codec, rate=rate, options=options or {})
                stream.width, stream.height = picture.shape[1], picture.shape[0]
                stream.pix_fmt = pixel_format
                if ticks is not None:
                    stream.codec_context.time_base = time_base
                if sample_aspect is not None:
                    stream.codec_context.sample_aspect_ratio = sample_aspect
                if rotation_deg:
                    stream.set_display_rotation(rotation_deg)
                if interlaced:
                    stream.codec_context.flags |= av.codec.context.Flags.interlaced_dct
            frame = av.VideoFrame.from_ndarray(picture, format="bgr24")
            frame.pts = number if ticks is None else ticks[number]
            frame.time_base = time_base
            container.mux(stream.encode(frame))
        if stream is not None:
            container.mux(stream.encode(None))
        if sound is not None:
            write_tone(container, sound, sound_s)
    return path


def write_tone(container: av.container.OutputContainer, stream: av.AudioStream, length_s: float) -> None:
    """Add a 440 Hz tone."""
    samples = np.arange(round(48000 * length_s))
    tone = (0.2 * np.sin(2 * np.pi * 440 * samples / 48000)).astype(np.float32)
    for start in range(0, len(tone), 1024):
        frame = av.AudioFrame.from_ndarray(tone[None, start : start + 1024], format="fltp", layout="mono")
        frame.sample_rate, frame.pts, frame.time_base = 48000, start, Fraction(1, 48000)
        container.mux(stream.encode(frame))
    container.mux(stream.encode(None))


def numbered_film(path: Path, count: int, *, width_px: int = 192, height_px: int = 112, **how: object) -> Path:
    """A film of numbered pictures."""
    return write_film(path, (numbered_picture(i, width_px, height_px, 2.0 * i) for i in range(count)), **how)


def combed(upper: np.ndarray, lower: np.ndarray) -> np.ndarray:
    """One interlaced picture: even lines of the first, odd lines of the second."""
    woven = upper.copy()
    woven[1::2] = lower[1::2]
    return woven


def blurred_noise(rng: np.random.Generator, width_px: int, height_px: int, sigma_px: float = 3.0) -> np.ndarray:
    """A random smooth texture, (h, w, 3) uint8."""
    noise = rng.normal(size=(height_px, width_px, 3))
    smooth = cv2.GaussianBlur(noise, (0, 0), sigma_px)
    return (128 + 60 * smooth / smooth.std()).clip(0, 255).astype(np.uint8)


Scene = Callable[[int], np.ndarray]
