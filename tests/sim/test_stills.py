"""Training stills: files in the documented form, deterministic, light imports."""

from __future__ import annotations

import json
import subprocess
import sys

import cv2
import numpy as np
import pytest

from pipeline.court.rule_books import RULE_BOOKS
from pipeline.errors import MissingExtraError
from pipeline.sim.situations import random_situation

SIZE = (320, 180)


@pytest.fixture(scope="module")
def rendered(tmp_path_factory):
    pytest.importorskip("moderngl")
    from pipeline.sim.stills import render_stills

    folder = tmp_path_factory.mktemp("stills")
    try:
        found = render_stills(folder, 8, 3, SIZE, stills_per_look=2)
    except MissingExtraError as error:
        pytest.skip(f"no EGL here: {error}")
    return folder, found


def test_files_and_rule_books(rendered):
    folder, found = rendered
    assert len(found) == 8
    assert {still.rule_book for still in found} == set(RULE_BOOKS)
    rows = [json.loads(line) for line in (folder / "stills.jsonl").read_text().splitlines()]
    assert [row["name"] for row in rows] == [still.name for still in found]
    for still in found:
        picture = cv2.imread(str(folder / "images" / f"{still.name}.jpg"))
        mask = cv2.imread(str(folder / "masks" / f"{still.name}.png"), cv2.IMREAD_UNCHANGED)
        assert picture.shape == (SIZE[1], SIZE[0], 3)
        assert mask.shape == (SIZE[1], SIZE[0])
        assert mask.max() <= 5
        lines = (folder / "labels" / f"{still.name}.txt").read_text().split("\n")[:-1]
        assert len(lines) == still.boxes
        for line in lines:
            values = np.array(line.split(), float)
            assert values[0] in (0, 1, 2, 3)
            centre, size = values[1:3], values[3:]
            assert (size > 0).all()
            assert (centre - size / 2 > -1e-6).all()
            assert (centre + size / 2 < 1 + 1e-6).all()
    assert sum(still.boxes for still in found) > 30


def test_same_seed_same_files(rendered, tmp_path):
    from pipeline.sim.stills import render_stills

    folder, _ = rendered
    again = render_stills(tmp_path, 2, 3, SIZE, stills_per_look=2)
    for still in again:
        for kind, ending in (("images", "jpg"), ("labels", "txt"), ("masks", "png")):
            name = f"{kind}/{still.name}.{ending}"
            assert (folder / name).read_bytes() == (tmp_path / name).read_bytes(), name


def test_other_seed_other_pictures(rendered, tmp_path):
    from pipeline.sim.stills import render_stills

    folder, found = rendered
    other = render_stills(tmp_path, 1, 4, SIZE)
    first = cv2.imread(str(folder / "images" / f"{found[0].name}.jpg")).astype(int)
    second = cv2.imread(str(tmp_path / "images" / f"{other[0].name}.jpg")).astype(int)
    assert np.abs(first - second).mean() > 10


def test_stills_import_nothing_heavy():
    code = (
        "import sys, pipeline.sim.stills;"
        "heavy = {'torch', 'pyarrow', 'av', 'ultralytics', 'pandas'} & set(sys.modules);"
        "sys.exit(','.join(heavy) or 0)"
    )
    pytest.importorskip("moderngl")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize("name", sorted(RULE_BOOKS))
def test_situations_keep_to_the_building_and_repeat(name):
    book = RULE_BOOKS[name]
    for seed in range(40):
        actors, _, focus = random_situation(np.random.default_rng(seed), book)
        again, _, _ = random_situation(np.random.default_rng(seed), book)
        players = [actor for actor in actors if actor.role == "player"]
        assert len(players) == 10
        assert sorted(actor.actor for actor in players) == list(range(10))
        assert 2 <= len(actors) - 10 <= 3
        places = np.array([actor.position_ft for actor in players])
        assert (places > -6).all()
        assert (places < [book.length_ft + 6, book.width_ft + 6]).all()
        gaps = np.linalg.norm(places[:, None] - places[None], axis=2) + np.eye(10) * 9
        assert gaps.min() > 0.9
        assert np.isfinite(focus).all()
        assert [a.pose for a in actors] == [a.pose for a in again]


def test_short_runs_with_seeds_in_a_row_hold_all_rule_books():
    pytest.importorskip("moderngl")
    from pipeline.sim.looks import RULE_BOOK_ORDER, make_look
    from pipeline.sim.stills import LOOKS_PER_SEED

    books = [make_look(seed * LOOKS_PER_SEED + number).rule_book for seed in range(1, 21) for number in range(2)]
    assert {book: books.count(book) for book in RULE_BOOK_ORDER} == dict.fromkeys(RULE_BOOK_ORDER, 10)
