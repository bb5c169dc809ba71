"""Opens the shipped networks as the settings say."""

from __future__ import annotations

import importlib.util
from pathlib import Path

from pipeline.backends import Device, chosen_device, gpu_count, open_picture_network, processor_threads
from pipeline.court.area_network import AreaNetwork, FloorAreas
from pipeline.errors import MissingExtraError
from pipeline.networks import Task, has_shipped, shipped_weights
from pipeline.night.run import Networks
from pipeline.night.stages import file_digest
from pipeline.night.vision import Eyes
from pipeline.players.detector import Detector, DetectorSettings, NetworkDetector
from pipeline.players.detector import open_detector as _open_detector
from pipeline.players.jersey_numbers import OnnxNumbers
from pipeline.settings import Settings

VISION_WEIGHTS: tuple[Task, ...] = ("areas", "detector", "text_regions", "bug_text", "numbers")
"""Shipped networks that the vision pass runs, of those that are there."""

GPU_STRETCHES = 6
"""Stretches looked at side by side when a GPU runs the networks: enough to prepare one while others are looked at;
more threads only wait for the interpreter's lock."""


def open_areas(settings: Settings, weights: Path | None = None) -> AreaNetwork:
    """The court network as single pictures need it: every thread for one picture.

    ``weights`` names another network than the shipped one: an ONNX file, or ultralytics weights (``.pt``) where PyTorch
    is installed.
    """
    threads = processor_threads(settings.night.network_threads)
    if weights is not None and weights.suffix == ".pt":
        if importlib.util.find_spec("torch") is None:
            raise MissingExtraError(f"{weights} needs PyTorch, which is not installed; give an ONNX file instead.")
        from pipeline.torch_backend import TorchNetwork

        return FloorAreas(TorchNetwork(weights, "areas", device="cuda" if gpu_count() else "cpu"))
    return FloorAreas(open_picture_network("areas", weights, device=Device.CPU, threads=threads))


def open_detector(settings: Settings) -> Detector:
    """The detector as single pictures need it."""
    threads = processor_threads(settings.night.network_threads)
    return _open_detector(settings=settings.detector, device=Device.CPU, threads=threads)


def film_networks(settings: Settings) -> Networks:
    """The networks as a film needs them: unsure sightings are kept, the tracker and the ball's path weigh them."""
    return Networks(open=lambda: _film_eyes(settings), digests=_digests)


def _film_eyes(settings: Settings) -> Eyes:
    keep = DetectorSettings(
        min_player=settings.players.placing.least_score,
        min_official=settings.players.placing.least_score,
        min_ball=settings.ball.evidence.least_score,
        min_ring=settings.detector.min_ring,
        max_overlap=settings.detector.max_overlap,
        batch=settings.detector.batch,
    )
    threads = processor_threads(settings.night.network_threads)
    device = chosen_device(settings.night.device)
    return Eyes(
        areas=FloorAreas(open_picture_network("areas", device=device, threads=threads, streams=threads)),
        detector=NetworkDetector(
            open_picture_network("detector", device=device, threads=threads, streams=threads), keep
        ),
        numbers=OnnxNumbers(threads=1) if has_shipped("numbers", "onnx") else None,
        side_by_side=threads if device is Device.CPU else min(threads, GPU_STRETCHES),
    )


def _digests() -> dict[str, str]:
    return {task: file_digest(shipped_weights(task, "onnx")) for task in VISION_WEIGHTS if has_shipped(task, "onnx")}
