"""The floor that was found, drawn over a moment of a game's film, with its pins."""

from __future__ import annotations

from pathlib import Path

from pipeline.clips.picture import Floor, draw_picture, write_picture
from pipeline.court.camera import NoCourt, camera_from_row
from pipeline.court.rule_books import RuleBook, rule_book
from pipeline.court.tables import CAMERAS
from pipeline.errors import SettingsError
from pipeline.film.decode import decode
from pipeline.film.settings import DecodeSettings
from pipeline.library.games import Game
from pipeline.library.pins import frame_at, read_pins, seconds_of


def show_floor(game: Game, at: str, folder: Path, decoding: DecodeSettings) -> tuple[Path, str]:
    """Draw the fitted floor and the pins over the analysed frame nearest to a time.

    Returns
    -------
    path, text
        The PNG, and what is known of the frame's camera in one sentence.
    """
    t_s, frame, _ = frame_at(game, seconds_of(at))
    film = game.film()
    picture = next((f.image for f in decode(film, start_s=t_s - 1e-4, end_s=t_s + 1.0, settings=decoding)), None)
    if picture is None:
        raise SettingsError(f"{film} shows no picture at {t_s:.2f} s; its end may be damaged.")
    floor, text = _floor(game, frame)
    pins = [one for one in read_pins(game) if one.frame == frame]
    marked = [(place, name) for one in pins for name, place in one.points.items()]
    drawn = draw_picture(picture, floor, [], f"{t_s:.2f} s  {text}", marked)
    stem = f"{game.name}-{t_s:.2f}s"
    return write_picture(drawn, folder, stem), f"{t_s:.2f} s: {text}"


def _floor(game: Game, frame: int) -> tuple[Floor | None, str]:
    rows = [row for row in CAMERAS.read(game.tables).to_pylist() if row["frame"] == frame]
    if not rows:
        return None, "no floor: the frame is in no shot of live play"
    camera = camera_from_row(rows[0])
    if isinstance(camera, NoCourt):
        return None, f"no floor: {camera.reason}"
    book: RuleBook = rule_book(rows[0]["rule_book"])
    ft = rows[0]["residual_ft"]
    if rows[0]["status"] == "registered":
        how = f"from what the frame itself shows or has pinned, {ft:.2f} ft off"
    else:
        how = f"carried from the frames around it, {ft:.2f} ft of doubt"
    return Floor(camera, book, None), f"{book.name} floor {how}"
