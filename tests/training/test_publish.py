"""From a network to the files that ship: export, checksums, and reading them back."""

import json
import tomllib

import numpy as np
import pytest
import torch

from pipeline.court.area_network import AREA_CLASSES, FloorAreas
from pipeline.errors import DataError, ModelError
from pipeline.networks import open_network, shipped_weights
from pipeline.players.detector import NetworkDetector
from pipeline.players.tables import BOX_CLASSES
from pipeline.training.export import export_onnx, save_weights
from pipeline.training.networks import areas_network, detector_network
from pipeline.training.publish import publish
from pipeline.training.train import train

pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::torch.jit.TracerWarning")


@pytest.fixture(scope="module")
def trained(tmp_path_factory):
    """Two untrained, very narrow networks, written as the training writes them."""
    from ultralytics.nn.tasks import DetectionModel, SemanticSegmentationModel

    folder = tmp_path_factory.mktemp("trained")
    torch.manual_seed(0)
    for task, model in (
        ("detector", DetectionModel(detector_network(0.0625), verbose=False)),
        ("areas", SemanticSegmentationModel(areas_network(0.0625), verbose=False)),
    ):
        names = BOX_CLASSES if task == "detector" else AREA_CLASSES
        model.names = dict(enumerate(names))
        model.pt_path = str(folder / "earlier.pt")  # as continuing from earlier weights leaves it
        save_weights(model, folder / f"{task}.pt", task, epoch=0)
        export_onnx(model, folder / f"{task}.onnx", task)
        record = {"classes": list(names), "input_px": [960, 544] if task == "detector" else [640, 384], "epochs": 1}
        (folder / f"{task}.json").write_text(json.dumps(record))
    return folder


@pytest.mark.slow
def test_published_networks_are_found_and_run(trained, tmp_path, monkeypatch):
    publish(trained, tmp_path)
    monkeypatch.setenv("ELBOWROOM_MODELS", str(tmp_path))
    index = tomllib.loads((tmp_path / "index.toml").read_text())
    assert index["detector"]["classes"] == list(BOX_CLASSES)
    assert index["areas"]["card"] == "areas.md"
    for task in ("detector", "areas"):
        for form in ("onnx", "pt"):
            path = shipped_weights(task, form)
            assert path.stat().st_size == index[task][form]["bytes"]
    frame = np.random.default_rng(0).integers(0, 255, (360, 640, 3), dtype=np.uint8)
    assert len(NetworkDetector().detect([frame])) == 1
    prob = FloorAreas().areas([frame])[0]
    assert prob.shape[0] == len(AREA_CLASSES)
    np.testing.assert_allclose(prob.sum(axis=0), 1, atol=1e-4)


@pytest.mark.slow
def test_stored_halves_compute_as_the_network_does(trained):
    weights = torch.load(trained / "areas.pt", weights_only=False, map_location="cpu")["model"].float().eval()
    network = open_network(trained / "areas.onnx", "areas", threads=1)
    images = np.random.default_rng(1).random((1, 3, 384, 640), dtype=np.float32)
    with torch.no_grad():
        wanted = weights(torch.from_numpy(images)).softmax(dim=1).numpy()
    np.testing.assert_allclose(network.run(images)[0], wanted, atol=5e-3)


@pytest.mark.slow
def test_weights_carry_no_place_of_the_machine(trained):
    for name in ("detector.pt", "areas.pt", "detector.onnx", "areas.onnx"):
        raw = (trained / name).read_bytes()
        assert str(trained).encode() not in raw
        assert b"/tmp/" not in raw
        assert b"/home/" not in raw


def test_missing_and_oversized_files_are_refused(tmp_path):
    with pytest.raises(ModelError, match=r"detector\.pt is missing"):
        publish(tmp_path, tmp_path / "models")
    for suffix in (".pt", ".onnx", ".json"):
        (tmp_path / f"detector{suffix}").write_bytes(b"")
    with (tmp_path / "detector.pt").open("wb") as file:
        file.truncate(12_000_001)
    with pytest.raises(ModelError, match="train a narrower network"):
        publish(tmp_path, tmp_path / "models", ("detector",))


def test_earlier_weights_must_exist(tmp_path):
    with pytest.raises(DataError, match="no such file"):
        train("areas", spool=tmp_path, real=None, out=tmp_path, minutes=1, weights=tmp_path / "none.pt")
