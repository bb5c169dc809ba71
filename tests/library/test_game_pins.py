"""Pins of a game on disk and on the command line."""

from pathlib import Path

import numpy as np
import pytest

import pipeline.cli
from pipeline.court.camera import Camera, Lens, straight_lens
from pipeline.court.landmarks import landmarks
from pipeline.court.pins import PinnedFrame
from pipeline.court.rule_books import rule_book
from pipeline.court.settings import RegistrationSettings
from pipeline.court.tables import AREAS
from pipeline.errors import LibraryError, SettingsError
from pipeline.film.tables import FRAMES, SHOTS
from pipeline.library.games import Game, write_game_file
from pipeline.library.pins import pin_frame, pins_path, read_pins, unpin_frame, write_pins
from pipeline.night.run import table_stages
from pipeline.night.stages import stage_key
from pipeline.settings import Settings

CHOSEN = RegistrationSettings()


@pytest.fixture
def game(tmp_path: Path) -> Game:
    folder = tmp_path / "library" / "games" / "one"
    (folder / "tables").mkdir(parents=True)
    made = Game("one", folder)
    film = tmp_path / "one.mp4"
    write_game_file(made, film, "digest", "fiba")
    FRAMES.write(FRAMES.from_columns({"frame": [0, 2, 4], "t_s": [0.0, 0.08, 0.16], "shot": [0, 0, 0]}), made.tables)
    row = {"frame": 0, "t_s": 0.0, "shot": 0, "width_px": 1280, "height_px": 720, "labels": bytes(64 * 36)}
    AREAS.write(AREAS.from_rows([row | {"floor_share": 0.0, "sureness": 0.0}]), made.tables)
    SHOTS.write(SHOTS.empty(), made.tables)
    return made


def _points(skip: int = 0) -> list[str]:
    book = rule_book("fiba")
    lens = Lens(0.1, straight_lens((1280, 720)).centre_px, 1280.0)
    camera = Camera(np.array([46.0, -55, 24]), -22.0, -15.5, 0.3, 1850.0, lens, (1280, 720))
    found = []
    for one in landmarks(book).values():
        (px,) = camera.project_floor([[one.x_ft, one.y_ft]])
        if np.isfinite(px).all() and (px > 0).all() and (px < [1279, 719]).all():
            found.append(f"{px[0]:.1f},{px[1]:.1f}={one.name}")
    return found[skip:]


def test_pins_are_kept_replaced_and_taken_away(game: Game) -> None:
    assert read_pins(game) == ()
    done = pin_frame(game, "0.1", _points(), CHOSEN)
    assert done.pins.frame == 2
    assert done.miss_px < 0.5
    (kept,) = read_pins(game)
    assert (kept.frame, kept.t_s, dict(kept.points)) == (2, 0.08, dict(done.pins.points))
    pin_frame(game, "0:00.08", _points(1), CHOSEN)
    pin_frame(game, "0", _points(), CHOSEN)
    assert [len(one.points) for one in read_pins(game)] == [len(_points()), len(_points()) - 1]
    assert unpin_frame(game, "0.2").frame == 2
    assert unpin_frame(game, "0").frame == 0
    assert not pins_path(game).exists()
    with pytest.raises(SettingsError, match="Nothing is pinned at 0 s"):
        unpin_frame(game, "0")


def test_the_court_stage_depends_on_the_pins(game: Game) -> None:
    def key(*pins: PinnedFrame) -> str:
        (court,) = [s for s in table_stages(Settings(), pins=pins) if s.name == "court"]
        only_key = type(court)(court.name, (), court.writes, court.rooms, court.settings, court.run, court.depends)
        return stage_key(only_key, game)

    one, other = PinnedFrame(2, 0.08, {"centre": (5.0, 6.0)}), PinnedFrame(2, 0.08, {"centre": (5.0, 7.0)})
    assert len({key(), key(one), key(other)}) == 3
    assert key(one) == key(PinnedFrame(2, 0.08, {"centre": (5.0, 6.0)}))


@pytest.mark.parametrize(
    ("at", "points", "said"),
    [
        ("late", _points(), "'late' is no time"),
        ("9.5", _points(), "no frame at 9.5 s; its film goes from 0.00 to 0.16 s"),
        ("0", ["1,2"], "'1,2' is no pin; write x,y=landmark"),
        ("0", ["1;2=centre"], "is no pin"),
        ("0", ["1,2=center"], "did you mean 'centre'"),
        ("0", ["1,2=centre", "3,4=centre"], "'centre' is pinned twice"),
        ("0", _points()[:3], "4 on one frame are needed"),
        ("0", [*_points(), "1300,2=arc_right_top"], "outside the picture"),
    ],
)
def test_bad_pins_are_one_clear_sentence(game: Game, at: str, points: list[str], said: str) -> None:
    with pytest.raises(SettingsError) as error:
        pin_frame(game, at, points, CHOSEN)
    assert said in str(error.value)
    assert "\n" not in str(error.value)
    assert not pins_path(game).exists()


def test_a_damaged_file_is_named(game: Game) -> None:
    pins_path(game).write_text("[[pinned]\n", encoding="utf-8")
    with pytest.raises(LibraryError, match=r"pins\.toml is not valid TOML"):
        read_pins(game)
    pins_path(game).write_text("[[pinned]]\nframe = 1\nt_s = 2.0\npoints = {roof = [1, 2]}\n", encoding="utf-8")
    with pytest.raises(LibraryError, match=r"no landmark 'roof'"):
        read_pins(game)
    pins_path(game).write_text("[[pinned]]\nframe = 1\n", encoding="utf-8")
    with pytest.raises(LibraryError, match=r"pinned\.0\.t_s"):
        read_pins(game)
    write_pins(game, ())
    assert read_pins(game) == ()


def _said(arguments: list[str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> tuple[int, str]:
    monkeypatch.setattr("sys.argv", ["elbowroom", *arguments])
    code = 0
    try:
        pipeline.cli.main()
    except SystemExit as stop:
        code = int(stop.code or 0)
    told = capsys.readouterr()
    return code, told.out + told.err


@pytest.mark.usefixtures("game")
def test_the_commands(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    place = ["--library", str(tmp_path / "library")]
    code, text = _said(["court", "pin", "one", "--at", "0.08", *_points(), *place], monkeypatch, capsys)
    assert (code, "landmarks pinned at 0.08 s" in text) == (0, True)
    code, text = _said(["court", "pin", "two", "--at", "0.08", *_points(), *place], monkeypatch, capsys)
    assert (code, "no game 'two'" in text) == (2, True)
    code, text = _said(["court", "show", "one", "--at", "0.08", *place], monkeypatch, capsys)
    assert (code, "is no longer at" in text) == (2, True)
    code, text = _said(["court", "unpin", "one", "--at", "0.08", *place], monkeypatch, capsys)
    assert code == 0
    folder = tmp_path / "plan"
    code, text = _said(["court", "landmarks", "--rule-book", "nba", "--out", str(folder)], monkeypatch, capsys)
    assert code == 0
    assert text.count("\n") == len(landmarks(rule_book("nba"))) + 1
    assert (folder / "landmarks-nba.drawn.png").stat().st_size > 10_000
