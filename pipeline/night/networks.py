"""Opens the shipped networks as the settings say."""

from __future__ import annotations

import importlib.util
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from functools import partial
from pathlib import Path

from pipeline.backends import (
    Device,
    chosen_device,
    gpu_count,
    gpu_memory_gb,
    open_picture_network,
    processor_threads,
)
from pipeline.court.area_network import AreaNetwork, FloorAreas
from pipeline.crew import LOADED_FIRST, Crew, LocalCrew, worker_count
from pipeline.errors import MissingExtraError, ModelError
from pipeline.networks import Task, has_shipped, shipped_weights
from pipeline.night.cluster import RayCrew, cluster_at, cores_here, machine_here, share_of_looker
from pipeline.night.run import Networks
from pipeline.night.stages import file_digest
from pipeline.night.vision import Eyes
from pipeline.players.detector import Detector, NetworkDetector
from pipeline.players.detector import open_detector as _open_detector
from pipeline.players.jersey_numbers import OnnxNumbers
from pipeline.players.settings import DetectorSettings
from pipeline.settings import Settings

VISION_WEIGHTS: tuple[Task, ...] = ("areas", "detector", "text_regions", "bug_text", "numbers")
"""Shipped networks that the vision pass runs, of those that are there."""

GPU_STRETCHES = 6
"""Stretches looked at side by side when a GPU runs the networks: enough to prepare one while others are looked at;
more threads only wait for the interpreter's lock."""


CORES_A_LOOKER = {Device.CPU: 4.0, Device.CUDA: 1.25}
"""Cores that one worker of the vision pass keeps busy. On the processor the networks take most of the time and use all
threads of a process; beside a GPU everything else does, mostly one thread at a time."""

MEMORY_A_LOOKER_GB = {Device.CPU: 1.8, Device.CUDA: 3.0}
"""Memory that it takes at most (measured: 1.5 and 2.7)."""

GPU_MEMORY_A_LOOKER_GB = 4.0
"""Memory of the GPU that it takes at most."""

MEMORY_A_FILM_GB = 1.0
"""Memory of a film's own process while a cluster looks at the film."""

MOST_FILMS = 4
"""Films that are run side by side over a cluster at most: enough that some are looked at while others begin or end."""

MEMORY_A_WORKER_GB = 0.5
"""Memory of a worker that has no networks."""


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
    return Networks(
        open=partial(_film_eyes, settings),
        digests=_digests,
        apart=partial(_looker_eyes, settings),
        lookers=partial(_lookers, settings),
        crew=partial(_crew, settings),
    )


def cluster_networks(address: str, settings: Settings) -> Networks:
    """The same for a cluster (`pipeline.night.cluster.RayCrew`); each machine opens the networks that it has."""
    few = partial(share_of_looker, device=settings.night.device, memory_gb=MEMORY_A_LOOKER_GB)
    crew = RayCrew(address, few, settings.night.workers)
    return Networks(
        open=partial(_film_eyes, settings),
        digests=_digests,
        apart=partial(_eyes_elsewhere, settings, _digests()),
        lookers=lambda: crew.lookers,
        crew=lambda: crew,
    )


@contextmanager
def night_networks(cluster: str | None) -> Iterator[tuple[Callable[[Settings], Networks], int]]:
    """What opens the networks in the process of each film of a night, and how many films are run side by side.

    Parameters
    ----------
    cluster : str or None
        Address of a cluster; None for this machine alone. It must answer; a local one lives as long as the night.
    """
    if cluster is None:
        yield film_networks, 1
        return
    with cluster_at(cluster) as address:
        cores = processor_threads(0)
        yield (
            partial(cluster_networks, address),
            worker_count(cores, cores_each=1, memory_each_gb=MEMORY_A_FILM_GB, most=MOST_FILMS),
        )


def _eyes_elsewhere(settings: Settings, weights: Mapping[str, str], _lookers: int) -> Eyes:
    if _digests() != weights:
        raise ModelError(
            f"{machine_here()} has other network weights than the machine that began the run; install the same "
            "elbowroom on all."
        )
    night = settings.night.model_copy(update={"network_threads": cores_here()})
    return _film_eyes(settings.model_copy(update={"night": night}))


def _lookers(settings: Settings) -> int:
    device = chosen_device(settings.night.device)
    cores = processor_threads(settings.night.network_threads)
    most = gpu_memory_gb() / GPU_MEMORY_A_LOOKER_GB if device is Device.CUDA else float("inf")
    own = worker_count(cores, cores_each=CORES_A_LOOKER[device], memory_each_gb=MEMORY_A_LOOKER_GB[device], most=most)
    return settings.night.workers or own


def _crew(settings: Settings) -> Crew:
    cores = processor_threads(settings.night.network_threads)
    workers = settings.night.workers or worker_count(cores, cores_each=1, memory_each_gb=MEMORY_A_WORKER_GB)
    on_gpu = chosen_device(settings.night.device) is Device.CUDA
    return LocalCrew(workers, (*LOADED_FIRST, "pipeline.torch_backend") if on_gpu else LOADED_FIRST)


def _looker_eyes(settings: Settings, lookers: int) -> Eyes:
    """The networks for one of several workers, which share the cores."""
    threads = max(1, processor_threads(settings.night.network_threads) // lookers)
    night = settings.night.model_copy(update={"network_threads": threads})
    return _film_eyes(settings.model_copy(update={"night": night}))


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
