"""Sets as drawings: signs, places, sheets."""

from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from PIL import Image

from pipeline.sets.frames import frames_of
from pipeline.sets.ink import Disc, Page, Words, as_picture, as_svg, words_width, wrapped
from pipeline.sets.ink import Path as Line
from pipeline.sets.library import read_set_file
from pipeline.sets.moving import Sign, Stroke
from pipeline.sets.reading import read_set
from pipeline.sets.sheet import sheet_of, write_sheet
from pipeline.sets.signs import stroke_marks

FILES = sorted((Path(__file__).resolve().parents[2] / "configs" / "sets").glob("*.set"))

PLAY = read_set("""
set play "A play"
  says "It shows every sign."
  source "made up"
players
  1 guard starts at slot on the right, with the ball
  2 wing  starts at wing on the right
  3 far   starts at wing on the left
  5 big   starts at block on the right
frame "Pass and cut"
phase entry: pass from guard to wing
phase cut: basket cut by guard
  by way of elbow on the right
frame "Screens"
phase down: down screen by big for far
  happens at elbow on the left
optional phase ball_screen: ball screen by big for wing
phase turned: corner turned by wing
ending shot
  phase shot: shot by wing
ending hand
  phase hand: handoff from wing to far
counter back instead of down and the rest
  phase back: back cut by far
  phase feed: pass from wing to far
    ends at restricted area
""")


def straight(points):
    return points


def marks_of(sign, way=((0.0, 0.0), (20.0, 0.0)), **more):
    return stroke_marks(Stroke(sign, way, **more), straight, 1.0)


def lines(marks):
    return [np.array(mark.points) for mark in marks if isinstance(mark, Line) and not mark.filled]


def heads(marks):
    return [mark for mark in marks if isinstance(mark, Line) and mark.filled]


def test_a_cut_is_one_solid_line_with_a_head():
    marks = marks_of(Sign.CUT)
    assert len(lines(marks)) == 1
    assert len(heads(marks)) == 1
    assert max(x for x, _ in heads(marks)[0].points) == pytest.approx(20.0, abs=0.2)
    assert np.abs(lines(marks)[0][:, 1]).max() < 1e-6


def test_a_pass_is_dashed_and_stops_before_the_receiver():
    marks = marks_of(Sign.PASS)
    assert len(lines(marks)) > 4
    assert max(x for x, _ in heads(marks)[0].points) < 18.5


def test_a_dribble_waves_and_ends_where_it_should():
    (line,) = lines(marks_of(Sign.DRIBBLE))
    assert 0.4 < np.abs(line[:, 1]).max() < 1.0
    assert (np.diff(np.sign(np.diff(line[:, 1]))) != 0).sum() > 8


def test_a_screen_ends_in_a_bar_across_the_way_the_screener_looks():
    way, bar = lines(marks_of(Sign.SCREEN, faces=0.0))
    assert np.ptp(bar[:, 0]) < 1e-6
    assert np.ptp(bar[:, 1]) > 4
    assert bar[:, 0].mean() == pytest.approx(way[-1, 0])
    assert not heads(marks_of(Sign.SCREEN))


def test_a_handoff_is_two_strokes_and_a_shot_a_double_line():
    first, second = lines(marks_of(Sign.HANDOFF, ((0.0, 0.0), (3.0, 0.0))))
    assert np.ptp(first[:, 0]) < 1e-6
    assert 0.3 < abs(first[0, 0] - second[0, 0]) < 1.2
    assert len(lines(marks_of(Sign.SHOT))) == 2


def test_what_may_be_left_out_is_grey():
    assert {m.colour for m in marks_of(Sign.CUT, optional=True)} != {m.colour for m in marks_of(Sign.CUT)}


@pytest.mark.parametrize("sign", list(Sign))
@pytest.mark.parametrize("end", [(0.0, 0.0), (0.5, 0.0), (2.2, 1.0), (3.6, 0.0)])
def test_short_lines_do_no_harm(sign, end):
    for mark in marks_of(sign, ((0.0, 0.0), end)):
        assert np.isfinite(np.array(mark.points)).all()


def test_frames_follow_the_file():
    frames = frames_of(PLAY)
    assert [frame.caption for frame in frames[:2]] == ["Pass and cut", "Screens"]
    assert [frame.head for frame in frames[2:]] == ["Ending: shot", "Ending: hand", "Counter: back (instead of down)"]
    first, second, shot, hand, back = frames
    assert dict(first.places)[1] == (23.5, 10.0)
    assert first.holder == 1
    assert [stroke.sign for stroke in first.strokes] == [Sign.PASS, Sign.CUT]
    assert first.strokes[1].way[1] == (14.0, 8.5), "by way of the elbow"
    assert second.holder == 2
    assert np.hypot(*dict(second.places)[1]) < 6, "the cutter is at the ring now"
    assert [s.sign for s in second.strokes if s.optional] == [Sign.SCREEN]
    assert shot.strokes[0].sign is Sign.SHOT
    assert [s.sign for s in hand.strokes] == [Sign.CUT, Sign.HANDOFF]
    assert dict(back.places)[3] == dict(second.places)[3], "a counter begins where it leaves the main line"
    assert [s.sign for s in back.strokes] == [Sign.CUT, Sign.PASS]


def test_captions_are_made_where_the_file_gives_none():
    assert frames_of(PLAY)[4].caption == "Back cut by 3; pass from 2 to 3"


@pytest.mark.parametrize("path", FILES, ids=[path.stem for path in FILES])
def test_every_set_of_the_library_draws(path):
    definition = read_set_file(path)
    frames = frames_of(definition)
    assert len(frames) >= 1 + len(definition.endings) + len(definition.counters)
    for frame in frames:
        places = np.array([place for _, place in frame.places])
        assert len(places) == len(definition.players)
        apart = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
        assert apart[~np.eye(len(places), dtype=bool)].min() > 2.5, f"{path.stem}: {frame.caption}: players overlap"
        ways = np.array([point for stroke in frame.strokes for point in stroke.way] or [(0.0, 0.0)])
        assert ways[:, 0].min() > -5.3, path.stem
        assert ways[:, 0].max() < 38, path.stem
        assert np.abs(ways[:, 1]).max() < 25.1, path.stem
    page = sheet_of(definition)
    assert ElementTree.fromstring(as_svg(page)).tag.endswith("svg")


def test_a_sheet_is_written_twice_the_same(tmp_path):
    svg, png = write_sheet(PLAY, tmp_path / "one")
    again, _ = write_sheet(PLAY, tmp_path / "two")
    assert svg.read_text() == again.read_text()
    with Image.open(png) as picture:
        assert picture.size == (sheet_of(PLAY).width, sheet_of(PLAY).height)
        dark = (np.asarray(picture.convert("L")) < 100).mean()
    assert 0.003 < dark < 0.1
    assert "A play" in svg.read_text()
    numbers = [
        m.text for m in sheet_of(PLAY).marks if isinstance(m, Words) and m.text.endswith(".") and len(m.text) == 2
    ]
    assert numbers == [f"{n}." for n in range(1, 6)]


def test_both_outputs_show_the_same_marks():
    page = Page(60, 40, (Disc((20, 20), 10, "#ffffff", "#000000", 2), Line(((40, 5), (40, 35)), "#000000", 3)))
    shades = np.asarray(as_picture(page).convert("L"))
    assert shades[20, 20] == 255
    assert shades[20, 40] < 60
    assert shades[20, 10] < 120
    assert as_svg(page).count("<circle") == 1
    assert as_svg(page).count("<polyline") == 1


def test_words_are_broken_to_the_width():
    text = "one two three four five six seven"
    broken = wrapped(text, 12, 60)
    assert " ".join(broken) == text
    assert all(words_width(line, 12) <= 60 for line in broken)
    assert wrapped("", 12, 60) == []
