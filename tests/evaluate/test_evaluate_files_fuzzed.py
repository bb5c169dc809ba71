"""Spoilt folders of labels and sequences: refused in one sentence, or numbers that are sound."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import pytest
from broken_files import ODD_PLACES, odd_place, read_or_told, spoilt
from hypothesis import given
from hypothesis import strategies as st

from pipeline.evaluate import boxes, court_frames, readers
from pipeline.evaluate.games import _book
from pipeline.evaluate.mot import BoxSequence, read_sequence, read_sequences

INFO = b"[Sequence]\nname=a\nimDir=img1\nframeRate=25\nseqLength=4\nimWidth=1280\nimHeight=720\n"
TRUTH = b"1, 1, 100.5, 200.0, 50, 130, 1, 1, 1\n2, 1, 101.5, 201.0, 50, 130, 1, 1, 1\n4, 2, 9, 9, 50, 130, 0, 1, 1\n"
FRAMES = json.dumps(
    [
        {
            "file": "a.jpg", "game": "g", "width": 640, "height": 360, "augmented": False,
            "polygons": [{"area": "paint_left", "points": [[1.5, 2.0], [30, 40], [50, 2]]}],
        }
    ]
).encode()  # fmt: skip
CLASSES = b"player\nofficial\nball\nring\n"
LABELS = b"0 0.5 0.5 0.1 0.3\n3 0.9 0.1 0.05 0.05\n"
READ = json.dumps({"p1": {"passes": [{"from": 1, "to": 2, "t": 1.5, "readers": 2}], "other": 3}}).encode()
BOOK = b'{"rule_book": "fiba", "seed": 3}'


@pytest.fixture(scope="module")
def place(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("measured")
    for inside in ("mot/a/gt", "boxes/images", "boxes/labels", "court", "game"):
        (folder / inside).mkdir(parents=True)
    (folder / "mot/a/seqinfo.ini").write_bytes(INFO)
    (folder / "mot/a/gt/gt.txt").write_bytes(TRUTH)
    cv2.imwrite(str(folder / "boxes/images/a.jpg"), np.zeros((36, 64, 3), np.uint8))
    (folder / "boxes/classes.txt").write_bytes(CLASSES)
    (folder / "boxes/labels/a.txt").write_bytes(LABELS)
    (folder / "court/polygons.json").write_bytes(FRAMES)
    (folder / "read.json").write_bytes(READ)
    (folder / "game/truth.json").write_bytes(BOOK)
    return folder


READS = {
    "mot/a/seqinfo.ini": lambda folder: read_sequence(folder / "mot/a"),
    "mot/a/gt/gt.txt": lambda folder: read_sequences(folder / "mot"),
    "boxes/classes.txt": lambda folder: boxes.read_labels(folder / "boxes"),
    "boxes/labels/a.txt": lambda folder: boxes.read_labels(folder / "boxes"),
    "court/polygons.json": lambda folder: court_frames.read_labelled_frames(folder / "court"),
    "read.json": lambda folder: readers.read_labels(folder / "read.json"),
    "game/truth.json": lambda folder: _book(folder / "game"),
}


def check_sound(value: object) -> None:
    """No infinite and no missing number in what was read."""
    if isinstance(value, BoxSequence):
        assert 0 < value.frame_rate < 1000
        assert all(np.isfinite(one).all() for one in value.boxes)
    elif isinstance(value, tuple) and len(value) == 4 and isinstance(value[2], list):
        assert all(np.isfinite(one).all() for one in value[2])
    elif isinstance(value, list):
        assert all(np.isfinite(points).all() for frame in value for _, points in frame.polygons)


@pytest.mark.parametrize("name", READS)
def test_the_good_files_are_read(place, name):
    value = READS[name](place)
    assert value
    check_sound(value)


@given(data=st.data(), name=st.sampled_from(sorted(READS)))
def test_a_spoilt_file(place, data, name):
    path = place / name
    good = path.read_bytes()
    try:
        path.write_bytes(data.draw(spoilt(good)))
        check_sound(read_or_told(lambda: READS[name](place), None))
    finally:
        path.write_bytes(good)


@pytest.mark.parametrize("odd", ODD_PLACES)
@pytest.mark.parametrize("name", READS)
def test_something_odd_in_its_place(place, name, odd):
    with odd_place(place / name, odd):
        read_or_told(lambda: READS[name](place), None)
