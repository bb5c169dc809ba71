"""Bad and odd films, as they lie in a club's folders: one of each kind, made from the same pictures.

    python -m pipeline.sim.odd_films DIR [--from FILM]

Each is written with what should come of it: a right result (its length and upright size), or a refusal whose one
sentence says what is wrong. ``DIR/expected.json`` lists them by file name. The pictures are a pattern, or the first
seconds of a given film; how they are written stands in :mod:`pipeline.sim.odd_film_making`.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import cv2
import numpy as np

from pipeline.sim.odd_film_making import (
    COUNT,
    RATE,
    SIZE_PX,
    Make,
    a_folder,
    adverts,
    animation,
    another_game,
    archive,
    cut,
    dead_link,
    headless,
    hours_of_adverts,
    joined,
    just_bytes,
    link_to,
    no_pictures,
    noise,
    one_grey,
    phone,
    pipe,
    sizes,
    sound_only,
    spoilt,
    still_picture,
    video,
    write_video,
)


@dataclass(frozen=True, slots=True)
class Right:
    """The film is run. Its length in seconds within ``within_s``, and its upright size; None where that is not told.

    ``damage`` is the sentence that tells what was lost, ``#`` for any number.
    """

    length_s: float | None = COUNT / float(RATE)
    size_px: tuple[int, int] | None = SIZE_PX
    within_s: float = 0.1
    damage: str = ""


@dataclass(frozen=True, slots=True)
class Refused:
    """The film is refused with this sentence: ``{film}`` stands for its path, ``#`` for any number."""

    sentence: str


@dataclass(frozen=True, slots=True)
class PassedOver:
    """A night does not take it for a film."""


Ends = Right | Refused | PassedOver


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


_EMPTY = "{film} is empty (0 bytes); the recording or the copy failed, copy it again."
_UNREADABLE = (
    "{film} is not a readable film: it is no video file, or its beginning or index is damaged or was never written "
    "because the recording or the copy was cut short; copy it again or convert it."
)
_STILL = (
    "{{film}} is a still picture or text ({form}), not a film; give a video file, or look at single pictures with the "
    "command 'look'."
)
_ONLY_SOUND = "{film} holds only sound, no pictures to analyse; choose the file with the video track."
_SINGLE = "{film} holds a single picture, not a film; give a video file."
_CUT_SHORT = (
    "{film} announces # s of film but its pictures end at # s: the recording or the copy was cut short; copy it again, "
    "or raise film.decode.largest_missing_tail_s to use what is there."
)
_DAMAGED = (
    "{film} is damaged: # of # pictures (#%) were lost to damage in # place(s): #–# s; copy it again, or raise "
    "film.decode.largest_lost_share to use what is left."
)
_LOST = "# of # pictures (#%) were lost to damage in # place(s): #–# s."
_NO_TIMES = "{film} carries no presentation times for its pictures; put it into an MP4 or MKV file."
_NO_SIZE = "{film} does not say how large its pictures are: it is damaged; copy or convert it again."
_TWO_CLOCKS = (
    "{film} holds two recordings in one: # s after its beginning its clock starts again; split it there, or convert it "
    "to MP4."
)
_NO_LETTERS = "The name of {film} holds bytes that are no letters; rename the file or folder."


ODD_FILMS: tuple[OddFilm, ...] = (
    # Not films at all.
    OddFilm("empty.mp4", "zero bytes", just_bytes(b""), Refused(_EMPTY)),
    OddFilm("letter.mp4", "text under a film's name", just_bytes(_TEXT), Refused(_UNREADABLE)),
    OddFilm("page.mp4", "the page of a login that was saved as the film", just_bytes(_PAGE), Refused(_UNREADABLE)),
    OddFilm("zeros.mp4", "a copy that wrote only zeros", just_bytes(b"\0" * 65536), Refused(_UNREADABLE)),
    OddFilm("random.mkv", "noise", just_bytes(np.random.default_rng(0).bytes(50_000)), Refused(_UNREADABLE)),
    OddFilm("random.ts", "noise", just_bytes(np.random.default_rng(1).bytes(50_000)), Refused(_UNREADABLE)),
    OddFilm("archive.mp4", "an archive under a film's name", archive, Refused(_UNREADABLE)),
    OddFilm("photo.mp4", "a photo under a film's name", still_picture, Refused(_STILL.format(form="jpeg_pipe"))),
    OddFilm("animation.mp4", "an animated picture", animation, Refused(_STILL.format(form="gif"))),
    OddFilm("sound.mp4", "sound without pictures", sound_only, Refused(_ONLY_SOUND)),
    OddFilm("no pictures.mp4", "a video track with nothing in it", no_pictures, Refused(_ONLY_SOUND)),
    OddFilm("one picture.mp4", "a single picture", lambda p, s: write_video(p, s[:1]), Refused(_SINGLE)),
    OddFilm("folder.mp4", "a folder with a film's name", a_folder, PassedOver()),
    OddFilm("link.mp4", "a link to nowhere", dead_link, PassedOver()),
    OddFilm("pipe.mp4", "a named pipe", pipe, PassedOver()),
    OddFilm(".hidden.mp4", "a hidden file", video(), PassedOver()),
    OddFilm("notes.txt", "another ending", just_bytes(_TEXT), PassedOver()),
    # Cut short and damaged.
    OddFilm("no index.mp4", "a recording whose index was never written", cut(0.7), Refused(_UNREADABLE)),
    OddFilm("cut.mp4", "a copy cut short", cut(0.5, container_options=_FAST_FIRST), Refused(_CUT_SHORT)),
    OddFilm("cut.mkv", "a copy cut short", cut(0.5), Refused(_CUT_SHORT)),
    OddFilm("cut.mov", "a copy cut short", cut(0.4, container_options=_FAST_FIRST), Refused(_CUT_SHORT)),
    OddFilm("head only.mp4", "forty bytes of a film", cut(0.001), Refused(_UNREADABLE)),
    OddFilm(
        "cut.ts",
        "a broadcast recording cut short is a shorter film",
        cut(0.6, options={"g": "10", "bf": "0"}),
        Right(length_s=None, damage=_LOST),
    ),
    OddFilm(
        "begun late.ts",
        "a broadcast recording that begins without a key picture",
        headless(0.25, options={"g": "10", "bf": "0"}),
        Right(length_s=None),
    ),
    OddFilm(
        "wreck.mp4",
        "a third of its bytes spoilt",
        spoilt(0.3, -33, repeats=5, options={"g": "50", "crf": "10"}),
        Refused(_DAMAGED),
    ),
    OddFilm(
        "wreck.mkv",
        "a third of its bytes spoilt",
        spoilt(0.3, -33, repeats=5, options={"g": "50", "crf": "10"}),
        Refused(_DAMAGED),
    ),
    OddFilm(
        "scratch.mp4",
        "a hundred bytes spoilt, one picture in fifty",
        spoilt(0.5, 100, options={"g": "1", "crf": "10"}),
        Right(damage=_LOST),
    ),
    # Containers and codecs.
    OddFilm("plain.mp4", "nothing", video(), Right()),
    OddFilm("plain.mov", "QuickTime", video(), Right()),
    OddFilm("plain.mkv", "Matroska", video(), Right()),
    OddFilm("plain.ts", "a transport stream", video(), Right()),
    OddFilm("plain.m2ts", "a disc's transport stream", video(container_format="mpegts"), Right()),
    OddFilm("plain.flv", "a stream saved as Flash video", video(), Right()),
    OddFilm("fragments.mp4", "a stream saved in fragments", video(container_options=_FRAGMENTS), Right()),
    OddFilm("wrong.mp4", "Matroska under MP4's ending", video(container_format="matroska"), Right()),
    OddFilm("mpeg4.avi", "MPEG-4 part 2 in AVI", video(codec="mpeg4"), Right()),
    OddFilm("mpeg2.mpg", "MPEG-2 program stream", video(codec="mpeg2video"), Right()),
    OddFilm("mpeg2.ts", "MPEG-2 broadcast", video(codec="mpeg2video"), Right()),
    OddFilm("motion jpeg.avi", "every picture a photo", video(codec="mjpeg", pixels="yuvj420p"), Right()),
    OddFilm("hevc.mp4", "HEVC", video(codec="libx265", options={"x265-params": "log-level=none"}), Right()),
    OddFilm(
        "hevc ten.mkv",
        "HEVC with ten bits",
        video(codec="libx265", options={"x265-params": "log-level=none"}, **_TEN),
        Right(),
    ),
    OddFilm("vp9.webm", "VP9", video(codec="libvpx-vp9", options={"deadline": "realtime", "cpu-used": "8"}), Right()),
    OddFilm("av1.mkv", "AV1", video(codec="libsvtav1", options={"preset": "12"}), Right()),
    OddFilm("prores.mov", "ProRes", video(codec="prores_ks", pixels="yuv422p10le"), Right()),
    OddFilm("wmv.wmv", "Windows Media", video(codec="wmv2"), Right()),
    OddFilm("ten bits.mp4", "H.264 with ten bits", video(**_TEN), Right()),
    OddFilm("four two two.mp4", "H.264 4:2:2", video(pixels="yuv422p"), Right()),
    OddFilm("four four four.mp4", "H.264 4:4:4", video(pixels="yuv444p"), Right()),
    OddFilm("grey.mp4", "no colour", video(pixels="gray"), Right()),
    OddFilm("full range.mp4", "full range", video(pixels="yuvj420p"), Right()),
    OddFilm("one key.mp4", "a single key picture", video(options={"g": "9999"}), Right()),
    OddFilm("all keys.mp4", "every picture a key picture", video(options={"g": "1"}), Right()),
    # Rates and times.
    OddFilm("fifty.mp4", "50 pictures a second", video(rate=Fraction(50)), _of(Fraction(50))),
    OddFilm("ntsc.mp4", "59.94 pictures a second", video(rate=Fraction(60000, 1001)), _of(Fraction(60000, 1001))),
    OddFilm("cinema.mp4", "23.976 pictures a second", video(rate=Fraction(24000, 1001)), _of(Fraction(24000, 1001))),
    OddFilm(
        "drop frame.mov",
        "29.97 with drop-frame timecode",
        video(rate=Fraction(30000, 1001), timecode="00:59:59;20"),
        _of(Fraction(30000, 1001)),
    ),
    OddFilm("high speed.mp4", "120 pictures a second", video(rate=Fraction(120)), _of(Fraction(120))),
    OddFilm("slow.mp4", "5 pictures a second", video(rate=_SLOW), _of(_SLOW)),
    OddFilm("changing.mp4", "a rate that changes", video(ticks=_CHANGING), Right(length_s=_CHANGING[-1] / 1000)),
    OddFilm(
        "holed.mp4", "three seconds without pictures", video(ticks=_HOLED), Right(length_s=_HOLED[-1] / 1000 + 0.04)
    ),
    OddFilm("late.mkv", "times that begin at 100 s", video(ticks=_LATE), Right()),
    OddFilm("late.ts", "times that begin at 100 s", video(ticks=_LATE), Right()),
    OddFilm("forwards.ts", "a clock that jumps ahead", joined(0, 200_000, options={"bf": "0"}), Right(length_s=201.0)),
    OddFilm("anew.ts", "a clock that starts again", joined(0, 0, options={"bf": "0"}), Refused(_TWO_CLOCKS)),
    OddFilm("backwards.ts", "a clock that jumps back", joined(50_000, 10, options={"bf": "0"}), Refused(_TWO_CLOCKS)),
    OddFilm("bare.mp4", "pictures without times", video(container_format="h264"), Refused(_NO_TIMES)),
    OddFilm(
        "never a key.ts",
        "a broadcast recording without a single key picture",
        headless(0.25, options={"g": "9999", "bf": "0"}),
        Refused(_NO_SIZE),
    ),
    # Shapes.
    OddFilm("sizes.ts", "smaller pictures from half-way on", sizes, Right()),
    OddFilm(
        "interlaced.ts",
        "two half pictures in one",
        video(codec="mpeg2video", interlaced="tff"),
        Right(),
    ),
    OddFilm(
        "television.mpg",
        "4:3 with wide pixels",
        video(codec="mpeg2video", size_px=(704, 576), aspect=Fraction(12, 11)),
        _large((768, 576)),
    ),
    OddFilm("wide.mp4", "anamorphic", video(size_px=(240, 180), aspect=Fraction(4, 3)), _large((320, 180))),
    OddFilm("turned.mp4", "a quarter turn", video(turn_deg=90), _large((180, 320))),
    OddFilm("upside down.mp4", "half a turn", video(turn_deg=180), Right()),
    OddFilm(
        "uhd.mp4",
        "3840 pixels wide",
        video(size_px=(3840, 2160), options={"preset": "ultrafast"}),
        _large((3840, 2160)),
    ),
    OddFilm("small.mp4", "240 pixels high", video(size_px=(426, 240)), _large((426, 240))),
    OddFilm("tiny.mp4", "64 pixels wide", video(size_px=(64, 36)), _large((64, 36))),
    OddFilm("odd size.mkv", "an odd number of pixels", video(size_px=(427, 239), pixels="yuv444p"), _large((427, 239))),
    # Tracks.
    OddFilm("with sound.mp4", "sound", video(sound_s=(2.0,)), Right()),
    OddFilm("long sound.mp4", "sound that goes on after the pictures", video(sound_s=(4.0,)), Right()),
    OddFilm("two sounds.mkv", "two commentaries", video(sound_s=(2.0, 2.0)), Right()),
    OddFilm("two films.mkv", "a second, small picture track", video(second_video=True), Right()),
    OddFilm("plain again.mp4", "a link to another film", link_to("plain.mp4"), Right()),
    # What is in the pictures.
    OddFilm("black.mp4", "black all through", one_grey(0), Right()),
    OddFilm("white.mp4", "white all through", one_grey(255), Right()),
    OddFilm("snow.mp4", "no signal", noise, Right()),
    OddFilm("adverts.mp4", "nothing but adverts", adverts, Right()),
    OddFilm("hours of adverts.mp4", "three hours of adverts", hours_of_adverts, Right(length_s=10_800, within_s=5)),
    OddFilm("another game.mp4", "a game on grass", another_game, Right()),
    OddFilm("phone.mp4", "a phone held upright", phone, Right(length_s=None, size_px=(180, 320))),
    OddFilm("short.mp4", "an eighth of a second", lambda p, s: write_video(p, s[:3]), Right(length_s=3 / 25)),
    # Names.
    OddFilm("spiel – größe ñ 試合.mp4", "letters of other languages", video(), Right()),
    OddFilm('it\'s; rm -rf $HOME & `x` "q".mp4', "signs that a shell would act on", video(), Right()),
    OddFilm("<script>alert(1)<b>.mp4", "signs that a page would act on", video(), Right()),
    OddFilm("-rf --help.mp4", "a name like an option", video(), Right()),
    OddFilm("two\nlines\t%s {0}.mp4", "a line break in the name", video(), Right()),
    OddFilm("[red]%05d(1)..mp4.MP4", "signs that patterns and markup use", video(), Right()),
    OddFilm("\u202e4pm.emag \U0001f3c0.mp4", "letters that run backwards, and a picture", video(), Right()),
    OddFilm("  spaces  .mp4", "spaces before and after", video(), Right()),
    OddFilm("not unicode \udcff.mp4", "a byte that is no letter", video(), Refused(_NO_LETTERS)),
    OddFilm(f"{_LONG.strip()}.mp4", "two hundred letters", video(), Right()),
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
    (folder / "expected.json").write_text(json.dumps(told, indent=1), encoding="utf-8")


def _expected(ends: Ends) -> Iterator[tuple[str, Any]]:
    if isinstance(ends, Right):
        yield from (("ends", "right"), ("length_s", ends.length_s), ("size_px", ends.size_px))
    elif isinstance(ends, Refused):
        yield from (("ends", "refused"), ("sentence", ends.sentence))
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
