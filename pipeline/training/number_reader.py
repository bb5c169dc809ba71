"""Train the network that reads jersey numbers, on painted torsos.

    python -m pipeline.training.number_reader --out DIR --draw-seconds 60 --train-seconds 150

Torsos are painted by all processors at first, then the network is trained on them as often as the time allows, on a GPU
where there is one. ``DIR`` gets ``numbers.onnx``, ``numbers.pt`` and ``numbers.json``, as ``training/publish`` takes
them. ``--also FILE.npz`` (``pictures``, ``labels`` as `number_crops.draw_torsos` gives them) mixes in torsos of another
kind.
"""

from __future__ import annotations

import argparse
import json
import logging
import math
import multiprocessing
import os
import time
from collections.abc import Callable, Iterator
from copy import deepcopy
from pathlib import Path

import numpy as np
import onnx
import torch
from torch import nn
from torch.nn import functional

from pipeline.players.jersey_numbers import NUMBER_CLASSES
from pipeline.training.export import OPSET, store_half
from pipeline.training.number_crops import SIDE_PX, draw_torsos

log = logging.getLogger(__name__)

CHUNK = 256
BATCH = {"cuda": 1024, "cpu": 64}
LEARNING_RATE = 2e-3
AVERAGED = 0.998
"""The weights that ship are a running mean of those trained (Polyak & Juditsky 1992, *SIAM J. Control Optim.* 30)."""

DIGITS_WEIGHT = 4.0
"""Weight of the answer which digits are anywhere: without it many more torsos are needed."""

CHECK_SEED = 1_000_000
"""From this seed on torsos are for checking."""

LATER_SEED = 2_000_000
"""From this seed on torsos are painted between steps."""

ALSO_SHARE = 0.35
"""Share of a batch that comes from the torsos of ``--also``."""


def _step(inputs: int, outputs: int, stride: int = 1, reach: int = 3) -> nn.Sequential:
    return nn.Sequential(
        nn.Conv2d(inputs, outputs, reach, stride, reach // 2, bias=False),
        nn.BatchNorm2d(outputs),
        nn.ReLU(inplace=True),
    )


class NumberNetwork(nn.Module):
    """Torsos (N, 3, 64, 64), RGB in 0…1, to logits (N, 22) in the order of `NUMBER_CLASSES`."""

    def __init__(self) -> None:
        super().__init__()
        self.see = nn.Sequential(
            _step(3, 20, 2, 5),
            _step(20, 32),
            _step(32, 56, 2),
            _step(56, 64),
            _step(64, 96, 2),
            _step(96, 96),
            nn.Conv2d(96, 32, 1, bias=False),
            nn.BatchNorm2d(32),
            nn.ReLU(inplace=True),
        )
        self.tell = nn.Sequential(
            nn.Flatten(), nn.Dropout(0.1), nn.Linear(32 * 64, 160), nn.ReLU(inplace=True), nn.Dropout(0.1)
        )
        self.heads = nn.Linear(160, len(NUMBER_CLASSES))
        self.spots = nn.Conv2d(32, 10, 1)

    def forward(self, images: torch.Tensor) -> torch.Tensor:
        return self.heads(self.tell(self.see((images - 0.45) / 0.25)))

    def train_forward(self, images: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
        """Logits, and logits (N, 10) of each digit being anywhere in the picture.

        The second answer takes no place into account, so digits are learnt wherever they are; it is for training only
        (instances in bags: Ilse, Tomczak & Welling 2018, *ICML*, give the family).
        """
        seen = self.see((images - 0.45) / 0.25)
        return self.heads(self.tell(seen)), self.spots(seen).flatten(2).amax(dim=2)


class _Probabilities(nn.Module):
    def __init__(self, network: nn.Module) -> None:
        super().__init__()
        self.network = network

    def forward(self, images: torch.Tensor) -> torch.Tensor:
        logits = self.network(images)
        parts = [logits[:, :1].sigmoid(), logits[:, 1:12].softmax(dim=1), logits[:, 12:].softmax(dim=1)]
        return torch.cat(parts, dim=1)


def digits_loss(present: torch.Tensor, labels: torch.Tensor) -> torch.Tensor:
    """Cross-entropy of which digits are anywhere, where a whole number is in view or none."""
    shown, tens, ones = labels[:, 0:1] > 0, labels[:, 1], labels[:, 2]
    wanted = functional.one_hot(ones.clamp(min=0), 10) + functional.one_hot(tens.clamp(min=0), 11)[:, 1:]
    wanted = ((wanted > 0) & shown).to(present.dtype)
    return functional.binary_cross_entropy_with_logits(present, wanted, 1 + 2 * wanted)


def loss_of(logits: torch.Tensor, labels: torch.Tensor) -> torch.Tensor:
    """Cross-entropies of the three answers; the digits count only where a number is in view.

    Nothing here waits for the GPU: labels of torsos without a number are -1, which the cross-entropies pass over.
    """
    seen = labels[:, 0].to(logits.dtype)
    count = seen.sum().clamp(min=1)
    loss = functional.binary_cross_entropy_with_logits(logits[:, 0], seen)
    for part, wanted in ((logits[:, 1:12], labels[:, 1]), (logits[:, 12:], labels[:, 2])):
        loss = loss + functional.cross_entropy(part, wanted, ignore_index=-1, reduction="sum") / count
    return loss


def disturbed(pictures: torch.Tensor) -> torch.Tensor:
    """A batch (N, 3, S, S) in 0…1 with other colours, light, places and noise: no torso is seen twice alike."""
    count, device = len(pictures), pictures.device
    order = torch.rand(count, 3, device=device).argsort(dim=1)
    pictures = pictures.gather(1, order[:, :, None, None].expand_as(pictures))
    flip = (torch.rand(count, 1, 1, 1, device=device) < 0.3).float()
    pictures = pictures * (1 - flip) + (1 - pictures) * flip
    gain = 0.75 + 0.5 * torch.rand(count, 3, 1, 1, device=device)
    pictures = (pictures - 0.5) * gain + 0.5 + 0.12 * torch.randn(count, 3, 1, 1, device=device)
    turn = torch.zeros(count, 2, 3, device=device)
    turn[:, 0, 0] = 1 + 0.1 * torch.randn(count, device=device)
    turn[:, 1, 1] = 1 + 0.1 * torch.randn(count, device=device)
    turn[:, 0, 1] = 0.06 * torch.randn(count, device=device)
    turn[:, 1, 0] = 0.06 * torch.randn(count, device=device)
    turn[:, :, 2] = 0.05 * torch.randn(count, 2, device=device)
    grid = functional.affine_grid(turn, list(pictures.shape), align_corners=False)
    pictures = functional.grid_sample(pictures, grid, padding_mode="border", align_corners=False)
    return (pictures + 0.03 * torch.rand(count, 1, 1, 1, device=device) * torch.randn_like(pictures)).clamp(0, 1)


def _drawn(seed: int) -> tuple[np.ndarray, np.ndarray]:
    return draw_torsos(seed, CHUNK)


def draw(seconds: float, first_seed: int, workers: int) -> tuple[np.ndarray, np.ndarray]:
    """Torsos as many as can be painted in a time, at least one chunk a worker; before anything touches the GPU."""

    def seeds() -> Iterator[int]:
        began, seed = time.monotonic(), first_seed
        while time.monotonic() - began < seconds or seed < first_seed + workers:
            yield seed
            seed += 1

    pictures, labels = [], []
    began = time.monotonic()
    with multiprocessing.get_context("fork").Pool(workers) as pool:
        waiting = []
        for seed in seeds():
            waiting.append(pool.apply_async(_drawn, (seed,)))
            while len(waiting) > 3 * workers:
                done = waiting.pop(0).get()
                pictures.append(done[0])
                labels.append(done[1])
        for left in waiting:
            done = left.get()
            pictures.append(done[0])
            labels.append(done[1])
    log.info("%d torsos in %.0f s", CHUNK * len(pictures), time.monotonic() - began)
    return np.concatenate(pictures), np.concatenate(labels)


def _on(pictures: np.ndarray, labels: np.ndarray, device: torch.device) -> tuple[torch.Tensor, torch.Tensor]:
    rgb = torch.from_numpy(np.ascontiguousarray(pictures[..., ::-1].transpose(0, 3, 1, 2)))
    return rgb.to(device), torch.from_numpy(labels).to(device)


def train(
    drawn: tuple[np.ndarray, np.ndarray],
    also: tuple[np.ndarray, np.ndarray] | None,
    seconds: float,
    device: torch.device,
    start: Path | None,
    between: int,
    keep_at: Callable[[nn.Module], None] | None = None,
) -> tuple[nn.Module, int, int]:
    """Train for a time; gives the averaged network, how many torsos it saw and how many of them were painted.

    Every ``between`` steps (0: never) a chunk of new torsos is painted: worth while where painting is cheap beside a
    step, as without a GPU. ``keep_at`` is given the averaged network ten times on the way.
    """
    torch.manual_seed(1)
    size = BATCH[device.type]
    network = NumberNetwork().to(device, memory_format=torch.channels_last)  # type: ignore[call-overload]
    if start is not None:
        network.load_state_dict(torch.load(start, map_location=device, weights_only=True))
    averaged = deepcopy(network).eval()
    pictures, labels = _on(*drawn, device)
    others = _on(*also, device) if also is not None else None
    from_others = int(size * ALSO_SHARE) if others is not None else 0
    on_gpu = device.type == "cuda"
    torch.backends.cudnn.benchmark = on_gpu
    optimizer = torch.optim.AdamW(network.parameters(), lr=LEARNING_RATE, weight_decay=0.02, fused=on_gpu)
    means, news = _floating(averaged), _floating(network)
    began, steps, shown, kept = time.monotonic(), 0, 0.0, 0
    while (passed := (time.monotonic() - began) / seconds) < 1:
        rate = LEARNING_RATE * min(1, (steps + 1) / 100) * (0.5 + 0.5 * math.cos(math.pi * passed) + 0.002)
        for group in optimizer.param_groups:
            group["lr"] = rate
        chosen = torch.randint(len(pictures), (size - from_others,), device=device)
        batch, wanted = pictures[chosen], labels[chosen]
        if others is not None:
            extra = torch.randint(len(others[0]), (from_others,), device=device)
            batch, wanted = torch.cat([batch, others[0][extra]]), torch.cat([wanted, others[1][extra]])
        network.train()
        batch = disturbed(batch.float() / 255).contiguous(memory_format=torch.channels_last)
        logits, present = network.train_forward(batch)
        loss = loss_of(logits, wanted) + DIGITS_WEIGHT * digits_loss(present, wanted)
        optimizer.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(network.parameters(), 5.0)
        optimizer.step()
        steps += 1
        if between and steps % between == 0:
            more = _on(*draw_torsos(LATER_SEED + steps, CHUNK), device)
            pictures, labels = torch.cat([pictures, more[0]]), torch.cat([labels, more[1]])
        if keep_at is not None and int(10 * passed) > kept:
            kept = int(10 * passed)
            keep_at(averaged)
        keep = min(AVERAGED, steps / (steps + 10))
        with torch.no_grad():
            torch._foreach_lerp_(means, news, 1 - keep)
        if time.monotonic() - shown > max(5, seconds / 40):
            shown = time.monotonic()
            log.info("step %d, %.0f %%, loss %.3f", steps, 100 * passed, loss.item())
    return averaged, steps * size, len(pictures)


def _floating(network: nn.Module) -> list[torch.Tensor]:
    """Weights and running statistics of a network, which are the same tensors throughout its training."""
    return [value for value in network.state_dict().values() if value.dtype.is_floating_point]


def check(network: nn.Module, drawn: tuple[np.ndarray, np.ndarray], device: torch.device) -> dict[str, float]:
    """What share of numbers is read, and how many of the readings are right, by least score."""
    pictures, labels = _on(*drawn, device)
    whole = _Probabilities(network)
    with torch.inference_mode():
        found = torch.cat([whole(part.float() / 255) for part in pictures.split(1024)])
    tens, ones = found[:, 1:12].max(dim=1), found[:, 12:].max(dim=1)
    score = found[:, 0] * tens.values * ones.values
    right = (labels[:, 0] == 1) & (tens.indices == labels[:, 1]) & (ones.indices == labels[:, 2])
    result = {"torsos": float(len(labels)), "with_number": float((labels[:, 0] == 1).sum())}
    for least in (0.3, 0.5, 0.7, 0.9):
        kept = score >= least
        result[f"read_{least}"] = round(float((kept & right).sum() / max(result["with_number"], 1)), 4)
        result[f"right_{least}"] = round(float(right[kept].float().mean()), 4) if bool(kept.any()) else 0.0
    return result


def write(network: nn.Module, out: Path, record: dict[str, object]) -> None:
    """Write the network as ONNX with probabilities as output, its weights, and what it was trained on."""
    out.mkdir(parents=True, exist_ok=True)
    network = deepcopy(network).float().cpu().eval()
    halves = {key: value.half() if value.is_floating_point() else value for key, value in network.state_dict().items()}
    torch.save(halves, out / "numbers.pt")
    path = out / "numbers.onnx"
    torch.onnx.export(
        _Probabilities(network).eval(),
        (torch.zeros(1, 3, SIDE_PX, SIDE_PX),),
        str(path),
        input_names=["images"],
        output_names=["numbers"],
        dynamic_axes={"images": {0: "batch"}, "numbers": {0: "batch"}},
        opset_version=OPSET,
        dynamo=False,
    )
    described = onnx.load(str(path))
    for key, value in {
        "elbowroom_task": "numbers",
        "classes": json.dumps(list(NUMBER_CLASSES)),
        "input_px": json.dumps([SIDE_PX, SIDE_PX]),
        "license": "AGPL-3.0-or-later",
    }.items():
        entry = described.metadata_props.add()
        entry.key, entry.value = key, value
    store_half(described.graph)
    onnx.checker.check_model(described)
    onnx.save(described, str(path))
    about = {"classes": list(NUMBER_CLASSES), "input_px": [SIDE_PX, SIDE_PX], **record}
    (out / "numbers.json").write_text(json.dumps(about, indent=1), encoding="utf-8")


def main(arguments: list[str] | None = None) -> None:
    """Paint, train, check, write."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--draw-seconds", type=float, default=60.0)
    parser.add_argument("--train-seconds", type=float, default=150.0)
    parser.add_argument("--workers", type=int, default=len(os.sched_getaffinity(0)))
    parser.add_argument("--seed", type=int, default=0, help="First seed of the torsos.")
    parser.add_argument("--also", type=Path, default=None, help="Torsos of another kind, .npz.")
    parser.add_argument("--paint-between", type=int, default=0, help="Paint a chunk every so many steps; 0: never.")
    parser.add_argument("--start", type=Path, default=None, help="Weights to begin from.")
    given = parser.parse_args(arguments)
    logging.basicConfig(level=logging.INFO, format="%(message)s")
    os.environ["OMP_NUM_THREADS"] = "1"
    held = draw(0.0, CHECK_SEED, min(given.workers, 16))
    drawn = draw(given.draw_seconds, given.seed, given.workers)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    also = None
    if given.also is not None:
        with np.load(given.also) as file:
            also = (file["pictures"], file["labels"])
    network, seen, painted = train(
        drawn,
        also,
        given.train_seconds,
        device,
        given.start,
        given.paint_between,
        keep_at=lambda halfway: log.info("%s", json.dumps(check(halfway, held, device))),
    )
    found = check(network, held, device)
    log.info("%s", json.dumps(found))
    record = {"optimizer": "AdamW", "learning_rate": LEARNING_RATE, "batch": BATCH[device.type], "painted": painted}
    write(network, given.out, {**record, "presented": seen, "check": found})


if __name__ == "__main__":
    main()
