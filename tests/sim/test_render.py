"""The renderer: it draws on whatever EGL there is, the same seed gives the same picture, and labels fit the camera."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from pipeline.court.camera import Camera, Lens
from pipeline.court.geometry import areas, in_paint, in_three_point_area
from pipeline.court.rule_books import rule_book
from pipeline.errors import MissingExtraError
from pipeline.sim.looks import RULE_BOOK_ORDER, Venue, clear_picture, make_look
from pipeline.sim.render.floor import floor_size_ft, floor_texture
from pipeline.sim.render.labels import AREA_NAMES, CLASS_NAMES, area_map
from pipeline.sim.render.matrices import clip_to_view, ideal_window, view_projection
from pipeline.sim.scene import ActorState, BallState, SceneFrame, ScoreBug, Transition

SIZE = (320, 180)


def make_camera(pan_deg: float = 16.0, k1: float = 0.15, size: tuple[int, int] = SIZE) -> Camera:
    lens = Lens(k1, np.array([(size[0] - 1) / 2, (size[1] - 1) / 2]), float(size[0]))
    return Camera(np.array([47.0, -60.0, 28.0]), pan_deg, -16.0, 0.4, size[0] * 1.5, lens, size)


def make_frame(camera: Camera, **changes: object) -> SceneFrame:
    places = [(66, 25), (70, 12), (60, 40), (84, 20), (80, 30), (69, 25), (73, 14), (63, 37), (85, 22), (81, 28)]
    actors = [
        ActorState(i, "player", i // 5, str(i + 4), np.array(p, float), 0.3 * i, "stance", phase=0.2)
        for i, p in enumerate(places)
    ]
    actors.append(ActorState(10, "official", -1, "", np.array([58.0, 8.0]), 1.0, "stand"))
    frame = SceneFrame(3.0, 5, tuple(actors), BallState(np.array([66.0, 26.0, 6.0])), camera)
    return replace(frame, **changes)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def renderer():
    pytest.importorskip("moderngl")
    from pipeline.sim.render.renderer import FilmRenderer

    try:
        return FilmRenderer(clear_picture(make_look(9, rule_book="nba", venue=Venue.ARENA)), SIZE)
    except MissingExtraError as error:
        pytest.skip(f"no EGL here: {error}")


def test_same_seed_same_look_other_seed_other_look():
    assert make_look(5) == make_look(5)
    assert make_look(5) != make_look(9)


def test_rule_books_come_in_equal_parts():
    books = [make_look(seed).rule_book for seed in range(40)]
    assert {book: books.count(book) for book in RULE_BOOK_ORDER} == dict.fromkeys(RULE_BOOK_ORDER, 10)


def test_class_and_area_names_agree_with_the_pipelines():
    from pipeline.court.area_network import AREA_CLASSES
    from pipeline.players.tables import BOX_CLASSES

    assert CLASS_NAMES == BOX_CLASSES
    assert AREA_NAMES == AREA_CLASSES


@pytest.mark.parametrize("name", RULE_BOOK_ORDER)
def test_floor_has_its_lines_where_the_rule_book_has_them(name):
    book = rule_book(name)
    look = make_look(0, rule_book=name)
    plain = replace(
        look.floor,
        material="plain",
        wood=(0.8, 0.6, 0.4),
        grain=0.0,
        wear=0.0,
        line=(1.0, 1.0, 1.0),
        lane_line=(1.0, 1.0, 1.0),
        circle_line=(1.0, 1.0, 1.0),
        line_alpha=1.0,
        paint=(0.1, 0.1, 0.6),
        three_point_area=None,
        half_court=None,
        centre=None,
        centre_radius_ft=0.0,
        lane_band_ft=0.0,
        lane_art=0.0,
        centre_art=0.0,
        side_words=0,
        baseline_words=0,
        other_sports=0,
        second_book=None,
        side_marks="none",
        ghost_art=0,
    )
    scale = 24.0
    texture = floor_texture(plain, book, scale)
    length, width = floor_size_ft(book)
    assert texture.shape == (round(width * scale), round(length * scale), 3)

    def at(x_ft: float, y_ft: float) -> np.ndarray:
        margin = (np.array([length - book.length_ft, width - book.width_ft]) / 2).tolist()
        return texture[int((y_ft + margin[1]) * scale), int((x_ft + margin[0]) * scale)].astype(int)

    half = book.line_width_ft / 2
    for x, y in (
        (book.length_ft / 2, book.width_ft * 0.8),  # halfway
        (book.length_ft * 0.4, -half),  # near sideline
        (book.lane_length_ft - half, book.width_ft / 2),  # free-throw line
        (book.ring_to_baseline_ft + book.arc_radius_ft - half, book.width_ft / 2),  # top of the arc
        (book.length_ft / 2 + book.circle_radius_ft - half, book.width_ft / 2),  # centre circle
    ):
        assert at(x, y).min() > 225, (name, x, y, at(x, y))
    paint = at(book.lane_length_ft - 2.0, book.width_ft / 2 + 3.0)
    assert paint[2] > paint[0] + 60
    bare = at(book.length_ft * 0.4, book.width_ft * 0.7)
    assert bare[0] > bare[2] + 60


def test_clip_space_agrees_with_the_camera_for_points_all_over_the_court():
    camera = make_camera(k1=0.0)
    window = ideal_window(camera)
    rng = np.random.default_rng(1)
    points = rng.uniform([30, 0, 0], [94, 50, 12], (200, 3))
    clip = np.column_stack([points, np.ones(200)]) @ view_projection(camera, window).T
    ndc = clip[:, :2] / clip[:, 3:]
    pixel = (ndc + 1) / 2 * [window.width_px, window.height_px] + [window.x_px, window.y_px] - 0.5
    np.testing.assert_allclose(pixel, camera.project(points), atol=1e-6)


def test_clipping_keeps_inner_points_and_drops_what_is_behind():
    camera = make_camera()
    square = np.array([[60, 20, 0], [70, 20, 0], [70, 30, 0], [60, 30, 0.0]])
    np.testing.assert_allclose(clip_to_view(square, camera), square, atol=1e-9)
    assert len(clip_to_view(square - [0, 300, 0], camera)) == 0


@pytest.mark.parametrize("name", RULE_BOOK_ORDER)
@pytest.mark.parametrize("k1", [-0.1, 0.2])
def test_area_map_agrees_with_geometry_on_the_floor(name, k1):
    book = rule_book(name)
    camera = make_camera(k1=k1, size=(640, 360))
    floor = replace(make_look(1, rule_book=name).floor, centre_radius_ft=0.0)
    label = area_map(camera, book, floor)
    rng = np.random.default_rng(2)
    pixels = rng.uniform([2, 2], [637, 357], (3000, 2)).round()
    floor_ft = camera.to_floor(pixels)
    found = label[pixels[:, 1].astype(int), pixels[:, 0].astype(int)]
    wanted = np.zeros(len(pixels), int)
    with np.errstate(invalid="ignore"):
        inside = (floor_ft >= 0).all(1) & (floor_ft <= [book.length_ft, book.width_ft]).all(1)
    wanted[inside] = AREA_NAMES.index("floor")
    for end in ("left", "right"):
        wanted[inside & in_three_point_area(floor_ft, book, end)] = AREA_NAMES.index("three_point_area")
        wanted[inside & in_paint(floor_ft, book, end)] = AREA_NAMES.index("paint")
    middle = np.array([book.length_ft / 2, book.width_ft / 2])
    wanted[np.linalg.norm(floor_ft - middle, axis=1) < book.circle_radius_ft] = AREA_NAMES.index("centre_circle")
    off_line = found != AREA_NAMES.index("line")
    assert 0.85 < off_line.mean() < 1.0
    assert (found == wanted)[off_line].mean() > 0.995
    assert set(np.unique(found)) >= {0, 1, 2, 3}


def test_lines_in_the_area_map_lie_within_a_pixel_of_the_projected_lines():
    book = rule_book("nba")
    camera = make_camera(size=(640, 360))
    label = area_map(camera, book, replace(make_look(1).floor, centre_radius_ft=0.0))
    x = np.linspace(70, book.length_ft - 1, 60)
    near = camera.project_floor(np.column_stack([x, np.full(60, book.width_ft + book.line_width_ft / 2)]))
    inside = (near > 1).all(1) & (near < [638, 358]).all(1)
    assert inside.sum() > 10
    rows, columns = near[inside].round().astype(int)[:, ::-1].T
    assert (label[rows, columns] == AREA_NAMES.index("line")).all()


def test_same_frame_twice_gives_the_same_picture_and_labels(renderer):
    frame = make_frame(make_camera(), score_bug=ScoreBug(2, 432.0, 13.0, 40, 38))
    again = replace(frame, t_s=frame.t_s)
    first, second = renderer.draw(frame), renderer.draw(again)
    assert first.shape == (SIZE[1], SIZE[0], 3)
    assert first.dtype == np.uint8
    np.testing.assert_array_equal(first, second)
    one, two = renderer.labels(frame), renderer.labels(again)
    assert one.boxes == two.boxes or [b.box_px for b in one.boxes] == [b.box_px for b in two.boxes]
    np.testing.assert_array_equal(one.areas, two.areas)


def test_picture_is_no_flat_colour_and_shows_the_floor(renderer):
    frame = make_frame(make_camera())
    picture = renderer.draw(frame)
    assert picture.std() > 15
    label = renderer.labels(frame).areas
    paint = renderer.look.floor.paint or renderer.look.floor.wood
    seen = np.median(picture[label == AREA_NAMES.index("paint")], axis=0)[::-1]
    direction = np.array(paint) / np.linalg.norm(paint)
    assert float(seen @ direction / np.linalg.norm(seen)) > 0.9


def test_boxes_hold_feet_and_head_and_follow_the_camera(renderer):
    camera = make_camera()
    frame = make_frame(camera)
    boxes = {box.actor: box for box in renderer.boxes(frame) if box.actor >= 0}
    assert len(boxes) >= 9
    for actor in frame.actors:
        if actor.actor not in boxes:
            continue
        box = boxes[actor.actor]
        feet = camera.project_floor(actor.position_ft[None])[0]
        np.testing.assert_allclose(box.feet_px, feet, atol=1e-6)
        x1, y1, x2, y2 = box.whole_px
        assert x1 - 1 <= feet[0] <= x2 + 1
        assert y1 < feet[1] <= y2 + 4
        head = camera.project(np.array([[*actor.position_ft, 5.0]]))[0]
        assert y1 - 4 < head[1] < y2
        assert 0.0 <= box.visible <= 1.0


def test_a_body_behind_another_is_seen_less(renderer):
    camera = make_camera(pan_deg=0.0)
    front = ActorState(0, "player", 0, "1", np.array([47.0, 20.0]), 1.5, "stand")
    behind = ActorState(1, "player", 1, "2", np.array([47.0, 22.0]), 1.5, "stand")
    boxes = {b.actor: b for b in renderer.boxes(SceneFrame(0.0, 0, (front, behind), None, camera))}
    assert boxes[0].visible > 0.97
    assert boxes[1].visible < 0.75
    alone = {b.actor: b for b in renderer.boxes(SceneFrame(0.0, 1, (behind,), None, camera))}
    assert alone[1].visible > 0.97


def test_ring_box_spans_the_projected_board(renderer):
    from pipeline.court.geometry import board_corners_ft

    camera = make_camera(pan_deg=20.0)
    rings = [box for box in renderer.boxes(make_frame(camera)) if box.name == "ring"]
    assert rings
    corners = camera.project(board_corners_ft(renderer.book, "right"))
    whole = np.array(max(rings, key=lambda box: box.whole_px[2]).whole_px)
    assert abs(whole[1] - corners[:, 1].min()) < 1.0
    assert whole[3] > corners[:, 1].max()


def test_ball_box_is_centred_on_the_projected_ball(renderer):
    camera = make_camera()
    frame = make_frame(camera)
    ball = next(box for box in renderer.boxes(frame) if box.name == "ball")
    x1, y1, x2, y2 = ball.whole_px
    np.testing.assert_allclose(
        [(x1 + x2) / 2, (y1 + y2) / 2], camera.project(np.array([[66.0, 26.0, 6.0]]))[0], atol=1.0
    )


def test_views_without_court_have_no_labels(renderer):
    for view in ("crowd", "graphic"):
        frame = make_frame(make_camera(), view=view)
        picture, labels = renderer.draw(frame), renderer.labels(frame)
        assert picture.shape == (SIZE[1], SIZE[0], 3)
        assert labels.boxes == ()
        assert not labels.areas.any()


def test_wipe_covers_the_picture_in_the_middle_and_not_at_the_ends(renderer):
    frame = make_frame(make_camera())
    plain = renderer.draw(frame).astype(int)
    start = renderer.draw(replace(frame, transition=Transition("wipe", 0.0))).astype(int)
    middle = renderer.draw(replace(frame, transition=Transition("wipe", 0.5))).astype(int)
    assert np.abs(plain - start).mean() < 2
    assert np.abs(plain - middle).mean() > 15


def test_floor_lines_are_drawn_where_the_camera_projects_them(renderer):
    """The rendered far edge of the paint lies within a pixel or so of the projected one."""
    camera = make_camera(size=SIZE)
    look = renderer.look
    assert look.floor.paint is not None
    picture = renderer.draw(SceneFrame(0.0, 3, (), None, camera))
    polygon = camera.project_floor(np.array(areas(renderer.book)["paint_right"]))
    mask = np.zeros((SIZE[1], SIZE[0]), np.uint8)
    cv2.fillPoly(mask, [polygon.round().astype(np.int32)], 1)
    inner = cv2.erode(mask, np.ones((7, 7), np.uint8)) > 0
    outer = (cv2.dilate(mask, np.ones((9, 9), np.uint8)) > 0) & (cv2.dilate(mask, np.ones((5, 5), np.uint8)) == 0)
    inside, outside = np.median(picture[inner], axis=0), np.median(picture[outer], axis=0)
    assert np.linalg.norm(inside - outside) > 25
