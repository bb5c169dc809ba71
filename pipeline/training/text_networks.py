"""Adopt two public networks for text: weights as float16, this project's names and metadata, no letters we never need.

    python -m pipeline.training.text_networks FOLDER --models models

FOLDER holds ``PP-OCRv6_det_small.onnx`` and ``PP-OCRv6_rec_small.onnx`` as they lie in the wheel of rapidocr 3.10.0
(Apache-2.0); nothing of that package is needed to run them. The reader's last layer keeps figures, Latin letters,
colon, full stop and space of its 18,708 characters.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import numpy as np
import onnx

from pipeline.errors import ModelError
from pipeline.film.bug_text import ALPHABET, HEIGHT_PX
from pipeline.training.export import store_half
from pipeline.training.publish import write_index

SOURCE = "PaddleOCR project, PP-OCRv6, from the wheel of rapidocr 3.10.0"
INPUT_PX = {"text_regions": (640, 160), "bug_text": (96, HEIGHT_PX)}
"""Named in the metadata; both networks take other widths too."""


def adopt_finder(source: Path, target: Path) -> None:
    """Write ``text_regions.onnx``."""
    model = onnx.load(str(source))
    _finish(model, target, "text_regions", ["text"])


def adopt_reader(source: Path, target: Path) -> None:
    """Write ``bug_text.onnx`` with the characters of :data:`~pipeline.film.bug_text.ALPHABET` only."""
    model = onnx.load(str(source))
    listed = {p.key: p.value for p in model.metadata_props}["character"].split("\n")
    # Answer 0 is "nothing here"; the space comes after the listed characters.
    kept = [0] + [len(listed) + 1 if c == " " else listed.index(c) + 1 for c in ALPHABET]
    wide = [w for w in model.graph.initializer if w.dims and w.dims[-1] == len(listed) + 2]
    if len(wide) != 2:
        raise ModelError(
            f"{source}: expected one last layer of {len(listed) + 2} answers; give the file of rapidocr 3.10."
        )
    for weight in wide:
        values = onnx.numpy_helper.to_array(weight)[..., kept]
        weight.CopyFrom(onnx.numpy_helper.from_array(np.ascontiguousarray(values), weight.name))
    model.graph.output[0].type.tensor_type.shape.dim[2].dim_value = len(kept)
    del model.graph.value_info[:]
    _finish(model, target, "bug_text", list(ALPHABET))


def _finish(model: onnx.ModelProto, target: Path, task: str, classes: list[str]) -> None:
    graph = model.graph
    old = graph.input[0].name
    graph.input[0].name = "images"
    for node in graph.node:
        for place, name in enumerate(node.input):
            if name == old:
                node.input[place] = "images"
    store_half(graph)
    del model.metadata_props[:]
    for key, value in (
        ("elbowroom_task", task),
        ("input_px", json.dumps(INPUT_PX[task])),
        ("classes", json.dumps(classes)),
        ("license", "Apache-2.0"),
        ("source", SOURCE),
    ):
        entry = model.metadata_props.add()
        entry.key, entry.value = key, value
    onnx.checker.check_model(model)
    onnx.save(model, str(target))
    about = {"classes": classes, "input_px": list(INPUT_PX[task]), "source": SOURCE, "license": "Apache-2.0"}
    target.with_suffix(".json").write_text(json.dumps(about, indent=1) + "\n", encoding="utf-8")


def main(arguments: list[str] | None = None) -> None:
    """Command line."""
    parser = argparse.ArgumentParser(prog="python -m pipeline.training.text_networks", description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--models", type=Path, default=Path("models"))
    given = parser.parse_args(arguments)
    adopt_finder(given.folder / "PP-OCRv6_det_small.onnx", given.models / "text_regions.onnx")
    adopt_reader(given.folder / "PP-OCRv6_rec_small.onnx", given.models / "bug_text.onnx")
    write_index(given.models)


if __name__ == "__main__":
    main()
