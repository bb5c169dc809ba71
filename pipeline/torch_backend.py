"""The two picture networks on PyTorch: half precision on a GPU, float32 elsewhere.

Importing this module imports PyTorch; nothing does so unless a GPU is used or a network is exported.
"""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Any, Literal

import numpy as np
import torch
from torch import nn
from ultralytics.nn.tasks import load_checkpoint

from pipeline.backends import sleep_while_waiting
from pipeline.errors import ModelError

INPUT_PX = {"detector": (960, 544), "areas": (640, 384)}
"""Width and height of the networks' inputs, as trained."""

BRANCH = "one2many"
"""The detector's head that ships. Both are trained; on held-out games this one, with doubles suppressed, saw more."""

BATCH = {"detector": 25, "areas": 8}
"""Pictures that go through a network together: those of a stretch, and those of its frames that the court network looks
at. On a GPU there are always so many, blank ones among them: for every other number cuDNN would choose its
convolutions anew, which takes longer than running them a hundred times."""

_GPU = threading.Lock()
"""What one thread records for a GPU, no other may disturb."""

MOST_CELLS = 600
"""Cells of the detector that leave the GPU: those with the highest scores. A full floor fills about 150."""


class DetectorHead(nn.Module):
    """The detector with its boxes and scores as plain outputs, before any selection.

    `branch` picks the head: "one2one" needs no suppression of doubles, "one2many" does.
    """

    def __init__(self, model: nn.Module, branch: str = BRANCH) -> None:
        super().__init__()
        self.model = model
        self.branch = branch
        self.head: Any = model.model[-1]  # type: ignore[index]

    def forward(self, images: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
        """Boxes (N, cells, 4) in input pixels and scores (N, cells, classes) of images in 0…1."""
        head = self.head
        head.xyxy = True
        head.end2end = False
        _, raw = self.model(images)
        chosen = raw[self.branch]
        # Half precision tells pixels beyond 512 apart by halves only, so places are worked out in float32.
        boxes = head._get_decode_boxes({**chosen, "boxes": chosen["boxes"].float()})
        return boxes.transpose(1, 2), chosen["scores"].sigmoid().transpose(1, 2)


class AreasHead(nn.Module):
    """The court network with probabilities as output."""

    def __init__(self, model: nn.Module) -> None:
        super().__init__()
        self.model = model

    def forward(self, images: torch.Tensor) -> torch.Tensor:
        """Probabilities (N, classes, h, w)."""
        return self.model(images).softmax(dim=1)


class TorchNetwork:
    """A network from ultralytics weights; see `pipeline.backends.PictureNetwork`."""

    def __init__(self, path: Path, task: Literal["detector", "areas"], *, device: str) -> None:
        if not path.is_file():
            raise ModelError(f"{path}: no network there; give the path of ultralytics weights.")
        self._device = torch.device(device)
        on_gpu = self._device.type == "cuda"
        if on_gpu:
            sleep_while_waiting()
        try:
            model, _ = load_checkpoint(str(path), device=self._device, fuse=False)
            self.classes = tuple(model.names[i] for i in range(len(model.names)))
        except Exception as reason:  # unpickling raises whatever the damage leads to
            raise ModelError(f"{path}: not readable as ultralytics weights ({str(reason)[:120]}).") from reason
        self.input_px, self.batch = INPUT_PX[task], BATCH[task]
        self._type = torch.float16 if on_gpu else torch.float32
        head = DetectorHead(model) if task == "detector" else AreasHead(model)
        self._head = head.eval().to(self._device, self._type).to(memory_format=torch.channels_last)  # type: ignore[call-overload]
        self._lock = _GPU if on_gpu else threading.Lock()  # the detector's head keeps its grid of cells between calls
        try:
            self._recorded = _Recorded(self) if on_gpu else None
        except RuntimeError as reason:  # no memory left, or a card that PyTorch does not serve
            raise ModelError(
                f"The graphics card cannot run the network for '{task}' ({' '.join(str(reason).split())[:120]}); free "
                "its memory, run with fewer workers (night.workers), or use --device cpu."
            ) from reason

    def run(self, pictures: np.ndarray) -> list[np.ndarray]:
        """See `pipeline.backends.PictureNetwork.run`. Of the detector's cells only the surest are returned."""
        with self._lock, torch.inference_mode():
            if self._recorded is None:
                return [found.numpy() for found in self.look(torch.from_numpy(pictures).to(self._device))]
            parts = [self._recorded.run(pictures[k : k + self.batch]) for k in range(0, len(pictures), self.batch)]
            return [np.concatenate(outputs) for outputs in zip(*parts, strict=True)]

    def look(self, pictures: torch.Tensor) -> list[torch.Tensor]:
        """Outputs in float32 for pictures (N, H, W, 3) of bytes, where they are."""
        # The bytes lie as channels-last already, so this is a view.
        images = pictures.permute(0, 3, 1, 2).flip(1)
        found = self._head(images.to(self._type, memory_format=torch.channels_last).div_(255))
        if isinstance(self._head, AreasHead):
            return [found.float()]
        boxes, scores = found
        best = scores.amax(dim=2).topk(min(MOST_CELLS, scores.shape[1]), dim=1).indices[..., None]
        return [torch.take_along_dim(values, best, dim=1).float() for values in (boxes, scores)]


class _Recorded:
    """A network's work for one batch on a GPU, recorded once and replayed: hundreds of kernels cost one call."""

    def __init__(self, network: TorchNetwork) -> None:
        width, height = network.input_px
        with _GPU, torch.inference_mode():
            self._given = torch.zeros((network.batch, height, width, 3), dtype=torch.uint8, device="cuda")
            beside = torch.cuda.Stream()
            beside.wait_stream(torch.cuda.current_stream())
            with torch.cuda.stream(beside):  # convolutions are chosen and memory is laid out before it is recorded
                for _ in range(2):
                    network.look(self._given)
            torch.cuda.current_stream().wait_stream(beside)
            self._graph = torch.cuda.CUDAGraph()
            with torch.cuda.graph(self._graph):
                self._found = network.look(self._given)

    def run(self, pictures: np.ndarray) -> list[np.ndarray]:
        """Outputs for a batch or less; the lock is held."""
        count = len(pictures)
        self._given[:count].copy_(torch.from_numpy(pictures))
        self._graph.replay()
        return [found[:count].cpu().numpy() for found in self._found]
