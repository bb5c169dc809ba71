"""What the networks run on: the backends agree, say what is wrong, and leave PyTorch alone on the processor."""

import subprocess
import sys

import numpy as np
import pytest

from pipeline.backends import (
    Device,
    OnnxNetwork,
    OpenVinoNetwork,
    chosen_device,
    gpu_count,
    open_picture_network,
    processor_threads,
)
from pipeline.errors import ModelError, SettingsError
from pipeline.networks import shipped_weights


@pytest.mark.parametrize("task", ["areas", "detector"])
def test_openvino_and_onnxruntime_agree(task):
    path = shipped_weights(task, "onnx")
    mine, other = OpenVinoNetwork(path, task, threads=1, streams=1), OnnxNetwork(path, task, threads=1)
    assert mine.classes == other.classes
    assert mine.input_px == other.input_px
    width, height = mine.input_px
    rng = np.random.default_rng(3)
    coarse = rng.integers(0, 255, (1, height // 32, width // 32, 3), dtype=np.uint8)
    picture = np.kron(coarse, np.ones((1, 32, 32, 1), np.uint8))
    for ours, theirs in zip(mine.run(picture), other.run(picture), strict=True):
        assert ours.shape == theirs.shape
        # bfloat16 keeps eight bits: scores within a few hundredths, boxes within a pixel where anything is scored.
        scale = 1.0 if ours.max() <= 1.0 else width
        assert np.quantile(np.abs(ours - theirs), 0.99) < 0.03 * scale


def test_a_missing_gpu_is_said_in_words(monkeypatch):
    monkeypatch.setattr("pipeline.backends.gpu_count", lambda: 0)
    assert chosen_device(Device.AUTO) is Device.CPU
    assert chosen_device(Device.CPU) is Device.CPU
    with pytest.raises(SettingsError, match="no GPU"):
        chosen_device(Device.CUDA)


def test_a_gpu_is_taken_where_there_is_one(monkeypatch):
    monkeypatch.setattr("pipeline.backends.gpu_count", lambda: 2)
    assert chosen_device(Device.AUTO) is Device.CUDA
    assert chosen_device(Device.CPU) is Device.CPU


def test_gpus_are_counted_without_a_driver_too():
    assert gpu_count() >= 0


def test_nought_threads_are_all_cores():
    assert processor_threads(3) == 3
    assert processor_threads(0) >= 1


def test_the_wrong_network_is_refused(tmp_path):
    with pytest.raises(ModelError, match="wanted a network for 'areas'"):
        open_picture_network("areas", shipped_weights("detector", "onnx"))
    (tmp_path / "text.onnx").write_text("no network")
    with pytest.raises(ModelError, match="not a readable ONNX network"):
        open_picture_network("areas", tmp_path / "text.onnx")


def test_the_processor_needs_no_pytorch():
    script = (
        "import sys\n"
        "from pipeline.night.networks import film_networks\n"
        "from pipeline.night.settings import NightSettings\n"
        "from pipeline.settings import Settings\n"
        "eyes = film_networks(Settings(night=NightSettings(device='cpu'))).open()\n"
        "import numpy as np\n"
        "eyes.detector.detect([np.zeros((270, 480, 3), np.uint8)])\n"
        "assert 'torch' not in sys.modules, 'PyTorch was imported'\n"
    )
    subprocess.run([sys.executable, "-c", script], check=True)


@pytest.mark.slow
@pytest.mark.parametrize("task", ["areas", "detector"])
def test_pytorch_agrees_with_openvino(task):
    from pipeline.torch_backend import BATCH, TorchNetwork

    mine = TorchNetwork(shipped_weights(task, "pt"), task, device="cpu")
    other = OpenVinoNetwork(shipped_weights(task, "onnx"), task, threads=1, streams=1)
    assert mine.batch == BATCH[task]
    width, height = mine.input_px
    coarse = np.random.default_rng(3).integers(0, 255, (2, height // 32, width // 32, 3), dtype=np.uint8)
    pictures = np.kron(coarse, np.ones((1, 32, 32, 1), np.uint8))
    ours, theirs = mine.run(pictures), other.run(pictures)
    if task == "areas":
        assert np.mean(ours[0].argmax(axis=1) != theirs[0].argmax(axis=1)) < 0.01
    else:  # only the surest cells come back
        best = [np.sort(found[1].max(axis=2), axis=1)[:, -30:] for found in (ours, theirs)]
        assert np.abs(best[0] - best[1]).max() < 0.03
