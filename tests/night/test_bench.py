"""The bench measures in processes of their own, and says what it measured."""

import json

import pytest
from acted_film import FRAMES, RATE, Play, write_film

from pipeline.backends import Device
from pipeline.errors import FilmError
from pipeline.night.bench import Bench, Cost, _decode, _in_process, bench_as_json, bench_film, bench_lines
from pipeline.settings import Settings

CHAIN = Cost(20.0, 35.0, 900.0, 3, {"film": 15.0, "court": 5.0}, {"detector": 18.0, "court network": 4.0}, 30.0, 750)


def made_up(tracking: Cost) -> Bench:
    return Bench(60.0, Device.CPU, 2, 12.5, Cost(5.0, 9.0, 150.0, frames=1500), CHAIN, tracking)


def test_lines_tell_the_ratios_to_real_time():
    lines = bench_lines(made_up(Cost(90.0, 170.0, 1200.0, frames=750)))
    assert "60.0 s of film, 50% of it live play" in lines[0]
    assert "3 worker processes" in lines[0]
    rows = {line[:26].strip(): line[26:].split() for line in lines[2:]}
    assert rows["whole chain"] == ["20.0", "3.00", "35.0", "900"]
    assert rows["stage court"] == ["5.0", "12.00"]
    assert rows["ultralytics track"][:2] == ["90.0", "0.67"]
    assert lines.index("  detector                     18.0") < lines.index("  court network                 4.0")


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


def test_no_film_is_an_error_before_anything_runs(tmp_path):
    (tmp_path / "film.mp4").write_bytes(b"no film")
    begun: list[str] = []
    with pytest.raises(FilmError):
        bench_film(tmp_path / "film.mp4", Settings(), begun.append)
    assert begun == []
