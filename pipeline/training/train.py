"""Train the detector or the court network on pictures that lie on the GPU, and write the weights.

    python -m pipeline.training.train --task detector --spool DIR --real DIR --out DIR --minutes 7 --weights OLD.pt
    python -m pipeline.training.train --task areas --spool DIR --real DIR --folds DIR --out DIR --minutes 7

``SPOOL/TASK`` holds packs (`pipeline.training.packs`), and more may come while training goes on; every picture is
copied to the GPU once, and framed and disturbed there anew each time it is drawn. Training stops when the minutes are
over; the learning rate follows the clock.

``OUT/NAME.pt`` (half precision, the running mean of the weights) and ``OUT/NAME.json`` are written, and
``OUT/NAME.onnx`` unless ``--weights-only``. With ``--folds`` the minutes are shared: first a court network from renders
alone (``areas_renders``), then the shipped one, then, from the first, one for each game of real frames that has learnt
from all other games (``areas_without_GAME``), for measuring what real frames of other games are worth.
"""

from __future__ import annotations

import argparse
import json
import logging
import os
import time
from copy import deepcopy
from dataclasses import dataclass, replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

os.environ.setdefault("YOLO_OFFLINE", "1")

import numpy as np
import torch
from torch import nn
from ultralytics.nn.tasks import DetectionModel, SemanticSegmentationModel, load_checkpoint
from ultralytics.utils.tal import make_anchors

from pipeline.court.area_network import AREA_CLASSES
from pipeline.errors import DataError
from pipeline.players.tables import BOX_CLASSES
from pipeline.torch_backend import INPUT_PX
from pipeline.training.augment import BALL, Framing
from pipeline.training.export import export_onnx, save_weights
from pipeline.training.networks import areas_network, detector_network
from pipeline.training.pictures import Labelled, read_folder, real_packs
from pipeline.training.stock import Batch, Drawn, Mix, Spool, Stock

log = logging.getLogger(__name__)

INPUTS = INPUT_PX
CLASSES = {"detector": BOX_CLASSES, "areas": AREA_CLASSES}
MIXES = {
    "detector": Mix(
        64, 0.2, Framing(min_zoom=0.7, max_zoom=1.9, on_ball_share=0.35), with_ball_share=0.5, cover_share=0.2
    ),
    "areas": Mix(64, 0.25, Framing(min_zoom=0.7, max_zoom=1.6, max_turn_deg=5.0)),
}
LEARNING_RATES = {"detector": 0.001, "areas": 0.001}
FROM_RANDOM_WEIGHTS = 2.0
"""How much higher the learning rate is without earlier weights."""

LAST_RATE = 0.02
"""Learning rate at the end, of the highest."""

WARM_UP_STEPS = 150
MEAN_OF_STEPS = 600
"""Steps that the running mean of the weights looks back; fewer at first."""

FEWEST_PICTURES = 600
"""Renders that must lie on the GPU before training starts."""

GAINS = {"box": 7.5, "cls": 0.5, "dfl": 1.5}
"""Weights of the detector's losses: ultralytics' own."""

BALL_WEIGHT, BALL_FOUND_WEIGHT = 2.0, 1.5
"""Weight of the ball's class loss, and once more that of cells that show it: one ball stands against a dozen people."""

HIDDEN_WEIGHT = 0.1
"""Weight of the ball's class loss where a mostly hidden ball is."""

ONE_TO_ONE_EVERY = 3
"""The head that does not ship is trained in every third step."""


@dataclass(frozen=True, slots=True)
class Job:
    """One network to train.

    Attributes
    ----------
    name : of the files written
    start : weights to start from: a ``.pt`` file, the name of an earlier job, or None for random weights
    share : of the time
    mix : of its batches
    """

    name: str
    start: Path | str | None
    share: float
    mix: Mix
    rate: float


class WeightedCells:
    """Binary cross-entropy whose weights for each cell and class can be set before each call."""

    def __init__(self) -> None:
        self.weights: torch.Tensor | None = None

    def __call__(self, scores: torch.Tensor, wanted: torch.Tensor) -> torch.Tensor:
        loss = nn.functional.binary_cross_entropy_with_logits(scores, wanted, reduction="none")
        factor = torch.ones_like(loss)
        factor[..., BALL] = BALL_WEIGHT * (1 + (BALL_FOUND_WEIGHT - 1) * (wanted[..., BALL] > 0))
        if self.weights is not None:
            factor[..., BALL] *= self.weights
        return loss * factor


def new_network(task: str, width: float | None = None) -> nn.Module:
    """A network with random weights."""
    if task == "detector":
        shape = detector_network() if width is None else detector_network(width)
        network: Any = DetectionModel(shape, verbose=False)
    else:
        shape = areas_network() if width is None else areas_network(width)
        network = SemanticSegmentationModel(shape, verbose=False)
    network.names = dict(enumerate(CLASSES[task]))
    return network


def earlier_network(path: Path) -> nn.Module:
    """A network from its weights.

    Raises
    ------
    DataError
        There is no such file.
    """
    if not path.is_file():
        raise DataError(f"{path}: no such file; give the .pt weights of an earlier training of this network.")
    network: Any = load_checkpoint(str(path), device=torch.device("cpu"))[0]
    for weight in network.parameters():
        weight.requires_grad_(True)  # noqa: FBT003
    return network


class DetectorLoss:
    """The loss of both heads; the one that ships counts for nearly all of the trunk."""

    def __init__(self, network: Any) -> None:
        network.args = SimpleNamespace(**GAINS, epochs=1, cls_pw=0.0)
        network.criterion = network.init_criterion()
        self._heads = network.criterion
        self._stride = network.stride
        self._cells = WeightedCells()
        self._heads.one2many.bce = self._heads.one2one.bce = self._cells

    def __call__(self, found: Any, batch: Batch, step: int) -> tuple[torch.Tensor, dict[str, torch.Tensor]]:
        """Loss a picture and its parts."""
        height, width = batch.images.shape[2:]
        low, high = batch.boxes_px[:, :2] + 0.5, batch.boxes_px[:, 2:] + 0.5
        size = low.new_tensor([width, height])
        wanted = {
            "batch_idx": batch.picture.float(),
            "cls": batch.classes.view(-1, 1),
            "bboxes": torch.cat([(low + high) / 2 / size, (high - low) / size], dim=1),
        }
        heads = found[1] if isinstance(found, tuple) else found
        self._cells.weights = self._near_hidden(batch, heads["one2many"]["feats"])
        loss, parts = self._heads.one2many.loss(heads["one2many"], wanted)
        loss = loss.sum() / len(batch.images)
        if step % ONE_TO_ONE_EVERY == 0:
            loss = loss + self._heads.one2one.loss(heads["one2one"], wanted)[0].sum() / len(batch.images)
        return loss, parts

    def _near_hidden(self, batch: Batch, levels: list[torch.Tensor]) -> torch.Tensor:
        """Weight of each cell's ball loss, (N, cells): little where a mostly hidden ball is."""
        points, strides = make_anchors(levels, self._stride, 0.5)
        middles = (points * strides)[None]
        low = batch.hidden_px[:, None, :2] - strides
        high = batch.hidden_px[:, None, 2:] + strides
        inside = ((middles > low) & (middles < high)).all(dim=2)  # never where there is none: NaN
        return torch.where(inside, HIDDEN_WEIGHT, 1.0)


class AreasLoss:
    """Cross-entropy and Dice of the court network."""

    def __init__(self, network: Any) -> None:
        network.args = SimpleNamespace(data=None)
        self._loss = network.init_criterion()

    def __call__(self, found: Any, batch: Batch, step: int) -> tuple[torch.Tensor, dict[str, torch.Tensor]]:
        """Loss a picture and its parts."""
        del step
        loss, parts = self._loss(found, {"semantic_mask": batch.masks})
        return loss / len(batch.images), parts


def _in_full(found: Any) -> Any:
    """Network outputs in single precision: corners of boxes need more than bfloat16 has."""
    if isinstance(found, torch.Tensor):
        return found.float()
    if isinstance(found, dict):
        # Of the features only the sizes are used.
        return {n: [f[:1, :1].detach().float() for f in v] if n == "feats" else _in_full(v) for n, v in found.items()}
    return type(found)(_in_full(part) for part in found)


class Mean:
    """Running mean of a network's weights, which must stay where they are in memory."""

    def __init__(self, network: nn.Module) -> None:
        self.network = deepcopy(network).eval()
        self._steps = 0
        pairs = list(zip(self.network.state_dict().values(), network.state_dict().values(), strict=True))
        self._mine = [mine for mine, _ in pairs if mine.is_floating_point()]
        self._its = [its.detach() for mine, its in pairs if mine.is_floating_point()]

    @torch.no_grad()
    def take(self) -> None:
        """Move towards the network."""
        self._steps += 1
        keep = min(1 - 1 / MEAN_OF_STEPS, self._steps / (self._steps + 10))
        torch._foreach_lerp_(self._mine, self._its, 1 - keep)


def _optimizer(network: nn.Module, rate: float) -> torch.optim.Optimizer:
    decayed = [p for p in network.parameters() if p.requires_grad and p.ndim > 1]
    plain = [p for p in network.parameters() if p.requires_grad and p.ndim <= 1]
    groups = [{"params": decayed, "weight_decay": 0.005}, {"params": plain, "weight_decay": 0.0}]
    on_gpu = next(network.parameters()).is_cuda
    return torch.optim.AdamW(groups, lr=rate, betas=(0.9, 0.999), fused=on_gpu)


def fit(
    task: str,
    network: nn.Module,
    renders: Stock,
    real: Stock | None,
    job: Job,
    *,
    seconds: float,
    seed: int,
    most_steps: int | None = None,
) -> tuple[nn.Module, dict[str, Any]]:
    """Train one network until the time is over; returns its running mean and a record of what was done."""
    device = renders.device
    network = network.to(device).to(memory_format=torch.channels_last).train()
    loss_of: Any = DetectorLoss(network) if task == "detector" else AreasLoss(network)
    mean = Mean(network)
    optimizer = _optimizer(network, job.rate)
    drawn = Drawn(renders, real, job.mix, INPUTS[task], np.random.default_rng(seed))
    began = said = time.monotonic()
    step, said_step, lost = 0, 0, {}
    while (passed := (time.monotonic() - began) / seconds) < 1 and step != most_steps:
        warm = min((step + 1) / WARM_UP_STEPS, 1.0)
        rate = job.rate * warm * (LAST_RATE + (1 - LAST_RATE) * 0.5 * (1 + np.cos(np.pi * passed)))
        for group in optimizer.param_groups:
            group["lr"] = rate
        batch = drawn.take()
        with torch.autocast(device.type, dtype=torch.bfloat16, enabled=device.type == "cuda"):
            found = network(batch.images)
        loss, parts = loss_of(_in_full(found), batch, step)
        optimizer.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(network.parameters(), 10.0)
        optimizer.step()
        mean.take()
        step += 1
        if time.monotonic() - said > 10:
            lost = {name: round(float(part), 4) for name, part in parts.items()}
            pace = (step - said_step) * job.mix.batch / (time.monotonic() - said)
            log.info("%s: step %d, %d pictures, %.0f a second, %s", job.name, step, renders.count, pace, lost)
            said, said_step = time.monotonic(), step
    drawn.stop()
    record = {
        "steps": step,
        "pictures": step * job.mix.batch,
        "minutes": round((time.monotonic() - began) / 60, 2),
        "batch": job.mix.batch,
        "optimizer": "AdamW",
        "learning_rate": job.rate,
        "real_share": job.mix.real_share if real is not None else 0.0,
        "renders": renders.count,
        "loss": {name: round(float(part), 4) for name, part in parts.items()} if step else {},
    }
    trained: Any = mean.network
    trained.criterion = None
    return trained.float().cpu(), record


def _room(task: str, device: torch.device, most: int) -> int:
    """Pictures that fit on the device beside the training itself."""
    if device.type != "cuda":
        return min(most, 400)
    width, height = SIZES_BYTES[task]
    free = torch.cuda.mem_get_info(device)[0] - 26 * 2**30
    return int(min(most, max(free // (width * height), 1000)))


SIZES_BYTES = {"detector": (1280, 720 * 3 // 2), "areas": (960, 540 * 5 // 2)}
"""Bytes of one picture with its mask, as width and rows."""


def _real_stock(pictures: list[Labelled], task: str, device: torch.device, seed: int) -> Stock | None:
    packs = real_packs(pictures, task, np.random.default_rng(seed))
    if not packs:
        return None
    stock = Stock(task, sum(len(p) for p in packs), device)
    for pack in packs:
        stock.add(pack)
    return stock


def jobs_of(
    task: str, weights: Path | None, rate: float, games: list[str], renders_weights: Path | None = None
) -> list[Job]:
    """What to train, in order; see the module's text for `games`."""
    mix = MIXES[task]
    first_rate = rate if weights else rate * FROM_RANDOM_WEIGHTS
    if not games:
        return [Job(task, weights, 1.0, mix, first_rate)]
    renders_only = Job(
        f"{task}_renders", renders_weights, 0.42, replace(mix, real_share=0.0), rate * FROM_RANDOM_WEIGHTS
    )
    shipped = Job(task, weights or renders_only.name, 0.28, mix, rate)
    each = 0.30 / len(games)
    return [
        renders_only,
        shipped,
        *(Job(f"{task}_without_{game}", renders_only.name, each, mix, rate * 0.6) for game in games),
    ]


def train(
    task: str,
    *,
    spool: Path,
    real: Path | None,
    out: Path,
    minutes: float,
    folds: Path | None = None,
    weights: Path | None = None,
    renders_weights: Path | None = None,
    device: str = "0",
    learning_rate: float | None = None,
    most_pictures: int = 40_000,
    width: float | None = None,
    seed: int = 7,
    most_steps: int | None = None,
    weights_only: bool = False,
) -> None:
    """Train one network, or with `folds` several; see the module's text for what is written.

    Parameters
    ----------
    task : "detector" or "areas"
    spool : folder of packs of renders
    real : training folder of real frames, or None
    folds : training folder of real frames of further games, seen by no network but those without another game
    minutes : time budget of the training itself, without export
    weights : a ``.pt`` of the same network to continue from; None starts from random weights
    renders_weights : with `folds`, a ``.pt`` that saw renders alone, from which the first network continues
    width : channel multiple of a network with random weights
    most_steps : of each network, for tests

    Raises
    ------
    DataError
        `weights` is not there, or a training folder holds nothing to learn from.
    """
    if weights is not None and not weights.is_file():
        raise DataError(f"{weights}: no such file; give the .pt weights of an earlier training of the {task} network.")
    needs = {"detector": "labels", "areas": "masks"}[task]
    seen = read_folder(real, needs=needs) if real else []
    further = read_folder(folds, needs=needs) if folds else []
    place = torch.device("cpu" if device == "cpu" else f"cuda:{device}")
    if place.type == "cuda":
        torch.cuda.set_device(place)
        torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
        torch.backends.cudnn.benchmark = True
    torch.manual_seed(seed)
    out.mkdir(parents=True, exist_ok=True)
    stock = Stock(task, _room(task, place, most_pictures), place)
    loader = Spool(spool / task, stock)
    began = time.monotonic()
    games = sorted({p.game for p in [*seen, *further]}) if folds else []
    stocks: dict[str, Stock | None] = {task: _real_stock(seen, task, place, seed)}
    while stock.count < min(FEWEST_PICTURES, stock.room // 2) and time.monotonic() - began < 60:
        time.sleep(0.2)
    if not stock.count:
        loader.stop()
        raise DataError(f"{spool / task}: no pack of renders came within a minute; start the renderers.")
    log.info("%s: %d renders after %.0f s, %d real frames", task, stock.count, time.monotonic() - began, len(seen))
    trained: dict[str, nn.Module] = {}
    for job in jobs_of(task, weights, learning_rate or LEARNING_RATES[task], games, renders_weights):
        if isinstance(job.start, Path):
            network = earlier_network(job.start)
        else:
            network = deepcopy(trained[job.start]) if job.start else new_network(task, width)
            for weight in network.parameters():
                weight.requires_grad_(True)  # noqa: FBT003
        learnt = stocks.get(job.name)
        if "_without_" in job.name:
            without = job.name.partition("_without_")[2]
            learnt = _real_stock([p for p in [*seen, *further] if p.game != without], task, place, seed)
        network, record = fit(
            task, network, stock, learnt, job, seconds=60 * minutes * job.share, seed=seed, most_steps=most_steps
        )
        trained[job.name] = network
        real_frames = 0 if learnt is None or not job.mix.real_share else len(seen)
        about = {"task": task, "classes": list(CLASSES[task]), "input_px": list(INPUTS[task]), "seed": seed}
        about |= {"continued": isinstance(job.start, Path), "real": real_frames, **record}
        save_weights(network, out / f"{job.name}.pt", task, epoch=0)
        (out / f"{job.name}.json").write_text(json.dumps(about, indent=1) + "\n")
        log.info("%s: %s", job.name, record)
    loader.stop()
    if not weights_only:
        for name, network in trained.items():
            export_onnx(network, out / f"{name}.onnx", task)


def main(arguments: list[str] | None = None) -> None:
    """Read the command line and train."""
    parser = argparse.ArgumentParser(prog="python -m pipeline.training.train", description=__doc__)
    parser.add_argument("--task", choices=sorted(INPUTS), required=True)
    parser.add_argument("--spool", type=Path, required=True, help="folder of packs of renders")
    parser.add_argument("--real", type=Path, help="training folder of labelled real frames")
    parser.add_argument("--folds", type=Path, help="further games: train, beside the shipped network, one without each")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--minutes", type=float, required=True, help="time budget of the training itself")
    parser.add_argument("--device", default="0", help="GPU number, or cpu")
    parser.add_argument("--learning-rate", type=float, help="the task's own if left out")
    parser.add_argument("--weights", type=Path, help="weights (.pt) of an earlier training to continue from")
    parser.add_argument(
        "--renders-weights", type=Path, help="with --folds: weights that saw renders alone, to go on from"
    )
    parser.add_argument("--width", type=float, help="channel multiple of the network; its own default if left out")
    parser.add_argument("--most-pictures", type=int, default=40_000, help="renders kept on the GPU at most")
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--most-steps", type=int, help="end after so many steps, whatever the clock says")
    parser.add_argument("--weights-only", action="store_true", help="write no ONNX")
    given = vars(parser.parse_args(arguments))
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(message)s")
    train(given.pop("task"), **given)


if __name__ == "__main__":
    main()
