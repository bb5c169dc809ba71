"""Cut a stretch out of a film, draw on it, and write it as an MP4 with its sound.

Frames keep their exact distances in time, whatever the film's rate; a moment can be held still and a stretch slowed
down, the sound is silent meanwhile.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import numpy as np

from pipeline.clips.pace import Freeze, Pace, Slow
from pipeline.clips.settings import ClipSettings
from pipeline.clips.sound import sound_of
from pipeline.clips.writing import Part, Progress, Shape, Timed, write_film
from pipeline.errors import FilmError
from pipeline.film.decode import TIME_SLACK_S, Frame, decode
from pipeline.film.probe import FilmInfo, probe
from pipeline.film.settings import DecodeSettings


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
    freezes: Sequence[Freeze] = (),
    slow: Slow | None = None,
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
    freezes : sequence of Freeze
        Moments to hold.
    slow : Slow, optional
        A stretch to show slower.
    settings, decoding : optional
    progress : callable, optional

    Raises
    ------
    FilmError
        If the film cannot be read, has no picture in the stretch, or the clip cannot be written.
    """
    info = probe(film, decoding)
    pace = paced(info, start_s, end_s, freezes, slow)
    shape = Shape(info.width_px, info.height_px, info.average_rate, info.audio_codec is not None)
    length_s, frames = write_film(
        out,
        [film_part(info, pace, drawing or Plain(), decoding)],
        shape,
        settings or ClipSettings(),
        None if progress is None else lambda done_s: progress(min(done_s, pace.length_s), pace.length_s),
    )
    return Clip(out, pace.start_s, pace.end_s, length_s, frames, shape.has_sound)


def paced(
    info: FilmInfo, start_s: float, end_s: float, freezes: Sequence[Freeze] = (), slow: Slow | None = None
) -> Pace:
    """How a stretch of a film is gone through; FilmError when the film has no picture in it."""
    times = info.times_s
    inside = times[(times >= start_s - TIME_SLACK_S) & (times < end_s - TIME_SLACK_S)]
    if not len(inside):
        raise FilmError(
            f"{info.path} has no picture between {start_s:.2f} s and {end_s:.2f} s (it lasts {info.duration_s:.2f} s); "
            "choose another stretch."
        )
    return Pace([float(t_s) for t_s in inside], min(end_s, info.duration_s), freezes, slow)


def film_part(info: FilmInfo, pace: Pace, drawing: Drawing, decoding: DecodeSettings | None = None) -> Part:
    """A stretch of a film with its sound, ready to be written."""
    return Part(pace.length_s, _shown(info, pace, drawing, decoding), sound_of(info, pace))


def _shown(info: FilmInfo, pace: Pace, drawing: Drawing, decoding: DecodeSettings | None) -> Iterator[Timed]:
    for frame in decode(info.path, start_s=pace.start_s, end_s=pace.end_s, settings=decoding):
        held = None
        for at_s in pace.holds(frame.t_s):
            held = drawing.hold(frame) if held is None else held
            yield at_s, held
        yield pace.at(frame.t_s), drawing.draw(frame)
