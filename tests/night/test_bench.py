"""The bench measures in processes of their own, and says what it measured."""

import json

import pytest
from acted_film import FRAMES, RATE, Play, write_film

from pipeline.backends import Device
from pipeline.errors import FilmError
from pipeline.film.probe import probe
from pipeline.night.bench import (
    Bench,
    Cost,
    Machine,
    _decode,
    _in_process,
    bench_as_json,
    bench_film,
    bench_lines,
    repeat_film,
)
from pipeline.settings import Settings

PARTS = ({"film": 15.0, "court": 5.0}, {"detector": 18.0, "court network": 4.0})
CHAIN = Cost(20.0, 35.0, 900.0, 3, *PARTS, 30.0, 750, all_s=(20.0, 25.0, 19.0))


def made_up(tracking: Cost) -> Bench:
    machine = Machine("Made-up 9000", 2, 16.0, "", Device.CPU)
    decoding = Cost(5.0, 9.0, 150.0, frames=1500, all_s=(5.0, 5.5, 4.0))
    return Bench(60.0, machine, 12.5, decoding, CHAIN, tracking, ((720.0, Cost(230.0, 400.0, 950.0)),))


def test_lines_tell_the_ratios_to_real_time():
    lines = bench_lines(made_up(Cost(90.0, 170.0, 1200.0, frames=750)))
    assert lines[0] == "Made-up 9000, 2 core(s), 16 GB"
    assert "60.0 s of film, 50% of it live play" in lines[1]
    assert "3 worker processes; medians of 3 runs" in lines[1]
    rows = {line[:26].strip(): line[26:].split() for line in lines[3:]}
    assert rows["whole chain"] == ["20.0", "3.00", "4.50", "0.25", "35.0", "900"]
    assert rows["stage court"] == ["5.0", "12.00"]
    assert rows["ultralytics track"][:3] == ["90.0", "0.67", "1.00"]
    assert rows["chain, 720 s of film"] == ["230.0", "3.13", "400.0", "950"]
    assert "runs of chain, seconds: 20.0, 25.0, 19.0" in lines
    inside = [line.split() for line in lines if line.startswith(("  detector", "  court network"))]
    assert inside == [["detector", "18.0", "82%"], ["court", "network", "4.0", "18%"]]


def test_a_tracker_that_could_not_run_is_said_so():
    bench = made_up(Cost(missing="lap not installed"))
    assert any("not run, lap not installed" in line for line in bench_lines(bench))
    assert bench_as_json(bench)["ultralytics_track"] == {"missing": "lap not installed"}


def test_json_has_everything_and_is_json():
    found = bench_as_json(made_up(Cost(90.0, 170.0, 1200.0, frames=750)))
    assert json.loads(json.dumps(found)) == found
    assert found["chain"]["times_real_time"] == 3.0
    assert found["chain"]["stages_s"] == {"film": 15.0, "court": 5.0}
    assert found["decoding"]["frames"] == 1500


def test_decoding_is_measured_in_a_process_of_its_own(tmp_path):
    film = write_film(tmp_path / "film.mp4", Play(inside=2), frames=RATE)
    cost = _in_process(_decode, film, Settings())
    assert cost.frames == RATE < FRAMES
    assert 0 < cost.seconds < 60
    assert cost.cpu_s > 0
    assert cost.peak_mb > 10


def test_a_film_shown_again_and_again_has_the_same_pictures(tmp_path):
    film = write_film(tmp_path / "film.mp4", Play(inside=2), frames=RATE)
    repeat_film(film, tmp_path / "long.mp4", 3)
    short, long = probe(film, Settings().film.decode), probe(tmp_path / "long.mp4", Settings().film.decode)
    assert len(long.times_s) == 3 * len(short.times_s)
    assert long.duration_s == pytest.approx(3 * short.duration_s, abs=0.05)
    assert _in_process(_decode, tmp_path / "long.mp4", Settings()).frames == 3 * RATE


def test_no_film_is_an_error_before_anything_runs(tmp_path):
    (tmp_path / "film.mp4").write_bytes(b"no film")
    begun: list[str] = []
    with pytest.raises(FilmError):
        bench_film(tmp_path / "film.mp4", Settings(), begun.append)
    assert begun == []
