"""Training folders as data sets."""

import cv2
import numpy as np
import pytest

from pipeline.errors import DataError
from pipeline.training.augment import Framing
from pipeline.training.pictures import UNKNOWN_AREA, FramedPictures, Labelled, read_folder
from pipeline.training.train import mixed

INPUT = (320, 192)


@pytest.fixture
def folder(tmp_path):
    """Two labelled pictures, one of them with a mask, and a third that was cut short while being written."""
    for name in ("images", "labels", "masks"):
        (tmp_path / name).mkdir()
    picture = np.full((180, 320, 3), 80, np.uint8)
    picture[40:140, 100:140] = (0, 0, 230)
    for stem in ("a", "b", "cut"):
        cv2.imwrite(str(tmp_path / "images" / f"{stem}.jpg"), picture)
        (tmp_path / "labels" / f"{stem}.txt").write_text("0 0.375 0.5 0.125 0.555556\n")
    whole = (tmp_path / "images" / "cut.jpg").read_bytes()
    (tmp_path / "images" / "cut.jpg").write_bytes(whole[: len(whole) // 2])
    mask = np.zeros((180, 320), np.uint8)
    mask[90:] = 3
    cv2.imwrite(str(tmp_path / "masks" / "a.png"), mask)
    return tmp_path


def test_only_pictures_with_what_is_needed_are_read(folder):
    labelled = read_folder(folder, needs="labels")
    assert [p.name.split("/")[1] for p in labelled] == ["a", "b"]
    np.testing.assert_allclose(labelled[0].boxes, [[0.3125, 0.2222, 0.4375, 0.7778]], atol=1e-3)
    assert [p.name.split("/")[1] for p in read_folder(folder, needs="masks")] == ["a"]


def test_a_folder_of_folders_counts_as_one(folder):
    above = folder.parent / "above"
    above.mkdir()
    (above / "one").symlink_to(folder)
    assert len(read_folder(above, needs="labels")) == 2


def test_an_empty_folder_says_what_is_missing(tmp_path):
    (tmp_path / "images").mkdir()
    with pytest.raises(DataError, match=r"\.txt file of its name in labels/"):
        read_folder(tmp_path, needs="labels")


def test_whole_pictures_keep_their_boxes(folder):
    pictures = FramedPictures(read_folder(folder, needs="labels"), INPUT, None, seed=1)
    item = pictures[0]
    assert item["img"].shape == (3, 192, 320)
    np.testing.assert_allclose(item["bboxes"].numpy() * [320, 192, 320, 192], [[120, 96, 40, 100]], atol=0.2)
    red, green = item["img"][0], item["img"][1]
    ys, xs = np.nonzero((red > 150).numpy() & (green < 90).numpy())
    assert abs(xs.mean() + 0.5 - 120) < 1
    assert abs(ys.mean() + 0.5 - 96) < 1


def test_masks_are_unknown_beside_the_picture(folder):
    item = FramedPictures(read_folder(folder, needs="masks"), INPUT, None, seed=1)[0]
    mask = item["semantic_mask"].numpy()
    assert (mask[:5] == UNKNOWN_AREA).all()
    assert mask[50, 100] == 0
    assert mask[150, 100] == 3


def test_a_mask_of_another_size_is_refused(folder):
    cv2.imwrite(str(folder / "masks" / "a.png"), np.zeros((90, 160), np.uint8))
    pictures = FramedPictures(read_folder(folder, needs="masks"), INPUT, None, seed=1)
    with pytest.raises(DataError, match="160×90"):
        pictures[0]


def test_draws_set_the_length_of_an_epoch(folder):
    pictures = FramedPictures(read_folder(folder, needs="labels"), INPUT, Framing(), seed=1, draws=7)
    assert len(pictures) == 7
    assert {pictures[i]["im_file"].split("/")[1] for i in range(7)} <= {"a", "b"}


def test_balls_come_only_where_they_may(folder):
    plain = read_folder(folder, needs="labels")
    may = [Labelled(p.name, p.jpeg, p.classes, p.boxes, None, may_get_balls=True) for p in plain]
    framing = Framing(min_zoom=1.0, max_zoom=1.0, max_turn_deg=0.0, max_shear=0.0)
    without = [FramedPictures(plain, INPUT, framing, 5, draws=30)[i] for i in range(30)]
    with_balls = [FramedPictures(may, INPUT, framing, 5, draws=30)[i] for i in range(30)]
    whole = [FramedPictures(may, INPUT, None, 5)[i] for i in range(2)]
    assert not any((2 in item["cls"]) for item in [*without, *whole])
    assert 8 <= sum((2 in item["cls"]) for item in with_balls) <= 29


def test_a_batch_says_whose_box_is_whose(folder):
    pictures = FramedPictures(read_folder(folder, needs="labels"), INPUT, None, seed=1)
    batch = FramedPictures.collate_fn([pictures[0], pictures[1]])
    assert batch["img"].shape == (2, 3, 192, 320)
    assert batch["batch_idx"].tolist() == [0, 1]
    assert batch["cls"].shape == (2, 1)


@pytest.mark.parametrize(("renders", "real", "share"), [(300, 10, 0.25), (300, 10, 0.5), (40, 20, 0.1)])
def test_real_pictures_are_repeated_to_their_share(renders, real, share):
    one = Labelled("r", np.empty(0, np.uint8), None, None, None)
    other = Labelled("s", np.empty(0, np.uint8), None, None, None)
    mix = mixed([one] * renders, [other] * real, share)
    found = sum(p is other for p in mix)
    assert found >= real
    assert found % real == 0
    if share >= 0.25:
        assert abs(found / len(mix) - share) < 0.05


def test_mixing_with_nothing_changes_nothing():
    one = Labelled("r", np.empty(0, np.uint8), None, None, None)
    assert mixed([one], [], 0.25) == [one]
    assert mixed([], [one], 0.25) == [one]
