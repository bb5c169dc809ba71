"""From a film to tags, with networks that know the truth: the whole way but the weights."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from acted_film import CAMERA, KnowingAreas, KnowingDetector, Play, knowing_networks, number_of, quick, write_film

from pipeline.clips.tag_film import cut_tag
from pipeline.court.tables import CAMERAS
from pipeline.errors import FilmError, LibraryError
from pipeline.film.decode import decode
from pipeline.film.tables import SHOTS
from pipeline.library.games import Library
from pipeline.night.run import run_film
from pipeline.night.vision import Eyes
from pipeline.players.tables import BOXES, TRACKS
from pipeline.settings import Settings
from pipeline.spacing.settings import FaultFile, FaultSettings
from pipeline.tags import State

CROWD = Play(inside=6)


def silent(_stage):
    return lambda _done, _total: None


def run(film, library, play, settings=None, *, opened=lambda _: None, book=None):
    return run_film(
        film, Library(library), knowing_networks(play, opened), settings or quick(), book=book, progress=silent
    )


@pytest.fixture(scope="module")
def film(tmp_path_factory):
    return write_film(tmp_path_factory.mktemp("films") / "crowd.mp4", CROWD)


@pytest.fixture(scope="module")
def first(film, tmp_path_factory):
    return run(film, tmp_path_factory.mktemp("libraries") / "library", CROWD)


def test_frames_know_their_number(film):
    assert [number_of(frame.image) for frame in decode(film)] == list(range(150))


def test_the_fault_is_found(first):
    assert first.registered_frames == first.live_frames == 75
    (tag,) = first.tags
    seen = tag.candidate
    assert seen.kind == "crowded_paint"
    assert seen.measures["count"] == 6
    # The free-throw line is 13.75 ft from the ring: 13.25 ft of way at 14 ft/s from 2.0 s on.
    assert seen.t_s == pytest.approx(2.0 + 13.25 / 14, abs=0.13)
    assert first.merge.new == (tag.tag,)
    assert tag.state is State.CANDIDATE


def test_tables_hold_what_was_acted(first):
    tracks = TRACKS.read(first.game.tables)
    at_end = tracks.filter(np.isclose(tracks["t_s"].to_numpy(), 5.6))
    places = np.column_stack([at_end["x_ft"].to_numpy(), at_end["y_ft"].to_numpy()])
    for place in CROWD.places_ft[140]:
        assert np.linalg.norm(places - place, axis=1).min() < 1.0, place
    cameras = CAMERAS.read(first.game.tables)
    assert np.median(cameras["focal_px"].to_numpy()) == pytest.approx(CAMERA.focal_px, rel=0.05)
    assert set(SHOTS.read(first.game.tables)["live"].to_pylist()) == {True}
    assert BOXES.read(first.game.tables).num_rows == 75 * 11


def test_running_again_does_nothing_and_doubles_nothing(film, first):
    opened: list[str] = []
    again = run(film, first.game.folder.parents[1], CROWD, opened=opened.append)
    assert opened == []
    assert not any(stage.ran for stage in again.stages)
    assert [t.tag for t in again.tags] == [t.tag for t in first.tags]


def test_another_threshold_reruns_only_what_depends_on_it(film, first):
    (crowded,) = (one for one in Settings().faults.files if one.name == "crowded_paint.fault")
    file = FaultFile(name=crowded.name, text=crowded.text.replace("count >= 5", "count >= 7"))
    strict = quick().model_copy(update={"faults": FaultSettings(files=(file,))})
    again = run(film, first.game.folder.parents[1], CROWD, strict)
    assert [stage.stage for stage in again.stages if stage.ran] == ["spacing"]
    assert again.tags == ()
    back = run(film, first.game.folder.parents[1], CROWD)
    assert [t.tag for t in back.tags] == [t.tag for t in first.tags]


def test_the_clip_shows_the_moment(first, film, tmp_path):
    (tag,) = first.tags
    library = Library(first.game.folder.parents[1])
    path = cut_tag(library, tag, tmp_path, Settings())
    assert path == tmp_path / f"crowd-{tag.tag}-crowded_paint.mp4"
    assert list(tmp_path.iterdir()) == [path]
    frames = list(decode(path))
    plain = {number_of(frame.image): frame.image for frame in decode(film)}
    numbers = [number_of(frame.image) for frame in frames]
    moment = round(tag.candidate.t_s * 25)
    assert numbers.count(moment) > 5, "the moment is held"
    held = frames[numbers.index(moment) + 3].image.astype(int)
    drawn = np.abs(held - plain[moment]).max(axis=2) > 15
    middle = CAMERA.project_floor(np.array([[15.0, 21.0]]))[0].round().astype(int)
    assert drawn[middle[1] - 3 : middle[1] + 3, middle[0] - 3 : middle[0] + 3].any(), "the paint is marked"


def test_a_clip_of_a_lost_film_says_where_it_was(first, tmp_path):
    (tag,) = first.tags
    path = first.game.folder / "game.toml"
    text = path.read_text()
    path.write_text(text.replace("crowd.mp4", "lost.mp4"))
    with pytest.raises(LibraryError, match=r"lost\.mp4"):
        cut_tag(Library(first.game.folder.parents[1]), tag, tmp_path, Settings())
    path.write_text(text)


def test_a_clear_lane_yields_none(tmp_path):
    clear = Play(inside=2)
    result = run(write_film(tmp_path / "clear.mp4", clear), tmp_path / "library", clear)
    assert result.tags == ()
    assert result.possessions >= 1


def test_a_moved_film_is_the_same_game(film, first, tmp_path):
    moved = tmp_path / "renamed.mp4"
    moved.write_bytes(film.read_bytes())
    again = run(moved, first.game.folder.parents[1], CROWD)
    assert again.game == first.game
    assert not again.stages[0].ran


def test_a_film_that_was_moved_away_is_found_at_its_new_place(tmp_path):
    old = write_film(tmp_path / "old.mp4", CROWD, frames=60)
    library = tmp_path / "library"
    game = run(old, library, CROWD).game
    before = (game.folder / "game.toml").read_text()
    new = old.rename(tmp_path / 'new "place".mp4')
    run(new, library, CROWD)
    assert Path(game.file().film.path) == new
    after = (game.folder / "game.toml").read_text()
    assert [b for b in before.splitlines() if "path" not in b] == [a for a in after.splitlines() if "path" not in a]
    assert len((game.folder / "logs" / "runs.jsonl").read_text().splitlines()) == 2


def test_a_broken_film_leaves_nothing(film, tmp_path):
    data = bytearray(film.read_bytes())
    broken = tmp_path / "broken.mp4"
    broken.write_bytes(bytes(data[: len(data) // 2]))
    with pytest.raises(FilmError):
        run(broken, tmp_path / "library", CROWD)
    assert not (tmp_path / "library").exists()


def test_a_kill_in_the_vision_pass_loses_only_what_was_in_work(film, first, tmp_path):
    looked: list[int] = []

    class Killed(KnowingDetector):
        def detect(self, frames_bgr):
            if len(looked) >= 8:
                raise KeyboardInterrupt
            looked.extend(number_of(frame) for frame in frames_bgr)
            return super().detect(frames_bgr)

    class Watched(KnowingDetector):
        def detect(self, frames_bgr):
            looked.extend(number_of(frame) for frame in frames_bgr)
            return super().detect(frames_bgr)

    library = tmp_path / "library"
    few = quick(piece_s=0.4, stretch_s=0.4)

    def watched_by(detector):
        return replace(knowing_networks(CROWD), open=lambda: Eyes(KnowingAreas(), detector(CROWD)))

    with pytest.raises(KeyboardInterrupt):
        run_film(film, Library(library), watched_by(Killed), few, book=None, progress=silent)
    assert Library(library).games() == ()
    assert looked == list(range(0, 20, 2)), "two stretches of five frames"
    result = run_film(film, Library(library), watched_by(Watched), few, book=None, progress=silent)
    assert sorted(looked) == list(range(0, 150, 2)), "no frame is looked at twice"
    assert SHOTS.read(result.game.tables)["live"].to_pylist() == [True]
    for spec in (BOXES, CAMERAS, TRACKS):
        assert spec.read(result.game.tables).equals(spec.read(first.game.tables)), spec.name
    assert not (result.game.folder / "units").exists()


def test_a_kill_in_a_later_stage_loses_only_that_stage(film, tmp_path, monkeypatch):
    from pipeline.night import run as module

    def killed(*_arguments, **_options):
        raise KeyboardInterrupt

    monkeypatch.setattr(module, "track", killed)
    with pytest.raises(KeyboardInterrupt):
        run(film, tmp_path / "library", CROWD)
    monkeypatch.undo()
    again = run(film, tmp_path / "library", CROWD)
    assert [stage.stage for stage in again.stages if not stage.ran] == ["film", "clock", "court"]
    assert len(again.tags) == 1


def test_staffs_jersey_colours_name_the_teams(film, tmp_path):
    library = tmp_path / "library"
    result = run(film, library, CROWD)
    path = result.game.folder / "game.toml"
    white, red = ("[team_0]", "[team_1]")
    text = path.read_text().replace(f'{white}\nname = ""\njersey = ""', f'{white}\nname = "Us"\njersey = "red"')
    path.write_text(text.replace(f'{red}\nname = ""\njersey = ""', f'{red}\nname = "Them"\njersey = "white"'))
    before = _team_of_handler(result)
    again = run(film, library, CROWD)
    assert next(stage.stage for stage in again.stages if stage.ran) == "players"
    assert (before, _team_of_handler(again)) == (0, 1), "the white team is number 1 now"
    assert again.merge.new == ()


def _team_of_handler(result) -> int:
    tracks = TRACKS.read(result.game.tables)
    (tag,) = result.tags
    mine = tracks.filter(np.array(tracks["track"].to_pylist()) == tag.candidate.actors[0][1])
    return int(np.median(mine["team"].to_numpy()))


def test_staffs_rule_book_is_used(film, tmp_path):
    result = run(film, tmp_path / "library", CROWD, book="nba")
    assert result.game.file().rule_book == "nba"
    state = json.loads(result.game.state_file.read_text())
    assert set(state) == {"film", "clock", "court", "players", "ball", "actions", "sets", "spacing"}


def test_fewer_frames_a_second_still_find_it(film, tmp_path):
    slow = quick(analysed_frames_per_s=8)
    assert [t.candidate.measures["count"] for t in run(film, tmp_path / "library", CROWD, slow).tags] == [6]
