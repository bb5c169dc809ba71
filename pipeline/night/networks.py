"""Opens the two shipped networks as the settings say."""

from __future__ import annotations

from pipeline.court.area_network import AreaNetwork, OnnxAreas
from pipeline.networks import shipped_weights
from pipeline.night.run import Networks
from pipeline.night.stages import file_digest
from pipeline.players.detector import Detector, DetectorSettings, OnnxDetector
from pipeline.settings import Settings


def open_areas(settings: Settings) -> AreaNetwork:
    """The court network on the processor."""
    return OnnxAreas(threads=settings.night.network_threads)


def open_detector(settings: Settings) -> Detector:
    """The detector as single pictures need it."""
    return OnnxDetector(settings=settings.detector, threads=settings.night.network_threads)


def film_networks(settings: Settings) -> Networks:
    """Both networks as a film needs them: unsure sightings are kept, the tracker and the ball's path weigh them."""
    keep = DetectorSettings(
        min_player=settings.players.placing.least_score,
        min_official=settings.players.placing.least_score,
        min_ball=settings.ball.path.least_score,
        min_ring=settings.detector.min_ring,
        max_overlap=settings.detector.max_overlap,
        batch=settings.detector.batch,
    )
    return Networks(
        areas=lambda: open_areas(settings),
        detector=lambda: OnnxDetector(settings=keep, threads=settings.night.network_threads),
        digests=lambda: (
            file_digest(shipped_weights("areas", "onnx")),
            file_digest(shipped_weights("detector", "onnx")),
        ),
    )
