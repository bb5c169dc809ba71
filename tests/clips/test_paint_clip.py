"""The crowded paint drawn through a known camera, and the clip and still of a tag."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from pipeline.clips.cutting import Clip
from pipeline.clips.floor_drawing import canvas, fill_area, fill_colour, on_picture, paint_outline
from pipeline.clips.paint_clip import attacked_end, draw_crowded_paint, numbers_of
from pipeline.clips.playback import Body, Playback
from pipeline.clips.settings import ClipSettings
from pipeline.clips.stills import still_of_tag
from pipeline.clips.tag_film import clip_of_tag, cut_tag, stretch_of
from pipeline.court.camera import Camera
from pipeline.court.tables import CAMERAS
from pipeline.errors import LibraryError, PictureError
from pipeline.film.decode import decode
from pipeline.film.probe import probe
from pipeline.library.games import Library
from pipeline.players.tables import TRACKS
from pipeline.settings import Settings
from pipeline.spacing.tables import SPACING
from tests.clips.made_up_game import (
    ACTORS,
    BOOK,
    PLACES,
    SIZE,
    add_game,
    body_at,
    camera_at,
    camera_table,
    settings_with,
    tag_at,
    track_table,
)
from tests.film.films import write_film

WOOD, KIT = (120, 170, 210), (40, 40, 200)
SETTINGS = ClipSettings()


def picture_of(camera: Camera) -> tuple[np.ndarray, list[Body]]:
    """A wooden floor with six bodies as upright blocks of one colour."""
    picture = np.full((SIZE[1], SIZE[0], 3), WOOD, dtype=np.uint8)
    bodies = [body_at(track, camera) for track in PLACES]
    for body in bodies:
        x1, y1, x2, y2 = (round(v) for v in body.box_px)
        cv2.rectangle(picture, (x1, y1), (x2, y2), KIT, cv2.FILLED)
    return picture, bodies


def drawn(camera: Camera, headline: tuple = ()) -> tuple[np.ndarray, np.ndarray, list[Body]]:
    picture, bodies = picture_of(camera)
    return picture, draw_crowded_paint(picture, camera, bodies, ACTORS, BOOK, "right", headline, SETTINGS), bodies


def test_numbers_go_by_team() -> None:
    assert numbers_of(ACTORS) == {2: 1, 3: 2, 11: 3, 12: 4, 20: 5}
    assert numbers_of([("handler", 4)]) == {}


def test_paint_lies_where_the_rule_book_says() -> None:
    """Pixels whose floor point is well inside the paint are tinted, those well outside are not."""
    camera = camera_at(25.0)
    before = np.full((SIZE[1], SIZE[0], 3), WOOD, dtype=np.uint8)
    on = canvas(before, camera, paint_outline(BOOK, "right"), [], SETTINGS)
    fill_area(on, paint_outline(BOOK, "right"), SETTINGS.paint, 0.5)
    y, x = np.mgrid[0 : SIZE[1] : 9, 0 : SIZE[0] : 9]
    feet = camera.to_floor(np.column_stack([x.ravel(), y.ravel()]).astype(float))
    # NBA Rule No. 1: the lane is 16 ft wide about the middle (25 ft) and 19 ft long.
    margin = np.minimum.reduce([feet[:, 0] - 75, 94 - feet[:, 0], feet[:, 1] - 17, 33 - feet[:, 1]])
    changed = (on.picture != before).any(axis=2)[y, x].ravel()
    assert (margin > 0.3).sum() > 100
    assert changed[margin > 0.3].all()
    assert not changed[margin < -0.3].any()
    mixed = 0.5 * np.array(WOOD) + 0.5 * np.array(SETTINGS.paint[::-1])
    inside = on.picture[y, x].reshape(-1, 3)[margin > 0.5]
    np.testing.assert_allclose(inside.astype(float), np.broadcast_to(mixed, inside.shape), atol=1.5)


def test_bodies_stay_in_front_of_the_paint() -> None:
    picture, after, bodies = drawn(camera_at(25.0))
    changed = (after != picture).any(axis=2)
    covered = np.zeros(changed.shape, bool)
    for body in bodies:
        x1, y1, x2, y2 = (round(v) for v in body.box_px)
        covered[y1 : y2 + 1, x1 : x2 + 1] = True
    on_bodies, on_floor = [], []
    for body in bodies:
        x1, y1, x2, y2 = (round(v) for v in body.box_px)
        upper = np.s_[y1 + 2 : y1 + round(0.55 * (y2 - y1)), x1 + 2 : x2 - 1]
        on_bodies.append(changed[upper].mean())
        if body.track != 1:
            on_floor.append(changed[y2 + 4, x1:x2][~covered[y2 + 4, x1:x2]].mean())
    assert max(on_bodies) < 0.05
    assert min(on_floor) > 0.6, on_floor


def test_rings_and_numbers_only_for_those_counted() -> None:
    camera = camera_at(25.0)
    picture, bodies = picture_of(camera)
    everyone = draw_crowded_paint(picture, camera, bodies, ACTORS, BOOK, "right", (), SETTINGS)
    without = draw_crowded_paint(picture, camera, bodies, ACTORS[:1], BOOK, "right", (), SETTINGS)
    differs = (everyone != without).any(axis=2)
    for body in bodies:
        below = camera.project_floor(np.array([[body.place_ft[0], body.place_ft[1] - SETTINGS.ring_radius_ft]]))[0]
        x, y = np.rint(below).astype(int)
        assert differs[y - 2 : y + 12, x - 4 : x + 5].any() == (body.track != 1)
    gone = [b for b in bodies if b.track != 3]
    assert draw_crowded_paint(picture, camera, gone, ACTORS, BOOK, "right", (), SETTINGS).shape == picture.shape


def test_drawing_is_repeatable_and_leaves_the_picture_alone() -> None:
    camera = camera_at(25.0)
    picture, bodies = picture_of(camera)
    kept = picture.copy()
    picture.setflags(write=False)
    lines = (("5 in the paint", (245, 245, 245)), ("a caption that is far wider than the picture " * 4, (1, 2, 3)))
    one = draw_crowded_paint(picture, camera, bodies, ACTORS, BOOK, "right", lines, SETTINGS)
    two = draw_crowded_paint(picture, camera, bodies, ACTORS, BOOK, "right", lines, SETTINGS)
    np.testing.assert_array_equal(one, two)
    np.testing.assert_array_equal(picture, kept)


def test_paint_outside_the_picture_draws_nothing_on_the_floor() -> None:
    camera = camera_at(-25.0)  # looks at the left half
    picture, bodies = picture_of(camera_at(25.0))
    after = draw_crowded_paint(picture, camera, [], ACTORS, BOOK, "right", (), SETTINGS)
    np.testing.assert_array_equal(after, picture)
    assert len(bodies) == 6


def test_lines_bend_with_the_lens() -> None:
    straight, bent = (on_picture(np.array([[75.0, 17.0], [94.0, 17.0]]), camera_at(25.0, k1)) for k1 in (0.0, 0.4))
    assert len(straight) == len(bent) > 30

    def off_line(px: np.ndarray) -> float:
        way = (px[-1] - px[0]) / np.linalg.norm(px[-1] - px[0])
        return float(np.abs((px - px[0]) @ np.array([-way[1], way[0]])).max())

    assert off_line(straight) < 1e-6
    assert off_line(bent) > 0.4


def test_fill_stands_out_from_the_floor() -> None:
    outline, camera = paint_outline(BOOK, "right"), camera_at(25.0)
    for floor, wanted in ((SETTINGS.paint, SETTINGS.paint_other), (SETTINGS.paint_other, SETTINGS.paint)):
        picture = np.full((SIZE[1], SIZE[0], 3), floor[::-1], dtype=np.uint8)
        assert fill_colour(canvas(picture, camera, outline, [], SETTINGS), outline, SETTINGS) == wanted
        away = canvas(picture, camera_at(-25.0), outline, [], SETTINGS)
        assert fill_colour(away, outline, SETTINGS) == SETTINGS.paint


# Playback ---------------------------------------------------------------------------------------


def test_playback_between_analysed_frames() -> None:
    cameras = camera_table([0.0, 0.1, 0.2, 1.0, 1.1], [20.0, 22.0, None, 30.0, 31.0])
    playback = Playback(cameras, track_table([0.0, 0.2, 1.0], moving_ft=5.0), 0, 0.4)
    assert playback.rule_book == "nba"
    assert playback.camera(0.05).pan_deg == pytest.approx(21.0)
    assert playback.camera(0.1).pan_deg == 22.0
    assert playback.camera(0.25).pan_deg == 22.0  # half a bridge beyond the last known
    assert playback.camera(0.6) is None
    assert playback.camera(5.0) is None
    at = {b.track: b for b in playback.bodies(0.1)}
    assert at[2].place_ft == (pytest.approx(80.5), 20.0)
    assert at[20].box_px is None
    assert at[1].box_px is not None
    assert playback.bodies(0.6) == ()
    assert Playback(cameras, TRACKS.empty(), 3, 0.4).camera(0.0) is None
    assert Playback(CAMERAS.empty(), TRACKS.empty(), 0, 0.4).rule_book is None


# Tags -------------------------------------------------------------------------------------------


@pytest.fixture
def library(tmp_path: Path) -> Library:
    """A library with one game of two seconds."""
    picture, _ = picture_of(camera_at(25.0))
    film = write_film(tmp_path / "film.mp4", [picture] * 50, options={"preset": "ultrafast"})
    library = Library(tmp_path / "library")
    add_game(library, "game", film)
    return library


def test_clip_and_still_of_a_tag(library: Library, tmp_path: Path) -> None:
    game, settings = library.game("game"), settings_with(before_s=0.4, after_s=0.4, freeze_s=0.5)
    clip = clip_of_tag(game, tag_at(1.0), tmp_path / "out" / "7.mp4", settings)
    assert isinstance(clip, Clip)
    assert (clip.start_s, clip.end_s) == (pytest.approx(0.2), pytest.approx(1.7))
    assert probe(clip.path).duration_s == pytest.approx(2.0, abs=0.06)
    plain = next(iter(decode(game.film()))).image.astype(int)
    middle = np.rint(camera_at(25.0).project_floor(np.array([[78.0, 29.0]]))[0]).astype(int)
    wanted = (1 - SETTINGS.paint_strength) * np.array(WOOD) + SETTINGS.paint_strength * np.array(
        SETTINGS.paint_other[::-1]
    )
    for frame in decode(clip.path):
        np.testing.assert_allclose(frame.image[middle[1], middle[0]], wanted, atol=12)
    still = still_of_tag(library, tag_at(1.0), tmp_path / "out" / "7.png", settings)
    image = cv2.imread(str(still))
    assert image.shape == plain.shape
    np.testing.assert_allclose(image[middle[1], middle[0]], wanted, atol=12)
    assert sorted(p.name for p in still.parent.iterdir()) == ["7.mp4", "7.png"]


def test_a_tag_of_another_kind_shows_its_actors_and_its_sentence(library: Library, tmp_path: Path) -> None:
    game = library.game("game")
    sentence = "Number 4 and number 11 stand 6 feet apart for 2 seconds, while the others wait on the far side."
    twins = tag_at(1.0, kind="twins", actors=(("player", 2), ("other", 3)), sentence=sentence)
    path = cut_tag(library, twins, tmp_path, settings_with(before_s=0.4, after_s=0.4, freeze_s=0.5))
    plain = next(iter(decode(game.film()))).image.astype(int)
    frames = [frame.image.astype(int) for frame in decode(path)]
    playback = Playback(CAMERAS.read(game.tables), TRACKS.read(game.tables), 0, 0.4)
    bodies = {body.track: body for body in playback.bodies(1.0)}
    camera = playback.camera(1.0)
    for track in (2, 3):
        x, y = camera.project_floor(np.array([bodies[track].place_ft]))[0].round().astype(int)
        near = (slice(y - 25, y + 25), slice(x - 60, x + 60))
        assert np.abs(frames[5] - plain)[near].max() > 60, "the actor is ringed"
    assert np.abs(frames[5] - plain)[:40].mean() > np.abs(frames[5] - plain)[-40:].mean(), "the sentence is above"


def test_frames_without_a_camera_are_shown_as_they_are(library: Library, tmp_path: Path) -> None:
    game = library.game("game")
    times = [round(0.1 * k, 6) for k in range(20)]
    CAMERAS.write(camera_table(times, [25.0] * 10 + [None] * 10), game.tables)
    clip = clip_of_tag(game, tag_at(0.5), tmp_path / "clip.mp4", settings_with(freeze_s=0))
    frames = list(decode(clip.path))
    plain = next(iter(decode(game.film()))).image.astype(int)
    assert np.abs(frames[-1].image - plain).mean() < 1.5 < np.abs(frames[5].image - plain).mean()


def test_stretch_keeps_the_moment() -> None:
    settings = ClipSettings(before_s=3, after_s=2, longest_s=10)
    assert stretch_of(tag_at(20.0), settings) == (pytest.approx(16.6), pytest.approx(22.3))
    assert stretch_of(tag_at(1.0), settings)[0] == 0.0
    start_s, end_s = stretch_of(tag_at(50.0, start_s=20.0, end_s=51.0), settings)
    assert end_s - start_s <= 10
    assert start_s < 50 < end_s


def test_what_is_missing_is_said(library: Library, tmp_path: Path) -> None:
    game = library.game("game")
    with pytest.raises(LibraryError, match="nothing about shot 4"):
        clip_of_tag(game, tag_at(1.0, shot=4), tmp_path / "clip.mp4", Settings())
    with pytest.raises(PictureError, match="no picture at 9"):
        still_of_tag(library, tag_at(9.0), tmp_path / "still.png", Settings())
    assert attacked_end(SPACING.read(game.tables), tag_at(1.0).candidate) == "right"
    (game.tables / "tracks.parquet").unlink()
    with pytest.raises(LibraryError, match="missing"):
        clip_of_tag(game, tag_at(1.0), tmp_path / "clip.mp4", Settings())
