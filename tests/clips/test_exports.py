"""Lists for other programs, each read back by somebody else's reader."""

import csv
import io
import json
from fractions import Fraction
from pathlib import Path

import duckdb
import numpy as np
import opentimelineio as otio
import pycmx
import pytest
import webvtt

from pipeline.clips.exports import ExportForm, export
from pipeline.clips.exports.chapters import Cue
from pipeline.clips.exports.chapters import webvtt as as_webvtt
from pipeline.clips.exports.timeline import frame_of_timecode
from pipeline.errors import ExportError, LibraryError
from pipeline.film.probe import probe
from pipeline.library.games import Library
from pipeline.players.tables import TRACKS
from pipeline.tags import Reel, ReelItem
from tests.clips.made_up_game import PLACES, add_game, settings_with, tag_at
from tests.film.films import numbered_film

ODD = "Spiel „Süd“ – [#3] & 100%.mp4"
SETTINGS = settings_with(before_s=0.4, after_s=0.2)


@pytest.fixture
def library(tmp_path: Path) -> Library:
    return Library(tmp_path / "library")


def films(tmp_path: Path, name: str, rate: Fraction, seconds: int = 3) -> Path:
    return numbered_film(tmp_path / name, round(seconds * rate), rate=rate, options={"g": "30", "preset": "ultrafast"})


def clock_frames(text: str, whole: int) -> int:
    hours, minutes, seconds, frames = (int(part) for part in text.replace(";", ":").split(":"))
    return ((hours * 60 + minutes) * 60 + seconds) * whole + frames


# CSV and Parquet ----------------------------------------------------------------------------------


def test_csv_is_a_sheet(library: Library, tmp_path: Path) -> None:
    add_game(library, "game", films(tmp_path, "a.mp4", Fraction(25)))
    sentence = 'He said "now", and\nran; Müller <3'
    measures = {"gap_ft": 6.25, "sigma_ft": float("nan")}
    twins = tag_at(1.5, number=4, kind="twins", measures=measures, traits={"place": "wing"})
    tags = [tag_at(1.0, number=3, sentence=sentence), twins]
    path = export(library, tags, ExportForm.CSV, tmp_path / "new" / "tags.csv", SETTINGS)
    rows = list(csv.DictReader(io.StringIO(path.read_bytes().decode(), newline="")))
    assert [row["tag"] for row in rows] == ["3", "4"]
    assert rows[0]["sentence"] == sentence
    assert (rows[0]["count"], rows[0]["gap_ft"], rows[1]["gap_ft"]) == ("5.0", "", "6.25")
    assert (rows[1]["place"], rows[1]["position"], "sigma_ft" in rows[1]) == ("wing", "2", False)
    assert rows[0]["actors"].startswith("handler 1; defender_in_paint 12")
    assert float(rows[1]["start_s"]) == pytest.approx(1.1)
    assert [p.name for p in path.parent.iterdir()] == ["tags.csv"]


def test_parquet_is_read_by_a_database(library: Library, tmp_path: Path) -> None:
    add_game(library, "game", films(tmp_path, "a.mp4", Fraction(25)))
    reel = Reel(1, "R", "", (ReelItem(4, "Zu eng", "Schau", freeze=True, slow=0.5), ReelItem(3)), 1)
    tags = [tag_at(1.0, number=3), tag_at(1.5, number=4, measures={"gap_ft": 6.25})]
    path = export(library, tags, ExportForm.PARQUET, tmp_path / "tags.parquet", SETTINGS, reel=reel)
    found = duckdb.sql(
        "SELECT position, tag, reel_title, reel_speed, measures['gap_ft'], actors[1].role "
        f"FROM '{path}' ORDER BY position"
    ).fetchall()
    assert found == [(1, 4, "Zu eng", 0.5, 6.25, "handler"), (2, 3, "", 1.0, None, "handler")]


# WebVTT -------------------------------------------------------------------------------------------


def test_chapters_are_read_by_another_parser(library: Library, tmp_path: Path) -> None:
    add_game(library, "game", films(tmp_path, "a.mp4", Fraction(25)))
    tags = [tag_at(1.5, number=2, sentence="A --> B & <c>\nnext line"), tag_at(1.0, number=1)]
    path = export(library, tags, ExportForm.WEBVTT, tmp_path / "tags.vtt", SETTINGS)
    captions = webvtt.from_string(path.read_text(encoding="utf-8"), strict=True).captions
    assert [(c.identifier, c.start, c.end) for c in captions] == [
        ("tag-1", "00:00:00.600", "00:00:01.100"),
        ("tag-2", "00:00:01.100", "00:00:01.800"),
    ]
    assert captions[1].raw_text == "Crowded paint: A --&gt; B &amp; &lt;c&gt; next line"


def test_chapters_are_nested_or_apart() -> None:
    """W3C WebVTT, 1.4: two chapters lie apart, or one within the other."""
    rng = np.random.default_rng(3)
    cues = [Cue(f"c{n}", int(a), int(a + d), "x") for n, (a, d) in enumerate(rng.integers(0, 60, (60, 2)))]
    read = webvtt.from_string(as_webvtt("n", cues), strict=True).captions
    spans = [(c.start_in_seconds + c.start_time.milliseconds / 1000, c.end_in_seconds + c.end_time.milliseconds / 1000)
             for c in read]  # fmt: skip
    assert len(spans) == 60
    assert spans == sorted(spans, key=lambda span: span[0])
    for a in spans:
        assert a[0] < a[1]
        for b in spans:
            apart = a[1] <= b[0] or b[1] <= a[0]
            nested = (a[0] <= b[0] and b[1] <= a[1]) or (b[0] <= a[0] and a[1] <= b[1])
            assert apart or nested, (a, b)


def test_chapters_of_two_films_are_refused(library: Library, tmp_path: Path) -> None:
    film = films(tmp_path, "a.mp4", Fraction(25))
    add_game(library, "game", film)
    add_game(library, "other", film)
    with pytest.raises(ExportError, match="2 games"):
        export(library, [tag_at(1.0), tag_at(1.0, game="other")], ExportForm.WEBVTT, tmp_path / "x.vtt", SETTINGS)
    with pytest.raises(ExportError, match="no tags"):
        export(library, [], ExportForm.CSV, tmp_path / "x.csv", SETTINGS)
    assert not (tmp_path / "x.vtt").exists()


# EDL and OTIO -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rate", "counting", "whole", "mark", "head"),
    [
        (Fraction(25), "drop", 25, ":", "NON-DROP FRAME"),
        (Fraction(30000, 1001), "drop", 30, ";", "DROP FRAME"),
        (Fraction(30000, 1001), "non_drop", 30, ":", "NON-DROP FRAME"),
        (Fraction(50), "drop", 50, ":", "NON-DROP FRAME"),
        (Fraction(60000, 1001), "drop", 60, ";", "DROP FRAME"),
        (Fraction(60000, 1001), "non_drop", 60, ":", "NON-DROP FRAME"),
    ],
)
def test_edl_is_read_by_another_parser(
    library: Library, tmp_path: Path, rate: Fraction, counting: str, whole: int, mark: str, head: str
) -> None:
    """The cut's numbers are those of the pictures that the clip shows."""
    film = films(tmp_path, ODD, rate)
    add_game(library, "game", film)
    settings = settings_with(before_s=0.4, after_s=0.2, edl_timecode=counting)
    tags = [tag_at(1.0, number=1), tag_at(1.5, number=2, sentence="Zurück\nzum Ball")]
    path = export(library, tags, ExportForm.EDL, tmp_path / "tags.edl", settings)
    text = path.read_text(encoding="utf-8")
    assert text.splitlines()[1] == f"FCM: {head}"
    events = list(pycmx.parse_cmx3600(io.StringIO(text)).events)
    edits = [edit for event in events for edit in event.edits]
    times = probe(film).times_s
    played = 0
    for edit, tag in zip(edits, tags, strict=True):
        first = int(np.searchsorted(times, tag.start_s - 0.4 - 1e-6))
        stop = int(np.searchsorted(times, tag.end_s + 0.2 - 1e-6))
        assert [clock_frames(t, whole) for t in (edit.source_in, edit.source_out)] == [first, stop]
        assert [clock_frames(t, whole) for t in (edit.record_in, edit.record_out)] == [played, played + stop - first]
        played += stop - first
        assert edit.source_in[8] == mark
        assert edit.clip_name.strip() == ODD
        assert edit.source == "SPIELSD3"
    assert "* COMMENT: Zurück zum Ball\n" in text


@pytest.mark.parametrize(
    ("text", "rate", "frame"),
    [
        # SMPTE ST 12-1: numbers 0 and 1 are dropped each minute but every tenth; ten minutes are 17,982 frames.
        ("00:00:59;29", Fraction(30000, 1001), 1799),
        ("00:01:00;02", Fraction(30000, 1001), 1800),
        ("00:10:00;00", Fraction(30000, 1001), 17982),
        ("01:00:00;00", Fraction(30000, 1001), 107892),
        ("00:01:00;04", Fraction(60000, 1001), 3600),
        ("01:00:00;00", Fraction(60000, 1001), 215784),
        ("01:00:00:00", Fraction(30000, 1001), 108000),
        ("00:00:01:10", Fraction(25), 35),
        ("no timecode", Fraction(25), 0),
    ],
)
def test_timecode_of_a_film(text: str, rate: Fraction, frame: int) -> None:
    assert frame_of_timecode(text, rate) == frame
    if frame and ";" in text:
        assert otio.opentime.to_timecode(otio.opentime.RationalTime(frame, float(rate)), float(rate)) == text


def test_films_of_two_rates_go_into_otio_not_edl(library: Library, tmp_path: Path) -> None:
    add_game(library, "game", films(tmp_path, "a.mp4", Fraction(25)))
    add_game(library, "other", films(tmp_path, "b.mp4", Fraction(30000, 1001)))
    tags = [tag_at(1.0), tag_at(1.0, game="other", number=8)]
    with pytest.raises(ExportError, match=r"25 and 29\.97"):
        export(library, tags, ExportForm.EDL, tmp_path / "x.edl", SETTINGS)
    path = export(library, tags, ExportForm.OTIO, tmp_path / "x.otio", SETTINGS)
    rates = [clip.source_range.start_time.rate for clip in otio.adapters.read_from_file(str(path)).find_clips()]
    assert rates == pytest.approx([25, 30000 / 1001])


def test_otio_is_read_by_otio_and_as_json(library: Library, tmp_path: Path) -> None:
    film = films(tmp_path, ODD, Fraction(25))
    add_game(library, "game", film)
    reel = Reel(1, 'Reel "eins"', "Sehen", (ReelItem(2, "Zweiter", "n", freeze=True, slow=0.5), ReelItem(1)), 1)
    tags = [tag_at(1.0, number=1), tag_at(1.5, number=2)]
    path = export(library, tags, ExportForm.OTIO, tmp_path / "x.otio", SETTINGS, reel=reel)
    timeline = otio.adapters.read_from_file(str(path))
    clips = list(timeline.find_clips())
    assert (timeline.name, [clip.name for clip in clips]) == ('Reel "eins"', ["Zweiter", "Crowded paint"])
    assert [(int(c.source_range.start_time.value), int(c.source_range.duration.value)) for c in clips] == [
        (18, 32),
        (5, 33),
    ]
    from_url = otio.url_utils.filepath_from_url(clips[0].media_reference.target_url)
    assert Path(from_url) == film.resolve()
    assert dict(clips[0].metadata["elbowroom"])["speed"] == 0.5
    plain = json.loads(path.read_text(encoding="utf-8"))
    children = plain["tracks"]["children"][0]["children"]
    assert children[1]["metadata"]["elbowroom"]["tag"] == 1
    assert children[0]["markers"][0]["marked_range"]["start_time"]["value"] == 38


def test_variable_rate_counts_presentation_time(library: Library, tmp_path: Path) -> None:
    ticks = np.cumsum(np.random.default_rng(1).integers(15, 70, 80)).tolist()
    film = numbered_film(tmp_path / "vfr.mkv", 80, ticks=ticks)
    add_game(library, "game", film)
    text = export(library, [tag_at(1.5)], ExportForm.EDL, tmp_path / "x.edl", SETTINGS).read_text()
    assert "VARIABLE RATE" in text
    (edit,) = (e for event in pycmx.parse_cmx3600(io.StringIO(text)).events for e in event.edits)
    times = probe(film).times_s
    first_s = times[np.searchsorted(times, 1.1 - 0.4 - 1e-6)]
    assert clock_frames(edit.source_in, 24) == round(first_s * 24000 / 1001)


# Boxes --------------------------------------------------------------------------------------------


def test_boxes_are_read_by_numpy(library: Library, tmp_path: Path) -> None:
    game = add_game(library, "game", films(tmp_path, "a.mp4", Fraction(25)))
    path = export(library, [tag_at(1.0)], ExportForm.MOT, tmp_path / "det.txt", SETTINGS)
    rows = np.loadtxt(path, delimiter=",")

    known = [
        row for row in TRACKS.read(game.tables).to_pylist() if 0.2 <= row["t_s"] < 1.5 and row["x1_px"] is not None
    ]
    assert len(rows) == len(known) == 13 * (len(PLACES) - 1)
    for row, told in zip(rows, sorted(known, key=lambda r: (r["frame"], r["track"])), strict=True):
        assert tuple(row[:2]) == (told["frame"] + 1, told["track"] + 1)
        assert row[2:4] == pytest.approx([told["x1_px"] + 1, told["y1_px"] + 1], abs=0.006)
        assert row[2:4] + row[4:6] == pytest.approx([told["x2_px"] + 1, told["y2_px"] + 1], abs=0.012)
    assert (rows[:, 7:] == -1).all()
    with pytest.raises(ExportError, match="no boxes"):
        export(library, [tag_at(9.0)], ExportForm.MOT, tmp_path / "none.txt", SETTINGS)


def test_what_is_gone_is_said(library: Library, tmp_path: Path) -> None:
    film = films(tmp_path, "a.mp4", Fraction(25))
    add_game(library, "game", film)
    reel = Reel(1, "R", "", (ReelItem(99),), 1)
    with pytest.raises(ExportError, match="tag 99"):
        export(library, [tag_at(1.0)], ExportForm.CSV, tmp_path / "x.csv", SETTINGS, reel=reel)
    film.unlink()
    with pytest.raises(LibraryError, match="no longer at"):
        export(library, [tag_at(1.0)], ExportForm.EDL, tmp_path / "x.edl", SETTINGS)
