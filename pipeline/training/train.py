"""Train the detector or the court network and write its weights.

    python -m pipeline.training.train --task detector --renders DIR --real DIR --out DIR --minutes 12
    python -m pipeline.training.train --task areas    --renders DIR --real DIR --out DIR --minutes 12

Training stops when the minutes are over; the learning rate follows the clock. After every epoch the weights so far lie
in ``OUT/NAME.pt`` (half precision, without optimizer); at the end ``OUT/NAME.onnx`` and ``OUT/NAME.json`` follow.
"""

import argparse
import json
import logging
import os
import time
from collections.abc import Callable
from copy import deepcopy
from dataclasses import replace
from pathlib import Path
from typing import Any

os.environ.setdefault("YOLO_OFFLINE", "1")

import torch
import yaml
from ultralytics.data.build import build_dataloader
from ultralytics.models.yolo.detect import DetectionTrainer
from ultralytics.models.yolo.semantic import SemanticSegmentationTrainer

from pipeline.court.area_network import AREA_CLASSES
from pipeline.errors import DataError
from pipeline.players.tables import BOX_CLASSES
from pipeline.training.augment import Framing
from pipeline.training.export import export_onnx, save_weights
from pipeline.training.networks import AREAS_INPUT, DETECTOR_INPUT, areas_network, detector_network
from pipeline.training.pictures import FramedPictures, Labelled, read_folder

log = logging.getLogger(__name__)

TASKS: dict[str, dict[str, Any]] = {
    "detector": {
        "needs": "labels",
        "input_px": DETECTOR_INPUT,
        "classes": BOX_CLASSES,
        "network": detector_network,
        "framing": Framing(min_zoom=0.7, max_zoom=1.9),
        "ultralytics": "detect",
        "optimizer": "AdamW",
        "learning_rate": 0.0015,
    },
    "areas": {
        "needs": "masks",
        "input_px": AREAS_INPUT,
        "classes": AREA_CLASSES,
        "network": areas_network,
        "framing": Framing(min_zoom=0.7, max_zoom=1.6, max_turn_deg=5.0),
        "ultralytics": "semantic",
        "optimizer": "MuSGD",
        "learning_rate": 0.01,
    },
}
"""Optimizers: in the first hundred steps AdamW lowered the detector's loss faster, MuSGD the court network's."""

DRAWS_AN_EPOCH = 6400
"""Training pictures between two steps of the learning rate's schedule: short, so that it follows the clock."""


class _OwnPictures:
    """Mix-in for an ultralytics trainer: our pictures, our framing, no look at the network or the disk for data."""

    task: str
    pictures: dict[str, list[Labelled]]
    limits: Framing
    seed: int
    out: Path

    def get_dataset(self) -> dict[str, Any]:
        names = dict(enumerate(TASKS[self.task]["classes"]))
        return {"train": "train", "val": "val", "nc": len(names), "names": names, "channels": 3, "path": str(self.out)}

    def get_dataloader(self, dataset_path: str, batch_size: int = 16, rank: int = 0, mode: str = "train") -> Any:
        del dataset_path, rank
        pictures = FramedPictures(
            self.pictures[mode],
            TASKS[self.task]["input_px"],
            self.limits if mode == "train" else None,
            self.seed,
            draws=min(DRAWS_AN_EPOCH, len(self.pictures[mode])) if mode == "train" else None,
        )
        args = self.args  # type: ignore[attr-defined]
        return build_dataloader(
            pictures,
            batch=batch_size,
            workers=args.workers if mode == "train" else min(args.workers, 4),
            shuffle=mode == "train",
            rank=-1,
            drop_last=mode == "train",
            device=self.device,  # type: ignore[attr-defined]
        )

    def read_results_csv(self) -> dict:
        return {}

    def save_model(self) -> bool:
        save_weights(deepcopy(self.ema.ema), self.out / f"{self.task}.pt", self.task, epoch=self.epoch)  # type: ignore[attr-defined]
        return True

    def final_eval(self) -> None:
        """The last epoch was validated already; the averaged weights of the last epoch are the result."""


class DetectorTrainer(_OwnPictures, DetectionTrainer):
    """Trains the player, official, ball and ring detector."""

    task = "detector"


class AreasTrainer(_OwnPictures, SemanticSegmentationTrainer):
    """Trains the court network."""

    task = "areas"

    def get_dataset(self) -> dict[str, Any]:
        return _OwnPictures.get_dataset(self)


def _trainer(task: str, overrides: dict[str, Any], **own: Any) -> Any:
    kind = {"detector": DetectorTrainer, "areas": AreasTrainer}[task]
    fitted_kind = type(kind.__name__, (kind,), own)
    return fitted_kind(overrides=overrides)


def mixed(renders: list[Labelled], real: list[Labelled], real_share: float) -> list[Labelled]:
    """Repeat the real pictures until they are about `real_share` of an epoch."""
    if not renders or not real:
        return [*renders, *real]
    times = max(1, round(real_share / (1 - real_share) * len(renders) / len(real)))
    return [*renders, *real * times]


def train(
    task: str,
    *,
    renders: Path | None,
    real: Path | None,
    out: Path,
    minutes: float,
    real_share: float = 0.25,
    batch: int = 32,
    workers: int = 12,
    device: str = "0",
    optimizer: str | None = None,
    learning_rate: float | None = None,
    width: float | None = None,
    weights: Path | None = None,
    held_back: int = 160,
    seed: int = 7,
    limit: int | None = None,
    epochs: int | None = None,
    say: Callable[[str], None] = log.info,
) -> Path:
    """Train one network on renders mixed with real frames; see the module's text for what is written.

    Parameters
    ----------
    task : "detector" or "areas"
    renders, real : training folders (see `pipeline.training.pictures`), or None to leave one out
    minutes : time budget of the training itself, without reading and export
    real_share : share of real pictures in an epoch
    held_back : renders kept out of training to watch it
    optimizer, learning_rate : the task's own if None
    weights : a ``.pt`` of the same network to continue from; None starts from random weights

    Raises
    ------
    DataError
        `weights` is not there, or a training folder holds nothing to learn from.
    """
    if weights is not None and not weights.is_file():
        raise DataError(f"{weights}: no such file; give the .pt weights of an earlier training of the {task} network.")
    plan = TASKS[task]
    optimizer = optimizer or str(plan["optimizer"])
    learning_rate = learning_rate or float(plan["learning_rate"])
    out = out.resolve()
    out.mkdir(parents=True, exist_ok=True)
    began = time.monotonic()
    rendered = read_folder(renders, needs=plan["needs"], limit=limit) if renders else []
    seen = read_folder(real, needs=plan["needs"], limit=limit) if real else []
    seen = [replace(p, may_get_balls=plan["needs"] == "labels") for p in seen]
    held_back = min(held_back, max(1, len(rendered or seen) // 8))
    watch, rendered = (rendered[:held_back], rendered[held_back:]) if rendered else (seen[:held_back], rendered)
    pictures = {"train": mixed(rendered, seen, real_share), "val": watch}
    say(f"{task}: {len(rendered)} renders, {len(seen)} real, {len(pictures['train'])} in the mix, {len(watch)} watched")
    definition = plan["network"]() if width is None else plan["network"](width)
    shape_file = out / f"{task}_network.yaml"
    shape_file.write_text(yaml.safe_dump(definition))
    on_cpu = device == "cpu"
    trainer = _trainer(
        task,
        {
            "model": str(shape_file),
            "task": plan["ultralytics"],
            "data": "own.yaml",
            "time": None if epochs else minutes / 60,
            "epochs": epochs or 100,
            "batch": batch,
            "nbs": batch,
            "imgsz": max(plan["input_px"]),
            "workers": workers,
            "device": device,
            "project": str(out),
            "name": f"{task}_run",
            "exist_ok": True,
            "pretrained": str(weights.resolve()) if weights else False,
            "optimizer": optimizer,
            "lr0": learning_rate,
            "lrf": 0.02,
            "cos_lr": True,
            "momentum": 0.9,
            "weight_decay": 0.0005,
            "warmup_epochs": 1.0,
            "warmup_bias_lr": 0.0,
            "close_mosaic": 0,
            "patience": 100000,
            "amp": False if on_cpu else "bf16",
            "deterministic": False,
            "plots": False,
            "val": False,
            "seed": seed,
        },
        pictures=pictures,
        limits=plan["framing"],
        seed=seed,
        out=out,
    )
    torch.backends.cuda.matmul.allow_tf32 = True
    torch.backends.cudnn.allow_tf32 = True
    torch.backends.cudnn.benchmark = True
    trainer.train()
    numbers = {k: round(float(v), 4) for k, v in (trainer.metrics or {}).items()}
    model = deepcopy(trainer.ema.ema).float().cpu()
    record = {
        "task": task,
        "classes": list(plan["classes"]),
        "input_px": list(plan["input_px"]),
        "epochs": trainer.epoch + 1,
        "pictures_an_epoch": min(DRAWS_AN_EPOCH, len(pictures["train"])),
        "pictures_in_store": len(pictures["train"]),
        "continued": weights is not None,
        "renders": len(rendered),
        "real": len(seen),
        "real_share": real_share,
        "batch": batch,
        "optimizer": optimizer,
        "learning_rate": learning_rate,
        "minutes": round((time.monotonic() - began) / 60, 2),
        "watched": numbers,
        "seed": seed,
    }
    save_weights(model, out / f"{task}.pt", task, epoch=trainer.epoch)
    export_onnx(model, out / f"{task}.onnx", task)
    (out / f"{task}.json").write_text(json.dumps(record, indent=1) + "\n")
    say(f"{task}: {record['epochs']} epochs in {record['minutes']} min; watched renders: {numbers}")
    return out / f"{task}.pt"


def main(arguments: list[str] | None = None) -> None:
    """Read the command line and train."""
    parser = argparse.ArgumentParser(prog="python -m pipeline.training.train", description=__doc__)
    parser.add_argument("--task", choices=sorted(TASKS), required=True)
    parser.add_argument("--renders", type=Path, help="training folder of renders")
    parser.add_argument("--real", type=Path, help="training folder of labelled real frames")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--minutes", type=float, required=True, help="time budget of the training itself")
    parser.add_argument("--real-share", type=float, default=0.25)
    parser.add_argument("--batch", type=int, default=32)
    parser.add_argument("--workers", type=int, default=12)
    parser.add_argument("--device", default="0", help="GPU number, or cpu")
    parser.add_argument("--optimizer", choices=["MuSGD", "AdamW", "SGD"], help="the task's own if left out")
    parser.add_argument("--learning-rate", type=float, help="the task's own if left out")
    parser.add_argument("--weights", type=Path, help="weights (.pt) of an earlier training to continue from")
    parser.add_argument("--width", type=float, help="channel multiple of the network; its own default if left out")
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--limit", type=int, help="read at most this many pictures of each folder")
    parser.add_argument("--epochs", type=int, help="train so many epochs instead of by the clock")
    given = vars(parser.parse_args(arguments))
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(message)s")
    train(given.pop("task"), **given)


if __name__ == "__main__":
    main()
