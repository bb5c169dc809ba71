"""Bad and odd films, as they lie in a club's folders: one of each kind, made from the same pictures.

    python -m pipeline.sim.odd_films DIR [--from FILM]

Each is written with what should come of it: a right result (its length and upright size), or a refusal whose one
sentence says what is wrong. ``DIR/expected.json`` lists them by file name. FFmpeg makes them through PyAV; damage is
done to the bytes. The pictures are a pattern, or the first seconds of a given film.
"""

from __future__ import annotations

import argparse
import json
import zipfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import cv2
import numpy as np

RATE = Fraction(25)
COUNT = 50
"""Pictures of each film: two seconds."""

SIZE_PX = (320, 180)


@dataclass(frozen=True, slots=True)
class Right:
    """The film is run. Its length in seconds within ``within_s``, and its upright size; None where that is not told."""

    length_s: float | None = COUNT / float(RATE)
    size_px: tuple[int, int] | None = SIZE_PX
    within_s: float = 0.1


@dataclass(frozen=True, slots=True)
class Refused:
    """The film is refused; its sentence holds these words."""

    words: str


@dataclass(frozen=True, slots=True)
class PassedOver:
    """A night does not take it for a film."""


Ends = Right | Refused | PassedOver
Make = Callable[[Path, Sequence[np.ndarray]], None]


@dataclass(frozen=True, slots=True)
class OddFilm:
    """One film of the corpus.

    Attributes
    ----------
    name : str
        File name.
    what : str
        What is odd about it.
    make : callable
        Writes it from pictures, each (180, 320, 3) uint8 BGR.
    ends : Right, Refused or PassedOver
    """

    name: str
    what: str
    make: Make
    ends: Ends


def pattern(count: int = COUNT) -> list[np.ndarray]:
    """Pictures of a pattern that moves."""
    width, height = SIZE_PX
    x, y = np.arange(width), np.arange(height)[:, None]
    pictures = []
    for number in range(count):
        picture = np.empty((height, width, 3))
        picture[..., 0] = 110 + 60 * np.sin((x + 2 * number) / 17.0) + 0 * y
        picture[..., 1] = 120 + 60 * np.sin(x / 29.0 + (y + number) / 13.0)
        picture[..., 2] = 100 + 60 * np.cos(y / 19.0) + 0 * x
        pictures.append(picture.clip(0, 255).astype(np.uint8))
    return pictures


def pictures_of(film: Path, count: int = COUNT) -> list[np.ndarray]:
    """The first pictures of a film, small."""
    found: list[np.ndarray] = []
    with av.open(str(film)) as container:
        for frame in container.decode(video=0):
            found.append(cv2.resize(frame.to_ndarray(format="bgr24"), SIZE_PX, interpolation=cv2.INTER_AREA))
            if len(found) == count:
                break
    return found


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
    with av.open(str(path), "w", format=container_format, options=container_options or {}) as container:
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


def _video(**how: Any) -> Make:
    return lambda path, pictures: write_video(path, pictures, **how)


def _bytes(data: bytes) -> Make:
    def make(path: Path, _pictures: Sequence[np.ndarray]) -> None:
        path.write_bytes(data)

    return make


def _cut(share: float, *, repeats: int = 5, **how: Any) -> Make:
    """A film of so many times the pictures, of which a share of the bytes is there."""

    def make(path: Path, pictures: Sequence[np.ndarray]) -> None:
        write_video(path, [*pictures] * repeats, **how)
        whole = path.read_bytes()
        path.write_bytes(whole[: int(share * len(whole))])

    return make


def _spoilt(place: float, length: int, *, repeats: int = 1, **how: Any) -> Make:
    """Bytes replaced by noise from a place on; a negative length is a share of the file, in per cent."""

    def make(path: Path, pictures: Sequence[np.ndarray]) -> None:
        write_video(path, [*pictures] * repeats, **how)
        data = bytearray(path.read_bytes())
        start = int(place * len(data))
        stop = start + (length if length > 0 else -length * len(data) // 100)
        data[start:stop] = np.random.default_rng(1).bytes(len(data[start:stop]))
        path.write_bytes(data)

    return make


def _headless(share: float, **how: Any) -> Make:
    """A recording that was begun in the middle of a broadcast: its first part is missing."""

    def make(path: Path, pictures: Sequence[np.ndarray]) -> None:
        write_video(path, pictures, **how)
        whole = path.read_bytes()
        start = int(share * len(whole)) // 188 * 188
        path.write_bytes(whole[start:])

    return make


def _joined(first_ticks: int, **how: Any) -> Make:
    """Two transport streams in one file: the second one's clock has nothing to do with the first's."""

    def make(path: Path, pictures: Sequence[np.ndarray]) -> None:
        half = len(pictures) // 2
        parts = []
        for part, offset in ((pictures[:half], first_ticks), (pictures[half:], 0)):
            ticks = [offset + 40 * k for k in range(len(part))]
            write_video(path, part, ticks=ticks, **how)
            parts.append(path.read_bytes())
        path.write_bytes(b"".join(parts))

    return make


def _same(pixel: int) -> Make:
    def make(path: Path, pictures: Sequence[np.ndarray]) -> None:
        write_video(path, [np.full_like(picture, pixel) for picture in pictures])

    return make


def _noise(path: Path, pictures: Sequence[np.ndarray]) -> None:
    rng = np.random.default_rng(2)
    write_video(path, [rng.integers(0, 256, picture.shape, dtype=np.uint8) for picture in pictures])


def _adverts(path: Path, pictures: Sequence[np.ndarray]) -> None:
    """A new plain picture with words every half second."""
    shown = []
    for number, picture in enumerate(pictures):
        card = np.full_like(picture, (37 * (number // 12) % 256, 91 * (number // 12) % 256, 160))
        cv2.putText(card, f"SALE {number // 12}", (40, 110), cv2.FONT_HERSHEY_SIMPLEX, 2.0, (255, 255, 255), 4)
        shown.append(card)
    write_video(path, shown)


def _phone(path: Path, pictures: Sequence[np.ndarray]) -> None:
    """Held upright, shaking, at a rate that changes."""
    rng = np.random.default_rng(3)
    ticks = np.cumsum(rng.integers(25, 60, len(pictures)))
    shaken = [np.roll(picture, rng.integers(-6, 7, 2), (0, 1)) for picture in pictures]
    write_video(path, shaken, ticks=[int(t - ticks[0]) for t in ticks], turn_deg=90)


def _picture(path: Path, pictures: Sequence[np.ndarray]) -> None:
    suffix = ".png" if path.suffix == ".gif" else ".jpg"
    done, data = cv2.imencode(suffix, pictures[0])
    assert done
    path.write_bytes(data.tobytes())


def _animation(path: Path, pictures: Sequence[np.ndarray]) -> None:
    write_video(path, pictures[:6], codec="gif", pixels="rgb8", container_format="gif")


def _sound_only(path: Path, _pictures: Sequence[np.ndarray]) -> None:
    with av.open(str(path), "w") as container:
        _tone(container, container.add_stream("aac", rate=48000), 2.0)


def _no_pictures(path: Path, _pictures: Sequence[np.ndarray]) -> None:
    with av.open(str(path), "w") as container:
        stream: Any = container.add_stream("libx264", rate=RATE)
        stream.width, stream.height, stream.pix_fmt = 320, 180, "yuv420p"
        _tone(container, container.add_stream("aac", rate=48000), 1.0)


def _archive(path: Path, _pictures: Sequence[np.ndarray]) -> None:
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("film.mp4", b"\0" * 4096)


def _folder(path: Path, _pictures: Sequence[np.ndarray]) -> None:
    path.mkdir()


def _dead_link(path: Path, _pictures: Sequence[np.ndarray]) -> None:
    path.symlink_to(path.with_name("nowhere at all.mp4"))


def _vary(step_ms: Sequence[int]) -> list[int]:
    """Presentation times with these steps, again and again."""
    ticks = [0]
    while len(ticks) < COUNT:
        ticks.append(ticks[-1] + step_ms[len(ticks) % len(step_ms)])
    return ticks


_CHANGING = _vary((20, 40, 60, 40))
_HOLED = [40 * k + (3000 if k >= COUNT // 2 else 0) for k in range(COUNT)]
_LATE = [100_000 + 40 * k for k in range(COUNT)]
_SLOW = Fraction(5)
_FAST_FIRST = {"movflags": "faststart"}
_FRAGMENTS = {"movflags": "frag_keyframe+empty_moov"}
_TEN = {"pixels": "yuv420p10le"}
_LONG = "a film with a very long name " * 7
_TEXT = ("Subject: the film\n\nI could not attach it, sorry.\n" * 60).encode()
_PAGE = b"<!doctype html><title>Sign in</title><p>Your session has ended." + b" " * 4000


def _of(rate: Fraction) -> Right:
    return Right(length_s=COUNT / float(rate))


def _large(size_px: tuple[int, int]) -> Right:
    return Right(size_px=size_px)


ODD_FILMS: tuple[OddFilm, ...] = (
    # Not films at all.
    OddFilm("empty.mp4", "zero bytes", _bytes(b""), Refused("is empty (0 bytes)")),
    OddFilm("letter.mp4", "text under a film's name", _bytes(_TEXT), Refused("film")),
    OddFilm("page.mp4", "the page of a login that was saved as the film", _bytes(_PAGE), Refused("film")),
    OddFilm("zeros.mp4", "a copy that wrote only zeros", _bytes(b"\0" * 65536), Refused("not a readable film")),
    OddFilm("random.mkv", "noise", _bytes(np.random.default_rng(0).bytes(50_000)), Refused("film")),
    OddFilm("random.ts", "noise", _bytes(np.random.default_rng(1).bytes(50_000)), Refused("film")),
    OddFilm("archive.mp4", "an archive under a film's name", _archive, Refused("film")),
    OddFilm("photo.mp4", "a photo under a film's name", _picture, Refused("still picture")),
    OddFilm("animation.mp4", "an animated picture", _animation, Refused("still picture")),
    OddFilm("sound.mp4", "sound without pictures", _sound_only, Refused("only sound")),
    OddFilm("no pictures.mp4", "a video track with nothing in it", _no_pictures, Refused("only sound")),
    OddFilm("one picture.mp4", "a single picture", lambda p, s: write_video(p, s[:1]), Refused("single picture")),
    OddFilm("folder.mp4", "a folder with a film's name", _folder, PassedOver()),
    OddFilm("link.mp4", "a link to nowhere", _dead_link, PassedOver()),
    OddFilm(".hidden.mp4", "a hidden file", _video(), PassedOver()),
    OddFilm("notes.txt", "another ending", _bytes(_TEXT), PassedOver()),
    # Cut short and damaged.
    OddFilm("no index.mp4", "a recording whose index was never written", _cut(0.7), Refused("not a readable film")),
    OddFilm("cut.mp4", "a copy cut short", _cut(0.5, container_options=_FAST_FIRST), Refused("cut short")),
    OddFilm("cut.mkv", "a copy cut short", _cut(0.5), Refused("cut short")),
    OddFilm("cut.mov", "a copy cut short", _cut(0.4, container_options=_FAST_FIRST), Refused("cut short")),
    OddFilm("head only.mp4", "forty bytes of a film", _cut(0.001), Refused("film")),
    OddFilm(
        "cut.ts",
        "a broadcast recording cut short is a shorter film",
        _cut(0.6, options={"g": "10", "bf": "0"}),
        Right(length_s=None),
    ),
    OddFilm(
        "begun late.ts",
        "a broadcast recording that begins without a key picture",
        _headless(0.25, options={"g": "10", "bf": "0"}),
        Right(length_s=None),
    ),
    OddFilm(
        "wreck.mp4",
        "a third of its bytes spoilt",
        _spoilt(0.3, -33, repeats=5, options={"g": "50", "crf": "10"}),
        Refused("damaged"),
    ),
    OddFilm(
        "wreck.mkv",
        "a third of its bytes spoilt",
        _spoilt(0.3, -33, repeats=5, options={"g": "50", "crf": "10"}),
        Refused("damaged"),
    ),
    OddFilm(
        "scratch.mp4",
        "a hundred bytes spoilt, one picture in fifty",
        _spoilt(0.5, 100, options={"g": "1", "crf": "10"}),
        Right(),
    ),
    # Containers and codecs.
    OddFilm("plain.mp4", "nothing", _video(), Right()),
    OddFilm("plain.mov", "QuickTime", _video(), Right()),
    OddFilm("plain.mkv", "Matroska", _video(), Right()),
    OddFilm("plain.ts", "a transport stream", _video(), Right()),
    OddFilm("plain.m2ts", "a disc's transport stream", _video(container_format="mpegts"), Right()),
    OddFilm("plain.flv", "a stream saved as Flash video", _video(), Right()),
    OddFilm("fragments.mp4", "a stream saved in fragments", _video(container_options=_FRAGMENTS), Right()),
    OddFilm("wrong.mp4", "Matroska under MP4's ending", _video(container_format="matroska"), Right()),
    OddFilm("mpeg4.avi", "MPEG-4 part 2 in AVI", _video(codec="mpeg4"), Right()),
    OddFilm("mpeg2.mpg", "MPEG-2 program stream", _video(codec="mpeg2video"), Right()),
    OddFilm("mpeg2.ts", "MPEG-2 broadcast", _video(codec="mpeg2video"), Right()),
    OddFilm("motion jpeg.avi", "every picture a photo", _video(codec="mjpeg", pixels="yuvj420p"), Right()),
    OddFilm("hevc.mp4", "HEVC", _video(codec="libx265", options={"x265-params": "log-level=none"}), Right()),
    OddFilm(
        "hevc ten.mkv",
        "HEVC with ten bits",
        _video(codec="libx265", options={"x265-params": "log-level=none"}, **_TEN),
        Right(),
    ),
    OddFilm("vp9.webm", "VP9", _video(codec="libvpx-vp9", options={"deadline": "realtime", "cpu-used": "8"}), Right()),
    OddFilm("av1.mkv", "AV1", _video(codec="libsvtav1", options={"preset": "12"}), Right()),
    OddFilm("prores.mov", "ProRes", _video(codec="prores_ks", pixels="yuv422p10le"), Right()),
    OddFilm("wmv.wmv", "Windows Media", _video(codec="wmv2"), Right()),
    OddFilm("ten bits.mp4", "H.264 with ten bits", _video(**_TEN), Right()),
    OddFilm("four two two.mp4", "H.264 4:2:2", _video(pixels="yuv422p"), Right()),
    OddFilm("four four four.mp4", "H.264 4:4:4", _video(pixels="yuv444p"), Right()),
    OddFilm("grey.mp4", "no colour", _video(pixels="gray"), Right()),
    OddFilm("full range.mp4", "full range", _video(pixels="yuvj420p"), Right()),
    OddFilm("one key.mp4", "a single key picture", _video(options={"g": "9999"}), Right()),
    OddFilm("all keys.mp4", "every picture a key picture", _video(options={"g": "1"}), Right()),
    # Rates and times.
    OddFilm("fifty.mp4", "50 pictures a second", _video(rate=Fraction(50)), _of(Fraction(50))),
    OddFilm("ntsc.mp4", "59.94 pictures a second", _video(rate=Fraction(60000, 1001)), _of(Fraction(60000, 1001))),
    OddFilm("cinema.mp4", "23.976 pictures a second", _video(rate=Fraction(24000, 1001)), _of(Fraction(24000, 1001))),
    OddFilm(
        "drop frame.mov",
        "29.97 with drop-frame timecode",
        _video(rate=Fraction(30000, 1001), timecode="00:59:59;20"),
        _of(Fraction(30000, 1001)),
    ),
    OddFilm("high speed.mp4", "120 pictures a second", _video(rate=Fraction(120)), _of(Fraction(120))),
    OddFilm("slow.mp4", "5 pictures a second", _video(rate=_SLOW), _of(_SLOW)),
    OddFilm("changing.mp4", "a rate that changes", _video(ticks=_CHANGING), Right(length_s=_CHANGING[-1] / 1000)),
    OddFilm(
        "holed.mp4", "three seconds without pictures", _video(ticks=_HOLED), Right(length_s=_HOLED[-1] / 1000 + 0.04)
    ),
    OddFilm("late.mkv", "times that begin at 100 s", _video(ticks=_LATE), Right()),
    OddFilm("late.ts", "times that begin at 100 s", _video(ticks=_LATE), Right()),
    OddFilm("forwards.ts", "a clock that jumps ahead", _joined(0, options={"bf": "0"}), Right(length_s=None)),
    OddFilm("backwards.ts", "a clock that jumps back", _joined(50_000, options={"bf": "0"}), Right(length_s=None)),
    # Shapes.
    OddFilm(
        "interlaced.ts",
        "two half pictures in one",
        _video(codec="mpeg2video", interlaced="tff"),
        Right(),
    ),
    OddFilm(
        "television.mpg",
        "4:3 with wide pixels",
        _video(codec="mpeg2video", size_px=(704, 576), aspect=Fraction(12, 11)),
        _large((768, 576)),
    ),
    OddFilm("wide.mp4", "anamorphic", _video(size_px=(240, 180), aspect=Fraction(4, 3)), _large((320, 180))),
    OddFilm("turned.mp4", "a quarter turn", _video(turn_deg=90), _large((180, 320))),
    OddFilm("upside down.mp4", "half a turn", _video(turn_deg=180), Right()),
    OddFilm(
        "uhd.mp4",
        "3840 pixels wide",
        _video(size_px=(3840, 2160), options={"preset": "ultrafast"}),
        _large((3840, 2160)),
    ),
    OddFilm("small.mp4", "240 pixels high", _video(size_px=(426, 240)), _large((426, 240))),
    OddFilm("tiny.mp4", "64 pixels wide", _video(size_px=(64, 36)), _large((64, 36))),
    OddFilm(
        "odd size.mkv", "an odd number of pixels", _video(size_px=(427, 239), pixels="yuv444p"), _large((427, 239))
    ),
    # Tracks.
    OddFilm("with sound.mp4", "sound", _video(sound_s=(2.0,)), Right()),
    OddFilm("long sound.mp4", "sound that goes on after the pictures", _video(sound_s=(4.0,)), Right()),
    OddFilm("two sounds.mkv", "two commentaries", _video(sound_s=(2.0, 2.0)), Right()),
    OddFilm("two films.mkv", "a second, small picture track", _video(second_video=True), Right()),
    # What is in the pictures.
    OddFilm("black.mp4", "black all through", _same(0), Right()),
    OddFilm("white.mp4", "white all through", _same(255), Right()),
    OddFilm("snow.mp4", "no signal", _noise, Right()),
    OddFilm("adverts.mp4", "nothing but adverts", _adverts, Right()),
    OddFilm("phone.mp4", "a phone held upright", _phone, Right(length_s=None, size_px=(180, 320))),
    OddFilm("short.mp4", "an eighth of a second", lambda p, s: write_video(p, s[:3]), Right(length_s=3 / 25)),
    # Names.
    OddFilm("spiel – größe ñ 試合.mp4", "letters of other languages", _video(), Right()),
    OddFilm('it\'s; rm -rf $HOME & `x` "q".mp4', "signs that a shell would act on", _video(), Right()),
    OddFilm("<script>alert(1)<b>.mp4", "signs that a page would act on", _video(), Right()),
    OddFilm("-rf --help.mp4", "a name like an option", _video(), Right()),
    OddFilm("two\nlines\t%s {0}.mp4", "a line break in the name", _video(), Right()),
    OddFilm("[red]%05d(1)..mp4.MP4", "signs that patterns and markup use", _video(), Right()),
    OddFilm(f"{_LONG.strip()}.mp4", "two hundred letters", _video(), Right()),
)
"""The corpus."""


def make_odd_films(folder: Path, pictures: Sequence[np.ndarray], films: Sequence[OddFilm] = ODD_FILMS) -> None:
    """Write films and ``expected.json``.

    Parameters
    ----------
    folder : Path
        Made when it is not there; films of the same names are replaced.
    pictures : sequence of ndarray of shape (180, 320, 3), uint8
        BGR, ``COUNT`` of them.
    films : sequence of OddFilm
    """
    folder.mkdir(parents=True, exist_ok=True)
    for film in films:
        film.make(folder / film.name, pictures)
    told = {film.name: {"what": film.what, **dict(_expected(film.ends))} for film in films}
    (folder / "expected.json").write_text(json.dumps(told, indent=1, ensure_ascii=False), encoding="utf-8")


def _expected(ends: Ends) -> Iterator[tuple[str, Any]]:
    if isinstance(ends, Right):
        yield from (("ends", "right"), ("length_s", ends.length_s), ("size_px", ends.size_px))
    elif isinstance(ends, Refused):
        yield from (("ends", "refused"), ("words", ends.words))
    else:
        yield "ends", "passed over"


def main(arguments: list[str] | None = None) -> None:
    """Command line."""
    parser = argparse.ArgumentParser(prog="python -m pipeline.sim.odd_films", description="Make bad and odd films.")
    parser.add_argument("out", type=Path)
    parser.add_argument("--from", dest="source", type=Path, help="film whose first pictures they show")
    given = parser.parse_args(arguments)
    make_odd_films(given.out, pattern() if given.source is None else pictures_of(given.source))


if __name__ == "__main__":
    main()
