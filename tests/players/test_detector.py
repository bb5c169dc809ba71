"""The detector's own part: placing pictures, choosing boxes, refusing the wrong files. No trained network is needed."""

import json

import numpy as np
import onnx
import pytest
from onnx import TensorProto, helper

from pipeline.errors import ModelError, ShapeError
from pipeline.networks import PAD_LEVEL, fit_pictures, place, shipped_weights
from pipeline.players.detector import UltralyticsDetector, open_detector, select_boxes
from pipeline.players.settings import DetectorSettings
from pipeline.players.tables import BOX_CLASSES

INPUT = (96, 64)


def made_up_network(path, boxes, scores, *, task="detector", classes=BOX_CLASSES):
    """An ONNX file that answers the same boxes and scores for every picture of a batch."""
    cells = len(boxes)
    zero = helper.make_node("ReduceMean", ["images"], ["level"], axes=[1, 2, 3], keepdims=1)
    nodes = [
        zero,
        helper.make_node("Sub", ["level", "level"], ["nothing4"]),
        helper.make_node("Squeeze", ["nothing4", "last_axis"], ["nothing"]),
        helper.make_node("Add", ["nothing", "all_boxes"], ["boxes"]),
        helper.make_node("Add", ["nothing", "all_scores"], ["scores"]),
    ]
    constants = [
        helper.make_tensor("last_axis", TensorProto.INT64, [1], [3]),
        helper.make_tensor("all_boxes", TensorProto.FLOAT, [1, cells, 4], np.ravel(boxes).astype(float)),
        helper.make_tensor("all_scores", TensorProto.FLOAT, [1, cells, 4], np.ravel(scores).astype(float)),
    ]
    graph = helper.make_graph(
        nodes,
        "made_up",
        [helper.make_tensor_value_info("images", TensorProto.FLOAT, ["batch", 3, INPUT[1], INPUT[0]])],
        [
            helper.make_tensor_value_info("boxes", TensorProto.FLOAT, ["batch", cells, 4]),
            helper.make_tensor_value_info("scores", TensorProto.FLOAT, ["batch", cells, 4]),
        ],
        constants,
    )
    model = helper.make_model(graph, opset_imports=[helper.make_opsetid("", 17)], ir_version=10)
    for key, value in (("elbowroom_task", task), ("classes", json.dumps(classes)), ("input_px", json.dumps(INPUT))):
        entry = model.metadata_props.add()
        entry.key, entry.value = key, value
    onnx.checker.check_model(model)
    onnx.save(model, str(path))
    return path


@pytest.mark.parametrize("size_px", [(96, 64), (192, 128), (640, 360), (360, 640), (50, 50), (97, 3)])
def test_boxes_come_back_to_the_picture(size_px):
    spot = place(size_px, INPUT)
    boxes = np.array([[0.0, 0, size_px[0], size_px[1]], [1, 0.5, 5, 2]])
    forward = boxes.copy()
    forward[:, [0, 2]] = boxes[:, [0, 2]] * spot.scale_x + spot.left_px
    forward[:, [1, 3]] = boxes[:, [1, 3]] * spot.scale_y + spot.top_px
    assert (forward[0] >= 0).all()
    assert (forward[0] <= [*INPUT, *INPUT]).all()
    np.testing.assert_allclose(spot.to_picture(forward), boxes, atol=1e-9)


def test_pictures_lie_on_grey():
    frame = np.zeros((64, 64, 3), np.uint8)
    frame[:] = (255, 0, 51)  # blue, green, red
    pictures, _ = fit_pictures([frame], INPUT)
    assert pictures.shape == (1, 64, 96, 3)
    assert pictures.dtype == np.uint8
    assert pictures[0, 30, 48].tolist() == [255, 0, 51]
    assert pictures[0, 30, 2].tolist() == [PAD_LEVEL] * 3


@pytest.mark.parametrize("frame", [np.zeros((4, 4), np.uint8), np.zeros((4, 4, 3)), np.zeros((0, 4, 3), np.uint8)])
def test_no_picture_is_refused(frame):
    with pytest.raises(ShapeError, match="frame 0"):
        fit_pictures([frame], INPUT)


def test_of_doubles_the_surest_stays():
    boxes = np.array([[0.0, 0, 10, 20], [0, 0, 10, 19], [40, 0, 50, 20], [0, 0, 10, 20]])
    scores = np.zeros((4, 4))
    scores[:3, 0] = [0.6, 0.8, 0.5]
    scores[3, 3] = 0.7  # a ring on the same spot is not a double of a player
    chosen, kind, confidence = select_boxes(boxes, scores, DetectorSettings())
    assert kind.tolist() == [0, 3, 0]
    np.testing.assert_allclose(confidence, [0.8, 0.7, 0.5], atol=1e-6)
    np.testing.assert_allclose(chosen[0], [0, 0, 10, 19])


def test_each_class_has_its_threshold():
    boxes = np.array([[10.0 * i, 0, 10 * i + 8, 20] for i in range(4)])
    scores = np.eye(4) * 0.3
    settings = DetectorSettings(min_player=0.29, min_official=0.31, min_ball=0.1, min_ring=0.5)
    _, kind, _ = select_boxes(boxes, scores, settings)
    assert sorted(kind.tolist()) == [0, 2]


def test_a_body_is_a_player_or_an_official():
    body, beside = [10.0, 10, 30, 70], [12.0, 40, 30, 72]
    boxes = np.array([body, [10.0, 12, 30, 70], beside])
    scores = np.array([[0.5, 0.0, 0, 0], [0.0, 0.7, 0, 0], [0.4, 0.0, 0, 0]])
    chosen, kind, _ = select_boxes(boxes, scores, DetectorSettings())
    assert kind.tolist() == [1, 0], "the surer kind stays, and so does another body in front"
    np.testing.assert_array_equal(chosen[1], beside)


def test_nothing_seen_is_an_empty_answer():
    boxes, kind, confidence = select_boxes(np.zeros((5, 4)), np.zeros((5, 4)), DetectorSettings())
    assert boxes.shape == (0, 4)
    assert kind.shape == confidence.shape == (0,)


def test_the_onnx_backend_answers_in_picture_pixels(tmp_path):
    scores = np.zeros((2, 4))
    scores[0, 0], scores[1, 2] = 0.9, 0.8
    path = made_up_network(tmp_path / "d.onnx", [[8, 10, 24, 50], [90, 60, 110, 70]], scores)
    detector = open_detector(path, DetectorSettings())
    frames = [np.zeros((128, 192, 3), np.uint8), np.zeros((64, 96, 3), np.uint8), np.zeros((32, 96, 3), np.uint8)]
    found = detector.detect(frames)
    assert [len(f) for f in found] == [2, 2, 1], "the ball is outside the third picture"
    np.testing.assert_allclose(found[0].xyxy[0], [16, 20, 48, 100], atol=1e-4)
    np.testing.assert_allclose(found[0].xyxy[1], [180, 120, 192, 128], atol=1e-4)
    np.testing.assert_allclose(found[2].xyxy[0], [8, 0, 24, 32], atol=1e-4)
    assert found[0].class_id.tolist() == [0, 2]
    assert detector.detect([]) == []


def test_other_networks_are_refused(tmp_path):
    boxes, scores = [[0, 0, 1, 1]], [[0, 0, 0, 0]]
    with pytest.raises(ModelError, match="no network there"):
        open_detector(tmp_path / "missing.onnx")
    with pytest.raises(ModelError, match="wanted a network for 'detector'"):
        open_detector(made_up_network(tmp_path / "a.onnx", boxes, scores, task="areas"))
    with pytest.raises(ModelError, match="classes are"):
        open_detector(made_up_network(tmp_path / "b.onnx", boxes, scores, classes=("a", "b", "c", "d")))
    (tmp_path / "text.onnx").write_text("no network")
    with pytest.raises(ModelError, match="not a readable ONNX network"):
        open_detector(tmp_path / "text.onnx")


def test_other_weights_are_refused(tmp_path):
    with pytest.raises(ModelError, match="no network there"):
        UltralyticsDetector(tmp_path / "missing.pt")
    (tmp_path / "text.pt").write_text("no network")
    with pytest.raises(ModelError, match="not readable as ultralytics weights"):
        UltralyticsDetector(tmp_path / "text.pt")


class TestShippedWeights:
    """What the index lists is found, and anything else refused in words."""

    @pytest.fixture
    def folder(self, tmp_path, monkeypatch):
        monkeypatch.setenv("ELBOWROOM_MODELS", str(tmp_path))
        (tmp_path / "d.onnx").write_bytes(b"abc")
        digest = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"  # FIPS 180-2, appendix B.1
        (tmp_path / "index.toml").write_text(f'[detector.onnx]\nfile = "d.onnx"\nsha256 = "{digest}"\n')
        return tmp_path

    def test_the_listed_file(self, folder):
        assert shipped_weights("detector", "onnx") == folder / "d.onnx"

    def test_changed_bytes(self, folder):
        (folder / "d.onnx").write_bytes(b"abd")
        with pytest.raises(ModelError, match="bytes differ"):
            shipped_weights("detector", "onnx")

    def test_missing_file(self, folder):
        (folder / "d.onnx").unlink()
        with pytest.raises(ModelError, match="is missing"):
            shipped_weights("detector", "onnx")

    def test_not_listed(self, folder):
        assert folder.is_dir()
        with pytest.raises(ModelError, match="does not list"):
            shipped_weights("areas", "onnx")

    def test_no_index(self, folder):
        (folder / "index.toml").unlink()
        with pytest.raises(ModelError, match=r"index\.toml is missing"):
            shipped_weights("detector", "onnx")
