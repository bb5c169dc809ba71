"""The training pictures that lie on the GPU, and batches drawn from them."""

from __future__ import annotations

import contextlib
import logging
import queue
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from zipfile import BadZipFile

import numpy as np
import torch

from pipeline.training.augment import BALL, Framing, covers, framed, moved_boxes
from pipeline.training.disturb import coarsened, lit, warped, warped_masks
from pipeline.training.packs import HIDDEN_BALL, MOST_BOXES, SIZES, UNKNOWN_AREA, Pack, read_pack

log = logging.getLogger(__name__)


class Stock:
    """Room for pictures of one task on one device, filled while training goes on.

    Parameters
    ----------
    task : "detector" or "areas"
    room : pictures
    """

    def __init__(self, task: str, room: int, device: torch.device) -> None:
        width, height = SIZES[task]
        self.size_px = (width, height)
        self.room = room
        self.count = 0
        self.device = device
        self._planes = torch.empty((room, height * 3 // 2, width), dtype=torch.uint8, device=device)
        self._masks = torch.empty((room, height, width), dtype=torch.uint8, device=device) if task == "areas" else None
        self._boxes = np.zeros((room, MOST_BOXES, 4), np.float32)
        self._classes = np.zeros((room, MOST_BOXES), np.int8)
        self._with_ball = np.zeros(room, bool)
        self._copies = torch.cuda.Stream(device) if device.type == "cuda" else None

    def add(self, pack: Pack) -> bool:
        """Copy a pack to the device; False when there is no room. For one thread at a time."""
        start, stop = self.count, self.count + len(pack)
        if stop > self.room:
            return False
        self._boxes[start:stop], self._classes[start:stop] = pack.boxes, pack.classes
        self._with_ball[start:stop] = (pack.classes == BALL).any(axis=1)
        with torch.cuda.stream(self._copies):  # nothing without a GPU
            self._planes[start:stop].copy_(self._ready(pack.planes), non_blocking=True)
            if self._masks is not None and pack.masks is not None:
                self._masks[start:stop].copy_(self._ready(pack.masks), non_blocking=True)
        if self._copies is not None:
            self._copies.synchronize()
        self.count = stop
        return True

    def _ready(self, values: np.ndarray) -> torch.Tensor:
        tensor = torch.from_numpy(values)
        return tensor.pin_memory() if self._copies is not None else tensor

    def draw(self, count: int, rng: np.random.Generator, with_ball_share: float = 0.0) -> np.ndarray:
        """Numbers of pictures drawn at random, at least about a share of them with a ball to be found."""
        available = self.count
        chosen = rng.integers(available, size=count)
        balls = np.nonzero(self._with_ball[:available])[0]
        if len(balls) and with_ball_share:
            again = rng.random(count) < with_ball_share
            chosen[again] = rng.choice(balls, int(again.sum()))
        return chosen

    def take(self, numbers: np.ndarray) -> tuple[torch.Tensor, torch.Tensor | None, np.ndarray, np.ndarray]:
        """Planes, masks, boxes and classes of some pictures."""
        where = torch.as_tensor(numbers, device=self.device)
        masks = None if self._masks is None else self._masks[where]
        return self._planes[where], masks, self._boxes[numbers], self._classes[numbers]


class Spool:
    """Fills a stock from a folder of packs in a thread of its own until it is told to stop or the stock is full."""

    def __init__(self, folder: Path, stock: Stock) -> None:
        self._folder, self._stock = folder, stock
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._fill, daemon=True)
        self._thread.start()

    def _fill(self) -> None:
        seen: set[str] = set()
        while not self._stop.is_set():
            fresh = [p for p in sorted(self._folder.glob("*.npz")) if p.name not in seen]
            for path in fresh:
                if self._stop.is_set():
                    return
                seen.add(path.name)
                try:
                    pack = read_pack(path)
                except (OSError, ValueError, KeyError, BadZipFile) as reason:
                    log.warning("%s: not a readable pack (%s); passed over.", path, reason)
                    continue
                if not self._stock.add(pack):
                    log.info("the stock is full with %d pictures", self._stock.count)
                    return
            if not fresh:
                time.sleep(0.3)

    def stop(self) -> None:
        """End the thread."""
        self._stop.set()
        self._thread.join()


@dataclass(frozen=True, slots=True)
class Mix:
    """How batches are put together.

    Attributes
    ----------
    real_share : share of real frames, where there are any
    with_ball_share : share of pictures drawn among those with a ball
    cover_share : share of pictures with a piece of another one over somebody
    """

    batch: int
    real_share: float
    framing: Framing
    with_ball_share: float = 0.0
    cover_share: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Batch:
    """One batch on the device, pixels being those of the network's input.

    Attributes
    ----------
    images : (N, 3, H, W) float32 in 0…1
    masks : (N, H, W) int32, or None
    boxes_px, classes, picture : (K, 4) x1, y1, x2, y2, (K,) and (K,): every box, its class and which picture it is in
    hidden_px : (N, 4) round hidden balls; NaN where there is none
    """

    images: torch.Tensor
    masks: torch.Tensor | None
    boxes_px: torch.Tensor
    classes: torch.Tensor
    picture: torch.Tensor
    hidden_px: torch.Tensor

    def tensors(self) -> list[torch.Tensor]:
        """All of them."""
        given = (self.images, self.masks, self.boxes_px, self.classes, self.picture, self.hidden_px)
        return [tensor for tensor in given if tensor is not None]


def draw_batch(
    renders: Stock, real: Stock | None, mix: Mix, input_px: tuple[int, int], rng: np.random.Generator
) -> Batch:
    """Draw, frame and disturb one batch."""
    from_real = round(mix.batch * mix.real_share) if real is not None and real.count else 0
    parts = [renders.take(renders.draw(mix.batch - from_real, rng, mix.with_ball_share))]
    if real is not None and from_real:
        parts.append(real.take(real.draw(from_real, rng)))
    planes = torch.cat([p[0] for p in parts])
    masks = None if parts[0][1] is None else torch.cat([p[1] for p in parts if p[1] is not None])
    boxes, classes = np.concatenate([p[2] for p in parts]), np.concatenate([p[3] for p in parts])
    is_ball = classes == BALL
    first = is_ball.argmax(axis=1)
    corners = boxes[np.arange(len(boxes)), first]
    balls = np.where(is_ball.any(axis=1)[:, None], (corners[:, :2] + corners[:, 2:]) / 2, np.nan)
    matrices = framed(renders.size_px, input_px, balls, rng, mix.framing)
    boxes, classes = moved_boxes(boxes, classes, matrices, input_px)
    images = lit(warped(planes, matrices, input_px, rng), rng)
    moved_masks = None if masks is None else warped_masks(masks, matrices, input_px, UNKNOWN_AREA)
    rectangles, classes = covers(boxes, classes, rng, mix.cover_share)
    for number, left, top, right, bottom in rectangles:
        other = (number + 1) % mix.batch
        images[number, :, top:bottom, left:right] = images[other, :, top:bottom, left:right]
    images = coarsened(images, rng)
    hidden = classes == HIDDEN_BALL
    where = hidden.argmax(axis=1)
    hidden_px = np.where(hidden.any(axis=1)[:, None], boxes[np.arange(len(boxes)), where], np.nan)
    picture, row = np.nonzero(classes >= 0)
    shown, of_shown = boxes[picture, row].astype(np.float32), classes[picture, row].astype(np.float32)
    return Batch(
        (images / 255.0).contiguous(memory_format=torch.channels_last),
        moved_masks,
        *(torch.from_numpy(v).to(renders.device) for v in (shown, of_shown, picture, hidden_px.astype(np.float32))),
    )


class Drawn:
    """Batches drawn ahead, on a GPU by a thread and a stream of their own so that training need not wait for them."""

    def __init__(
        self, renders: Stock, real: Stock | None, mix: Mix, input_px: tuple[int, int], rng: np.random.Generator
    ) -> None:
        self._draw: Callable[[], Batch] = lambda: draw_batch(renders, real, mix, input_px, rng)
        self._ready: queue.Queue[tuple[Batch, torch.cuda.Event] | Exception] = queue.Queue(2)
        self._stop = threading.Event()
        self._device = renders.device
        self._thread: threading.Thread | None = None
        if self._device.type == "cuda":
            self._thread = threading.Thread(target=self._ahead, daemon=True)
            self._thread.start()

    def _ahead(self) -> None:
        stream = torch.cuda.Stream(self._device)
        with torch.cuda.stream(stream):
            while not self._stop.is_set():
                try:
                    batch = self._draw()
                except Exception as reason:  # raised again by `take`
                    self._ready.put(reason)
                    return
                done = torch.cuda.Event()
                done.record(stream)
                self._ready.put((batch, done))

    def take(self) -> Batch:
        """The next batch."""
        if self._thread is None:
            return self._draw()
        found = self._ready.get()
        if isinstance(found, Exception):
            raise found
        batch, done = found
        now = torch.cuda.current_stream(self._device)
        now.wait_event(done)
        for tensor in batch.tensors():
            tensor.record_stream(now)
        return batch

    def stop(self) -> None:
        """End the thread."""
        self._stop.set()
        while self._thread is not None and self._thread.is_alive():
            with contextlib.suppress(queue.Empty):
                self._ready.get(timeout=0.2)
