"""What is drawn of a tag: ways, passes, screens, measured lengths, phases; on film and on the half court."""

import io
import math
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image, ImageSequence

from pipeline.actions.events import Event, events_to_table
from pipeline.actions.tables import ACTIONS
from pipeline.ball.tables import BALL
from pipeline.clips.captions import caption_size, corner_for, draw_caption, meet, rows_of
from pipeline.clips.distances import feet, figures
from pipeline.clips.film_marks import FloorDrawing, quiet_corner
from pipeline.clips.half_court import DiagramForm, diagram
from pipeline.clips.half_court_sheet import frames_of_tag
from pipeline.clips.half_court_signs import strokes_between
from pipeline.clips.lesson_source import lesson_of
from pipeline.clips.making import Made, frozen, make_of_tag
from pipeline.clips.marks import Look, Sort
from pipeline.clips.playback import Body
from pipeline.clips.reels import plan_reel, reel_film, reel_of_tags
from pipeline.clips.tag_film import freezes_of
from pipeline.court.attack_frame import to_court
from pipeline.court.tables import CAMERAS
from pipeline.errors import LibraryError, SettingsError
from pipeline.film.decode import decode
from pipeline.film.probe import probe
from pipeline.library.games import Game, Library, TrackingFile, write_tracking_game_file
from pipeline.players.tables import TRACKS
from pipeline.sets.moving import Sign
from pipeline.sets.tables import SET_CANDIDATES
from pipeline.spacing.tables import SPACING
from pipeline.tags import Family
from tests.clips.made_up_game import BOOK, SIZE, add_game, camera_at, camera_table, settings_with, spacing_table, tag_at
from tests.film.films import write_film

WOOD = (120, 170, 210)
TIMES = [round(0.1 * k, 6) for k in range(41)]
# Attack frame of the right end. 1 brings the ball and passes at 1.5 s to 2, who caught it 28.6 ft out at 2.0 s;
# 3 goes to screen 11, who guards 1, and stands from 1 s on.
START = {
    1: (30.0, 2.0),
    2: (20.0, 18.0),
    3: (12.0, -4.0),
    4: (0.0, 22.0),
    5: (0.0, -22.0),
    11: (26.0, 0.0),
    12: (16.0, 15.0),
}
END = {1: (22.0, -8.0), 2: (20.0, 20.5), 3: (24.0, -2.0)}


def uv_at(track: int, t_s: float) -> np.ndarray:
    start = np.array(START[track])
    if track not in END:
        return start
    reach = {1: 3.0, 2: 2.0, 3: 1.0}[track]
    return start + min(1.0, t_s / reach) * (np.array(END[track]) - start)


def put_play(game: Game, *, cameras: bool) -> None:
    """Four seconds of a made-up play into a game's tables."""
    rows, ball = [], []
    for number, t_s in enumerate(TIMES):
        for track in START:
            x, y = to_court(uv_at(track, t_s)[None], BOOK, "right")[0]
            told = {"frame": number, "t_s": t_s, "shot": 0, "track": track, "role": "player", "observed": True}
            row = {**told, "team": 0 if track < 10 else 1, "x_ft": x, "y_ft": y, "jersey": "29" if track == 2 else None}
            if cameras:
                foot, head = camera_at(25.0).project(np.array([[x, y, 0.0], [x, y, 6.4]]))
                half = 0.18 * (foot[1] - head[1])
                row |= {"x1_px": foot[0] - half, "y1_px": head[1], "x2_px": foot[0] + half, "y2_px": foot[1]}
            rows.append(row)
        holder = 1 if t_s < 1.5 else 2 if t_s >= 2.0 else None
        if holder is not None:
            x, y = to_court(uv_at(holder, t_s)[None], BOOK, "right")[0]
            place = {"x_ft": x, "y_ft": y, "holder": holder}
            ball.append({"frame": number, "t_s": t_s, "shot": 0, "observed": True, **place})
    TRACKS.write(TRACKS.from_rows(rows), game.tables)
    BALL.write(BALL.from_rows(ball), game.tables)
    SPACING.write(spacing_table(TIMES), game.tables)
    thrown = Event("pass", 0, 0, 1.5, 2.0, 2.0, (("passer", 1), ("receiver", 2)), (0, 0), "right",
                   {"catch_ring_ft": math.hypot(20, 20.5), "catch_u_ft": 20.0, "catch_v_ft": 20.5}, 0.9,
                   {"returned": "yes"})  # fmt: skip
    screen = Event("on_ball_screen", 0, 0, 0.8, 1.6, 1.2,
                   (("handler", 1), ("screener", 3), ("on_ball_defender", 11)), (0, 0), "right",
                   {"contact_ft": math.dist((24, -2), (26, 0))}, 0.8, {})  # fmt: skip
    elsewhere = Event("pass", 0, 0, 3.7, 3.9, 3.9, (("passer", 4), ("receiver", 5)), (0, 0), "right", {}, 0.9, {})
    ACTIONS.write(events_to_table([thrown, screen, elsewhere], ACTIONS), game.tables)
    phases = [
        {"name": "ball_screen", "found": True, "event": 0, "start_s": 0.8, "end_s": 1.6},
        {"name": "swing", "found": True, "event": 1, "start_s": 1.5, "end_s": 2.0},
        {"name": "drive", "found": False, "event": None, "start_s": None, "end_s": None},
    ]
    row = {"event": 0, "kind": "horns", "shot": 0, "possession": 0, "start_s": 0.5, "end_s": 3.0, "t_s": 2.0,
           "actors": [{"role": "guard", "track": 1}, {"role": "big", "track": 3}], "attacked_end": "right",
           "measures": [], "traits": [], "score": 0.8, "complete": True, "phases": phases, "missing": []}  # fmt: skip
    SET_CANDIDATES.write(SET_CANDIDATES.from_rows([row]), game.tables)


@pytest.fixture
def library(tmp_path: Path) -> Library:
    """A game with film and one without, the same play in both."""
    library = Library(tmp_path / "library")
    picture = np.full((SIZE[1], SIZE[0], 3), WOOD, dtype=np.uint8)
    film = write_film(tmp_path / "film.mp4", [picture] * 100, options={"preset": "ultrafast"})
    game = add_game(library, "game", film)
    CAMERAS.write(camera_table(TIMES, [25.0] * len(TIMES)), game.tables)
    put_play(game, cameras=True)
    bare = Game("bare", library.root / "games" / "bare")
    bare.tables.mkdir(parents=True)
    write_tracking_game_file(bare, TrackingFile(path="/gone/träcks.csv", digest="d" * 64), "nba", ("Harbour", ""))
    put_play(bare, cameras=False)
    return library


def set_tag(game: str = "game"):
    return tag_at(
        2.0, game=game, kind="horns", family=Family.SET, start_s=0.5, end_s=3.0,
        actors=(("guard", 1), ("big", 3)), sentence="Horns. The big waits.", measures={},
    )  # fmt: skip


def catch_tag(game: str = "game"):
    return tag_at(
        2.0, number=8, game=game, kind="pushed_out_catch", start_s=1.5, end_s=2.0,
        actors=(("receiver", 2), ("passer", 1)), sentence="Number 29 catches too far out.",
        measures={"catch_ring_ft": math.hypot(20, 20.5), "catch_above_line_ft": 6.25, "catch_u_ft": 20.0,
                  "catch_v_ft": 20.5, "length_ft": 26.0},
    )  # fmt: skip


def lines_of(marks, sort: Sort):
    return [line for line in marks.lines if line.sort is sort]


# What is told ---------------------------------------------------------------------------------------


def test_a_set_names_its_phases_as_they_happen(library: Library) -> None:
    lesson = lesson_of(set_tag(), library.game("game"), settings_with())
    assert [lesson.marks(t).step for t in (0.6, 1.0, 1.9, 2.9)] == [
        "",
        "1 of 2: ball screen",
        "2 of 2: swing",
        "2 of 2: swing",
    ]
    marks = lesson.marks(1.2)
    assert (marks.title, marks.said) == ("Horns", "The big waits.")
    assert [label.text for label in marks.labels] == ["2.8 ft contact"]


def test_a_screen_is_a_bar_across_the_way_to_the_defender(library: Library) -> None:
    lesson = lesson_of(set_tag(), library.game("game"), settings_with())
    (bar,) = lines_of(lesson.marks(1.2), Sort.SCREEN)
    ends = bar.points_ft
    # The screener stands at (24, -2), the defender at (26, 0): the bar is square to that way and 4.6 ft long.
    way = to_court(np.array([[26.0, 0.0]]), BOOK, "right")[0] - to_court(np.array([[24.0, -2.0]]), BOOK, "right")[0]
    assert (ends[1] - ends[0]) @ way == pytest.approx(0, abs=1e-6)
    assert math.dist(*ends) == pytest.approx(4.6)
    assert lines_of(lesson.marks(0.3), Sort.SCREEN) == []
    assert lines_of(lesson.marks(2.5), Sort.SCREEN) == []


def test_passes_are_dashed_and_fade(library: Library) -> None:
    lesson = lesson_of(set_tag(), library.game("game"), settings_with())
    assert lines_of(lesson.marks(1.4), Sort.PASS) == []
    (thrown,) = lines_of(lesson.marks(1.8), Sort.PASS)
    assert (thrown.look, thrown.strength) == (Look.DASHED, 1.0)
    wanted = to_court(np.array([uv_at(1, 1.5), uv_at(2, 2.0)]), BOOK, "right")
    np.testing.assert_allclose(thrown.points_ft, wanted, atol=1e-6)
    assert 0 < lines_of(lesson.marks(2.95), Sort.PASS)[0].strength < 1
    assert lines_of(lesson.marks(3.3), Sort.PASS) == []
    assert len(lines_of(lesson.marks(3.3, held=True), Sort.PASS)) == 1


def test_ways_walked_and_ahead(library: Library) -> None:
    lesson = lesson_of(set_tag(), library.game("game"), settings_with(path_s=1.0, path_ahead_s=0.8))
    marks = lesson.marks(2.0)
    (walked,) = lines_of(marks, Sort.WALKED)  # the screener stands by then
    (ahead,) = lines_of(marks, Sort.AHEAD)
    at = [to_court(uv_at(1, t)[None], BOOK, "right")[0] for t in (1.0, 2.0, 2.8)]
    assert math.dist(walked.points_ft[0], at[0]) < 0.5
    assert math.dist(walked.points_ft[-1], at[1]) < 0.5
    assert math.dist(ahead.points_ft[-1], at[2]) < 0.5
    assert (walked.look, ahead.look) == (Look.FADING, Look.DOTTED)


def test_the_line_extended_lies_where_the_rule_book_says(library: Library) -> None:
    """NBA: the free-throw line is 19 ft from the baseline and the floor 94 ft long: x = 75, sideline to sideline."""
    lesson = lesson_of(catch_tag(), library.game("game"), settings_with())
    marks = lesson.marks(2.0, held=True)
    (line,) = lines_of(marks, Sort.FLOOR)
    np.testing.assert_allclose(sorted(line.points_ft.tolist()), [[75.0, 0.0], [75.0, 50.0]], atol=1e-9)
    (spot,) = marks.spots
    np.testing.assert_allclose(spot.place_ft, to_court(np.array([[20.0, 20.5]]), BOOK, "right")[0])
    said = {"29 ft to the ring", "6.2 ft above the line", "free-throw line extended"}
    assert {label.text for label in marks.labels} == said
    assert {ring.word for ring in marks.rings} == {"29 receiver", "passer"}
    assert lesson.marks(0.2).spots == ()


def test_a_length_is_drawn_only_where_it_is_true() -> None:
    bodies = {n: Body(n, "player", n // 10, place, None) for n, place in ((1, (60.0, 20.0)), (11, (63.0, 24.0)))}
    actors = (("cutter", 1), ("cutter_defender", 11))
    (drawn,) = figures(actors, {"separation_at_ft": 5.2}, bodies, BOOK, "right", 2)
    assert (drawn.text, drawn.start_ft, drawn.end_ft) == ("5.2 ft free", (60.0, 20.0), (63.0, 24.0))
    assert figures(actors, {"separation_at_ft": 9.0}, bodies, BOOK, "right", 2) == ()
    assert figures(actors, {"separation_at_ft": math.nan}, bodies, BOOK, "right", 2) == ()
    assert figures(actors, {}, {}, BOOK, "right", 2) == ()
    assert [feet(v) for v in (0.04, 9.94, 9.96, 28.6)] == ["0.0 ft", "9.9 ft", "10 ft", "29 ft"]


def test_a_fault_has_no_figures_of_other_actions(library: Library) -> None:
    twins = tag_at(1.2, kind="twins", actors=(("player", 1), ("other", 3)), measures={})
    lesson = lesson_of(twins, library.game("game"), settings_with())
    assert lesson.marks(1.2, held=True).labels == ()


def test_mirrored_play_gives_mirrored_marks(library: Library) -> None:
    game = library.game("game")
    marks = lesson_of(catch_tag(), game, settings_with()).marks(2.0, held=True)
    tracks = TRACKS.read(game.tables).to_pylist()
    for row in tracks:
        row["y_ft"] = BOOK.width_ft - row["y_ft"]
    TRACKS.write(TRACKS.from_rows(tracks), game.tables)
    tag = catch_tag()
    measures = {**tag.candidate.measures, "catch_v_ft": -20.5}
    other = tag_at(2.0, number=8, kind="pushed_out_catch", start_s=1.5, end_s=2.0, actors=tag.actors, measures=measures)
    mirrored = lesson_of(other, game, settings_with()).marks(2.0, held=True)
    assert [label.text for label in mirrored.labels] == [label.text for label in marks.labels]
    for one, two in zip(marks.rings, mirrored.rings, strict=True):
        assert two.place_ft == (pytest.approx(one.place_ft[0]), pytest.approx(BOOK.width_ft - one.place_ft[1]))


# Film -----------------------------------------------------------------------------------------------


def test_the_drawing_lies_on_the_floor_through_the_lens(library: Library) -> None:
    """Along the line extended the picture changes at the pixels to which the camera's lens takes its points."""
    game = library.game("game")
    drawing = FloorDrawing(lesson_of(catch_tag(), game, settings_with()))
    frame = next(iter(decode(game.film(), start_s=2.0)))
    changed = np.abs(drawing.hold(frame).astype(int) - frame.image.astype(int)).max(axis=2) > 30
    along = np.column_stack([np.full(400, 75.0), np.linspace(0.5, 49.5, 400)])
    px = camera_at(25.0).project_floor(along)
    inside = (px > 3).all(axis=1) & (px < np.array(SIZE) - 4).all(axis=1)
    rows, columns = px[inside].round().astype(int).T[::-1]
    # Dashes of 1.6 ft with gaps of 1.1 ft, their ends round and grown by the dark edge.
    assert 1.6 / 2.7 < changed[rows, columns].mean() < 0.95
    beside = camera_at(25.0).project_floor(along - np.array([2.0, 0.0]))[inside].round().astype(int).T[::-1]
    assert changed[beside[0], beside[1]].mean() < 0.35


def test_words_keep_off_the_ball_and_each_other(library: Library) -> None:
    game = library.game("game")
    lesson = lesson_of(catch_tag(), game, settings_with())
    drawing = FloorDrawing(lesson)
    frame = next(iter(decode(game.film(), start_s=2.0)))
    without = drawing.hold(frame)
    told = {label.text: label.places_ft for label in lesson.marks(2.0, held=True).labels}
    spot = told["29 ft to the ring"][0]
    at = camera_at(25.0).project_floor(np.array([spot]))[0]
    rows = [{**row, "x_px": float(at[0]), "y_px": float(at[1])} for row in BALL.read(game.tables).to_pylist()]
    BALL.write(BALL.from_rows(rows), game.tables)
    with_ball = FloorDrawing(lesson_of(catch_tag(), game, settings_with())).hold(frame)
    x, y = at.round().astype(int)
    dark = [(p[y - 8 : y + 9, x - 8 : x + 9].astype(int).max(axis=2) < 110).mean() for p in (without, with_ball)]
    assert dark[0] > 0.3, "words stand there as long as the ball does not"
    assert dark[1] < 0.05


def test_a_caption_keeps_off_people_and_graphics() -> None:
    rows = rows_of("Title", "A sentence that says what is seen, and goes on for a while.", "1 of 2: screen", 960, 17)
    size = caption_size(rows, 17)
    bug = (40.0, 20.0, 500.0, 50.0)
    for people in ([], [(20.0, 60.0, 500.0, 260.0)], [(500.0, 60.0, 940.0, 300.0), (20.0, 60.0, 500.0, 260.0)]):
        x, y = corner_for(size, (960, 540), people, [bug])
        own = (x, y, x + size[0], y + size[1])
        assert not any(meet(own, other) for other in (bug, *people)), people
    picture = np.full((540, 960, 3), 200, np.uint8)
    covered = draw_caption(picture, rows, (30, 40), 17)
    changed = np.argwhere((picture != 200).any(axis=2))
    assert (changed.min(axis=0) >= [covered[1], covered[0]]).all()
    assert (changed.max(axis=0) < [covered[3], covered[2]]).all()


def test_the_corner_is_chosen_once(library: Library) -> None:
    lesson = lesson_of(set_tag(), library.game("game"), settings_with())
    corner = quiet_corner(lesson, (SIZE[1], SIZE[0], 3), ())
    assert 0 < corner[0] < SIZE[0]
    drawing = FloorDrawing(lesson)
    frames = list(decode(library.game("game").film(), start_s=1.0, end_s=1.3))
    pictures = [drawing.draw(frame)[: SIZE[1] // 8] for frame in frames]
    assert all(np.abs(one.astype(int) - pictures[0].astype(int)).mean() < 2 for one in pictures)


def test_every_phase_can_be_held(library: Library) -> None:
    game, settings = library.game("game"), settings_with(freeze_at="phases", freeze_s=0.5)
    assert [freeze.t_s for freeze in freezes_of(set_tag(), game, settings, 0.5)] == [1.2, 2.0]
    assert [freeze.t_s for freeze in freezes_of(catch_tag(), game, settings, 0.5)] == [2.0]
    assert freezes_of(set_tag(), game, settings, 0.0) == ()
    assert frozen(settings, "none").clips.freeze_s == 0
    assert frozen(settings, "moment").clips.freeze_at == "moment"


# Half court -----------------------------------------------------------------------------------------


def test_signs_of_what_happened(library: Library) -> None:
    lesson = lesson_of(set_tag("bare"), library.game("bare"), settings_with())
    strokes = strokes_between(lesson, 0.5, 3.0)
    signs = [stroke.sign for stroke in strokes]
    assert signs.count(Sign.PASS) == 1
    assert signs.count(Sign.SCREEN) == 1
    # 1 dribbles until he passes at 1.5 s and then cuts on.
    (dribble,) = (stroke for stroke in strokes if stroke.sign is Sign.DRIBBLE)
    np.testing.assert_allclose(dribble.way[0], uv_at(1, 0.5), atol=0.1)
    np.testing.assert_allclose(dribble.way[-1], uv_at(1, 1.5), atol=0.8)
    assert [stroke.way[-1] for stroke in strokes if stroke.sign is Sign.CUT] == [
        (pytest.approx(22, abs=0.1), pytest.approx(-8, abs=0.1))
    ]
    (bar,) = (stroke for stroke in strokes if stroke.sign is Sign.SCREEN)
    assert bar.faces == pytest.approx(math.atan2(2, 2), abs=0.05)


def test_frames_of_a_set_and_of_a_fault(library: Library) -> None:
    game = library.game("bare")
    frames = frames_of_tag(lesson_of(set_tag("bare"), game, settings_with()))
    assert [(f.head, f.from_s, f.to_s) for f in frames] == [("ball screen", 0.5, 1.5), ("swing", 1.5, 2.0)]
    frames = frames_of_tag(lesson_of(catch_tag("bare"), game, settings_with()))
    assert [f.head for f in frames][-1] == "the moment"
    assert frames[-1].from_s == frames[-1].to_s == 2.0


@pytest.mark.parametrize("tag", [set_tag("bare"), catch_tag("bare")], ids=["set", "fault"])
def test_diagrams_without_film(library: Library, tmp_path: Path, tag) -> None:
    settings = settings_with(diagram_height_px=240, freeze_s=0.4)
    svg = diagram(library, tag, DiagramForm.SVG, tmp_path / "d" / "1.svg", settings)
    root = ElementTree.fromstring(svg.read_text(encoding="utf-8"))
    texts = [node.text for node in root.iter("{http://www.w3.org/2000/svg}text")]
    assert texts[0] in ("Horns", "Pushed-out catch")
    assert any("bare" in (text or "") for text in texts)
    png = cv2.imread(str(diagram(library, tag, DiagramForm.PNG, tmp_path / "d" / "1.png", settings)))
    assert png.shape[:2] == (int(root.get("height")), int(root.get("width")))
    gif = Image.open(
        io.BytesIO(diagram(library, tag, DiagramForm.GIF, tmp_path / "d" / "1.gif", settings).read_bytes())
    )
    film = probe(diagram(library, tag, DiagramForm.MP4, tmp_path / "d" / "1.mp4", settings))
    shown_s = sum(frame.info["duration"] for frame in ImageSequence.Iterator(gif)) / 1000
    assert film.duration_s == pytest.approx(shown_s, abs=0.15)
    assert film.height_px == 240
    assert sorted(p.name for p in (tmp_path / "d").iterdir()) == ["1.gif", "1.mp4", "1.png", "1.svg"]


def test_a_moving_diagram_moves(library: Library, tmp_path: Path) -> None:
    settings = settings_with(diagram_height_px=240, freeze_s=0.0)
    path = diagram(library, catch_tag("bare"), DiagramForm.MP4, tmp_path / "1.mp4", settings)
    pictures = [frame.image.astype(int) for frame in decode(path)]
    assert np.abs(pictures[0] - pictures[len(pictures) // 2]).mean() > 0.5


def test_games_with_and_without_film_in_one_reel(library: Library, tmp_path: Path) -> None:
    settings = settings_with(reel_freeze_s=0.2, before_s=0.2, after_s=0.2, title_card_s=0.2, item_card_s=0.2)
    tags = [catch_tag("game"), set_tag("bare")]
    reel = reel_of_tags(tags, "Mit und ohne Film", settings)
    plan = plan_reel(library, reel, tags, settings)
    made = reel_film(library, reel, tags, tmp_path / "r.mp4", settings)
    assert (made.length_s, made.chapters) == (pytest.approx(plan.length_s), plan.chapters)
    assert (plan.shape.width_px, plan.shape.height_px) == SIZE
    alone = plan_reel(library, reel_of_tags(tags[1:], "Ohne", settings), tags, settings)
    assert (alone.shape.width_px, alone.shape.height_px, alone.shape.has_sound) == (1280, 720, False)


def test_what_is_made_of_a_tag(library: Library, tmp_path: Path) -> None:
    settings = settings_with()
    assert make_of_tag(library, set_tag("bare"), tmp_path, settings, Made.SVG).name == "bare-7-horns-half-court.svg"
    assert make_of_tag(library, set_tag(), tmp_path, settings, Made.STILL).name == "game-7-horns.png"
    with pytest.raises(LibraryError, match=r"has no film.*--diagram"):
        make_of_tag(library, set_tag("bare"), tmp_path, settings)
    with pytest.raises(SettingsError, match="at a speed between"):
        make_of_tag(library, set_tag(), tmp_path, settings, speed=0.0)
    with pytest.raises(SettingsError, match="Only clips"):
        make_of_tag(library, set_tag(), tmp_path, settings, Made.GIF, speed=0.5)
