"""The networks in ``models/``: finding them, checking them, and fitting pictures into their inputs.

``models/index.toml`` lists each network's files with a checksum. A file whose bytes differ from its checksum is
refused. Nothing here loads PyTorch; onnxruntime is loaded when a session is opened.
"""

from __future__ import annotations

import hashlib
import json
import os
import tomllib
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np

from pipeline.errors import ModelError, ShapeError
from pipeline.shipped import Shipped, shipped

if TYPE_CHECKING:
    import onnxruntime

Task = Literal["detector", "areas", "numbers", "bug_text", "text_regions"]
Form = Literal["onnx", "pt"]

MODELS_VARIABLE = "ELBOWROOM_MODELS"
"""Environment variable that names another folder of networks."""

PAD_LEVEL = 114
"""Grey level (of 255) around a picture whose shape differs from the network's input."""


def models_folder() -> Path:
    """The folder of the shipped networks, or the one that ``ELBOWROOM_MODELS`` names."""
    named = os.environ.get(MODELS_VARIABLE)
    return Path(named) if named else shipped(Shipped.MODELS)


def shipped_weights(task: Task, form: Form) -> Path:
    """Path of a shipped network whose bytes are those of its card.

    Raises
    ------
    ModelError
        The index or the file is missing, or the checksum differs.
    """
    folder = models_folder()
    index = folder / "index.toml"
    if not index.is_file():
        raise ModelError(
            f"{index} is missing; install from a full copy of the repository or name its models/ in {MODELS_VARIABLE}."
        )
    try:
        entry = tomllib.loads(index.read_text(encoding="utf-8"))[task][form]
        path, wanted = folder / entry["file"], entry["sha256"]
    except (tomllib.TOMLDecodeError, KeyError, TypeError) as reason:
        raise ModelError(
            f"{index} does not list the file and sha256 of {task}.{form} ({reason!r}); restore it."
        ) from None
    if not path.is_file():
        raise ModelError(f"{path}: the {task} network is missing; restore it from the repository.")
    if _sha256(path, path.stat().st_mtime_ns) != wanted:
        raise ModelError(f"{path}: its bytes differ from the checksum in {index.name}; fetch the file again.")
    return path


def has_shipped(task: Task, form: Form) -> bool:
    """Whether the index lists a network; one that is listed but missing is an error when it is opened."""
    index = models_folder() / "index.toml"
    try:
        return form in tomllib.loads(index.read_text(encoding="utf-8")).get(task, {})
    except (FileNotFoundError, tomllib.TOMLDecodeError):
        return False


@lru_cache(maxsize=16)
def _sha256(path: Path, changed_ns: int) -> str:
    del changed_ns  # part of the key: a changed file is read again
    return hashlib.sha256(path.read_bytes()).hexdigest()


@dataclass(frozen=True, slots=True)
class OpenNetwork:
    """An ONNX network ready to run, with what its metadata say."""

    session: onnxruntime.InferenceSession
    classes: tuple[str, ...]
    input_px: tuple[int, int]

    def run(self, images: np.ndarray) -> list[np.ndarray]:
        """All outputs for a batch (N, 3, H, W) float32 in 0…1, RGB."""
        return self.session.run(None, {"images": images})


def open_network(path: Path, task: Task, *, threads: int | None = None) -> OpenNetwork:
    """Open an ONNX network and check that it does what it is opened for.

    Parameters
    ----------
    threads : int or None
        CPU threads for one run; None leaves the choice to onnxruntime.

    Raises
    ------
    ModelError
        The file is missing, is no ONNX network, or is one for another task.
    """
    import onnxruntime

    if not path.is_file():
        raise ModelError(f"{path}: no network there; give the path of an ONNX file.")
    options = onnxruntime.SessionOptions()
    options.log_severity_level = 3
    if threads is not None:
        options.intra_op_num_threads = threads
    wanted = [
        p for p in ("CUDAExecutionProvider", "CPUExecutionProvider") if p in onnxruntime.get_available_providers()
    ]
    try:
        session = onnxruntime.InferenceSession(str(path), options, providers=wanted)
    except Exception as reason:  # onnxruntime raises its own unrelated classes for every kind of damage
        raise ModelError(
            f"{path}: not a readable ONNX network ({str(reason)[:120]}); fetch the file again."
        ) from reason
    about = session.get_modelmeta().custom_metadata_map
    if about.get("elbowroom_task") != task:
        found = about.get("elbowroom_task", "no elbowroom network")
        raise ModelError(f"{path}: wanted a network for '{task}', found {found}; give one that training/export wrote.")
    width, height = json.loads(about["input_px"])
    return OpenNetwork(session, tuple(json.loads(about["classes"])), (width, height))


@dataclass(frozen=True, slots=True)
class Placement:
    """Where a picture lies inside a network's input: ``input = picture * scale + offset``, for edges of pixels."""

    scale_x: float
    scale_y: float
    left_px: int
    top_px: int
    width_px: int
    height_px: int

    def to_picture(self, boxes: np.ndarray) -> np.ndarray:
        """Carry boxes (N, 4) x1, y1, x2, y2 from input pixels back to the picture's."""
        offset = np.array([self.left_px, self.top_px, self.left_px, self.top_px])
        return (boxes - offset) / np.array([self.scale_x, self.scale_y, self.scale_x, self.scale_y])


def place(size_px: tuple[int, int], input_px: tuple[int, int]) -> Placement:
    """The largest undistorted placement of a picture in the middle of an input."""
    (width, height), (in_w, in_h) = size_px, input_px
    scale = min(in_w / width, in_h / height)
    inner_w, inner_h = max(1, round(width * scale)), max(1, round(height * scale))
    return Placement(inner_w / width, inner_h / height, (in_w - inner_w) // 2, (in_h - inner_h) // 2, inner_w, inner_h)


def fit_pictures(frames_bgr: list[np.ndarray], input_px: tuple[int, int]) -> tuple[np.ndarray, list[Placement]]:
    """Make a batch for a network.

    Parameters
    ----------
    frames_bgr : list of ndarray of shape (H, W, 3), uint8
        May differ in size. May be empty.
    input_px : width and height of the input

    Returns
    -------
    pictures : ndarray of shape (N, H, W, 3), uint8, blue-green-red
    placements : list of Placement, one a frame
    """
    import cv2  # here, because the settings need this module and no pictures

    in_w, in_h = input_px
    pictures = np.full((len(frames_bgr), in_h, in_w, 3), PAD_LEVEL, np.uint8)
    placements = []
    for number, frame in enumerate(frames_bgr):
        if frame.ndim != 3 or frame.shape[2] != 3 or frame.dtype != np.uint8 or 0 in frame.shape:
            raise ShapeError(
                f"frame {number} must be (H, W, 3) uint8, got {frame.shape} {frame.dtype}; pass BGR pictures."
            )
        spot = place((frame.shape[1], frame.shape[0]), input_px)
        window = pictures[
            number, spot.top_px : spot.top_px + spot.height_px, spot.left_px : spot.left_px + spot.width_px
        ]
        if frame.shape == window.shape:
            window[:] = frame
        else:
            way = cv2.INTER_AREA if spot.scale_x < 1 else cv2.INTER_LINEAR
            window[:] = cv2.resize(frame, (spot.width_px, spot.height_px), interpolation=way)
        placements.append(spot)
    return pictures, placements
