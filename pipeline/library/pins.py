"""Pins of a game: kept in its folder as ``pins.toml``, put there from the command line, shown on the film's frames."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from pipeline.court.landmarks import landmark
from pipeline.court.pins import PinnedFrame, check_fit, check_pins, miss_px
from pipeline.court.rule_books import RULE_BOOKS, rule_book
from pipeline.court.settings import RegistrationSettings
from pipeline.court.tables import AREAS, CAMERAS
from pipeline.errors import LibraryError, SettingsError
from pipeline.film.tables import FRAMES, SHOTS
from pipeline.library.games import Game
from pipeline.user_files import first_wrong, read_toml
from pipeline.whole_files import write_whole

PINS = "pins.toml"
FARTHEST_S = 0.5
"""An analysed frame this near to the wanted time will do."""

_HEAD = "# Landmarks pinned by hand; 'elbowroom court pin' writes this file. Run the film again after a change.\n"


class _FramePins(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)
    frame: int = Field(ge=0)
    t_s: float = Field(ge=0)
    points: dict[str, tuple[float, float]]


class _PinsFile(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")
    pinned: list[_FramePins] = []


@dataclass(frozen=True, slots=True)
class Pinned:
    """What pinning a frame came to.

    Attributes
    ----------
    pins : PinnedFrame
    miss_px : float
        Root mean square miss of the pins from the camera that fits them best, in the film's pixels.
    note : str
        What staff should know, one sentence; empty for nothing.
    """

    pins: PinnedFrame
    miss_px: float
    note: str


def pins_path(game: Game) -> Path:
    """Where a game's pins are kept."""
    return game.folder / PINS


def read_pins(game: Game) -> tuple[PinnedFrame, ...]:
    """A game's pins in the order of time; none if there is no file.

    Raises
    ------
    LibraryError
        If the file is damaged or names what is no landmark.
    """
    path = pins_path(game)
    try:
        told = _PinsFile.model_validate(read_toml(path, LibraryError, advice="repair that place or delete the file"))
    except FileNotFoundError:
        return ()
    except ValidationError as error:
        name, what = first_wrong(error)
        raise LibraryError(f"{path}: '{name}': {what}; repair that line or delete the file.") from error
    found = [PinnedFrame(one.frame, one.t_s, one.points) for one in told.pinned]
    for pinned in found:
        try:
            pinned.floor_ft(next(iter(RULE_BOOKS.values())))
        except SettingsError as error:
            raise LibraryError(f"{path}: {error}") from error
    return tuple(sorted(found, key=lambda one: one.t_s))


def write_pins(game: Game, pins: Sequence[PinnedFrame]) -> None:
    """Replace a game's pins; the file goes when there are none."""
    path = pins_path(game)
    if not pins:
        path.unlink(missing_ok=True)
        return
    text = _HEAD
    for pinned in sorted(pins, key=lambda one: one.t_s):
        text += f"\n[[pinned]]\nframe = {pinned.frame}\nt_s = {pinned.t_s!r}\n\n[pinned.points]\n"
        text += "".join(f"{name} = [{x!r}, {y!r}]\n" for name, (x, y) in pinned.points.items())
    write_whole(path, text)


def pin_frame(game: Game, at: str, points: Sequence[str], settings: RegistrationSettings) -> Pinned:
    """Pin landmarks on the analysed frame nearest to a time; earlier pins of that frame are replaced.

    Parameters
    ----------
    game : Game
        One whose film has been looked at.
    at : str
        Seconds, or minutes:seconds, from the film's start.
    points : sequence of str
        Each ``x,y=landmark``, pixels of the film's picture.
    settings : RegistrationSettings

    Raises
    ------
    SettingsError
        If the time, a landmark, or the pins together are wrong; the text says which and what to do.
    """
    t_s, frame, shot = frame_at(game, seconds_of(at))
    size_px = picture_size(game)
    told = game.file().rule_book
    named: dict[str, tuple[float, float]] = {}
    for text in points:
        name, place = _point(text)
        if name in named:
            raise SettingsError(f"The landmark '{name}' is pinned twice; leave one of them out.")
        named[name] = place
    pinned = PinnedFrame(frame, t_s, named)
    check_pins(pinned, size_px)
    fit = check_fit(pinned, size_px, [rule_book(told)] if told else list(RULE_BOOKS.values()), settings)
    write_pins(game, [*(one for one in read_pins(game) if one.frame != frame), pinned])
    return Pinned(pinned, miss_px(fit) * size_px[0] / 640, _shot_note(game, shot))


def unpin_frame(game: Game, at: str) -> PinnedFrame:
    """Take away the pins of the pinned frame nearest to a time, within half a second."""
    wanted_s = seconds_of(at)
    pins = read_pins(game)
    near = [one for one in pins if abs(one.t_s - wanted_s) <= FARTHEST_S]
    if not near:
        known = ", ".join(f"{one.t_s:.2f}" for one in pins) or "none"
        raise SettingsError(f"Nothing is pinned at {wanted_s:g} s in '{game.name}'; frames with pins: {known}.")
    gone = min(near, key=lambda one: abs(one.t_s - wanted_s))
    write_pins(game, [one for one in pins if one.frame != gone.frame])
    return gone


def seconds_of(text: str) -> float:
    """A time as staff write it: seconds, minutes:seconds or hours:minutes:seconds."""
    if not re.fullmatch(r"(\d+:){0,2}\d+(\.\d*)?", text):
        raise SettingsError(f"'{text}' is no time; write seconds or minutes:seconds, for example 83.2 or 1:23.2.")
    seconds = 0.0
    for part in text.split(":"):
        seconds = 60 * seconds + float(part)
    return seconds


def _point(text: str) -> tuple[str, tuple[float, float]]:
    place, equals, name = text.partition("=")
    try:
        x, y = (float(part) for part in place.split(","))
    except ValueError:
        equals = ""
    if not equals:
        raise SettingsError(f"'{text}' is no pin; write x,y=landmark, for example 640,360=centre.")
    return landmark(name.strip(), next(iter(RULE_BOOKS.values()))).name, (x, y)


def frame_at(game: Game, wanted_s: float) -> tuple[float, int, int]:
    """Time, index and shot of the analysed frame nearest to a time."""
    game.film_told()
    frames = FRAMES.read(game.tables)
    times = frames["t_s"].to_numpy()
    if not len(times):
        raise SettingsError(f"No frame of game '{game.name}' has been looked at; run its film first.")
    nearest = int(np.argmin(np.abs(times - wanted_s)))
    if abs(times[nearest] - wanted_s) > FARTHEST_S:
        raise SettingsError(
            f"Game '{game.name}' has no frame at {wanted_s:g} s; its film goes from {times.min():.2f} to "
            f"{times.max():.2f} s."
        )
    row = frames.slice(nearest, 1).to_pylist()[0]
    return row["t_s"], row["frame"], row["shot"]


def picture_size(game: Game) -> tuple[int, int]:
    """Width and height of the film's picture, as the tables have it."""
    for spec in (CAMERAS, AREAS):
        if spec.path(game.tables).is_file():
            file = pq.ParquetFile(spec.path(game.tables))
            row = next(file.iter_batches(1, columns=["width_px", "height_px"]), None)
            if row is not None and row.num_rows:
                return row["width_px"][0].as_py(), row["height_px"][0].as_py()
    raise SettingsError(f"No frame of game '{game.name}' has been looked at; run its film first.")


def _shot_note(game: Game, shot: int) -> str:
    rows = [row for row in SHOTS.read(game.tables).to_pylist() if row["shot"] == shot]
    if rows and not rows[0]["live"]:
        return (
            f"The frame's shot was not taken for live play ({rows[0]['reason'] or 'no reason given'}); "
            "it will have a floor, but nobody is followed in it."
        )
    return ""
