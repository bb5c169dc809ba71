"""Write a network with eight-bit whole numbers for OpenVINO, and measure what that gains and costs.

    python -m pipeline.training.quantise --task detector --pictures DIR [DIR ...] --out DIR

Post-training quantisation (NNCF: Kozlov et al., "Neural network compression framework for fast model inference",
2020): the ranges of all activations are taken from half of the pictures; on the other half the result is compared with
the network as it is shipped. Pictures are any `.jpg` or `.png`, renders or frames. Nothing is put into ``models/``: an
eight-bit network ships only if its figures hold on labelled pictures too.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from pipeline.backends import OpenVinoNetwork, PictureTask
from pipeline.court.area_network import FloorAreas
from pipeline.errors import DataError, MissingExtraError
from pipeline.networks import fit_pictures, shipped_weights
from pipeline.players.detector import NetworkDetector

SAME_PX = 12.0
"""Boxes of one class whose sides all lie within this many pixels are one body's."""


def quantise(weights: Path, pictures: list[np.ndarray], input_px: tuple[int, int], out: Path) -> None:
    """Quantise an ONNX network and save it as OpenVINO's pair of files.

    Parameters
    ----------
    weights : ONNX file that the training wrote
    pictures : list of ndarray of shape (H, W, 3), uint8
        To take the ranges from.
    input_px : width and height of the network's input
    out : Path
        Of the ``.xml`` file.
    """
    try:
        import nncf
    except ImportError as error:
        raise MissingExtraError("Quantising needs the package nncf; install it with: pip install nncf.") from error
    import openvino as ov
    from openvino._offline_transformations import apply_moc_transformations

    model = ov.Core().read_model(weights)
    model.reshape([1, 3, input_px[1], input_px[0]])
    # Sigmoid and product become one operation first, or each would be quantised by itself and cost more than it saves.
    apply_moc_transformations(model, cf=True, smart_reshape=False)

    def prepared(picture: np.ndarray) -> np.ndarray:
        fitted, _ = fit_pictures([picture], input_px)
        return cv2.dnn.blobFromImages(list(fitted), 1 / 255, swapRB=True)

    data = nncf.Dataset(pictures, prepared)
    smaller = nncf.quantize(model, data, preset=nncf.QuantizationPreset.MIXED, subset_size=len(pictures))
    ov.save_model(smaller, out)


def compared(task: PictureTask, shipped: OpenVinoNetwork, other: OpenVinoNetwork, pictures: list[np.ndarray]) -> str:
    """What changes between two networks on pictures, and their times, in one sentence."""
    seconds, answers = [], []
    for network in (shipped, other):
        look: Any = FloorAreas(network).areas if task == "areas" else NetworkDetector(network).detect
        look(pictures[:1])
        began = time.process_time()
        answers.append([look([picture])[0] for picture in pictures])
        seconds.append((time.process_time() - began) / len(pictures))
    times = f"{1000 * seconds[0]:.0f} ms a picture as shipped, {1000 * seconds[1]:.0f} ms quantised (processor time)"
    if task == "areas":
        changed = np.mean([(a.argmax(0) != b.argmax(0)).mean() for a, b in zip(*answers, strict=True)])
        return f"{times}; {changed:.2%} of the cells change their label."
    moved, lost, count = [], 0, 0
    for mine, theirs in zip(*answers, strict=True):
        for box, kind in zip(mine.xyxy, mine.class_id, strict=True):
            count += 1
            sides = np.abs(theirs.xyxy[theirs.class_id == kind] - box).max(axis=1)
            if len(sides) and sides.min() < SAME_PX:
                moved.append(np.abs(theirs.xyxy[theirs.class_id == kind][sides.argmin()] - box)[3])
            else:
                lost += 1
    feet = f"{np.median(moved):.2f} px (p95 {np.percentile(moved, 95):.2f})" if moved else "nothing"
    return f"{times}; lower edges move by {feet}, {lost} of {count} boxes are lost."


def main(arguments: list[str] | None = None) -> None:
    """Read the command line, quantise and compare."""
    parser = argparse.ArgumentParser(prog="python -m pipeline.training.quantise", description=__doc__)
    parser.add_argument("--task", choices=["detector", "areas"], required=True)
    parser.add_argument("--pictures", type=Path, nargs="+", required=True, help="folders of pictures")
    parser.add_argument("--out", type=Path, required=True, help="folder for NAME.int8.xml and .bin")
    parser.add_argument("--most", type=int, default=120, help="pictures used, half of them to take ranges from")
    given = parser.parse_args(arguments)
    paths = sorted(p for folder in given.pictures for p in folder.rglob("*") if p.suffix in {".jpg", ".png"})
    if len(paths) < 2:
        raise DataError(f"{given.pictures[0]}: {len(paths)} pictures found, at least 2 needed; give another folder.")
    chosen = [paths[k] for k in np.linspace(0, len(paths) - 1, min(len(paths), given.most)).astype(int)]
    pictures = [picture for picture in (cv2.imread(str(path)) for path in chosen) if picture is not None]
    weights = shipped_weights(given.task, "onnx")
    shipped = OpenVinoNetwork(weights, given.task, threads=1, streams=1)
    given.out.mkdir(parents=True, exist_ok=True)
    path = given.out / f"{given.task}.int8.xml"
    quantise(weights, pictures[::2], shipped.input_px, path)
    other = OpenVinoNetwork(path, given.task, threads=1, streams=1)
    print(compared(given.task, shipped, other, pictures[1::2]))  # noqa: T201 - what the command is for


if __name__ == "__main__":
    main()
