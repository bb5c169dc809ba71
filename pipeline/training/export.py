"""Write trained networks: half-precision ultralytics weights, and ONNX for use without PyTorch.

The ONNX files compute in float32 from weights stored in float16, take ``images`` (N, 3, H, W), RGB in 0…1, fitted into
the input on grey 114/255, and carry what a reader needs in their metadata: ``elbowroom_task``,
``classes``, ``input_px``.

- detector: ``boxes`` (N, cells, 4) x1, y1, x2, y2 in input pixels and ``scores`` (N, cells, classes);
- court network: ``areas`` (N, classes, H/4, W/4) probabilities.
"""

import datetime
import json
import math
from copy import deepcopy
from pathlib import Path

import numpy as np
import onnx
import torch
from torch import nn
from ultralytics import __version__ as ultralytics_version

from pipeline.court.area_network import AREA_CLASSES
from pipeline.players.tables import BOX_CLASSES
from pipeline.torch_backend import BRANCH, INPUT_PX, AreasHead, DetectorHead

OPSET = 17

LEAST_STORED_HALF = 1024
"""Weights with fewer numbers stay float32."""


def save_weights(model: nn.Module, path: Path, task: str, *, epoch: int) -> None:
    """Save a network as ultralytics reads it: half precision, no optimizer, no paths of the machine it was made on."""
    model = deepcopy(model).half().cpu().to(memory_format=torch.contiguous_format)
    model.args = {"task": {"detector": "detect", "areas": "semantic"}[task], "imgsz": max(INPUT_PX[task])}  # type: ignore[assignment]
    model.criterion = None  # type: ignore[assignment]
    if task == "detector":
        model.end2end = BRANCH == "one2one"  # type: ignore[assignment]
    for place in ("yaml_file", "pt_path"):
        if hasattr(model, place):
            delattr(model, place)
    if isinstance(getattr(model, "yaml", None), dict):
        model.yaml = {k: v for k, v in model.yaml.items() if k != "yaml_file"}  # type: ignore[assignment,union-attr,operator]
    for weight in model.parameters():
        weight.requires_grad = False
    temporary = path.with_suffix(".partial")
    torch.save(
        {
            "epoch": epoch,
            "model": model,
            "ema": None,
            "optimizer": None,
            "train_args": model.args,
            "date": datetime.datetime.now(datetime.UTC).date().isoformat(),
            "version": ultralytics_version,
            "license": "AGPL-3.0-or-later",
        },
        temporary,
    )
    temporary.replace(path)


def export_onnx(model: nn.Module, path: Path, task: str, *, branch: str = BRANCH) -> None:
    """Write an ONNX file that takes a batch of any size.

    Parameters
    ----------
    model : a network as trained or as loaded from its weights; not changed
    task : "detector" or "areas"
    branch : which head of the detector, see `DetectorHead`
    """
    width, height = INPUT_PX[task]
    model = deepcopy(model).float().cpu().eval()
    wrapped = DetectorHead(model, branch) if task == "detector" else AreasHead(model)
    names = ["boxes", "scores"] if task == "detector" else ["areas"]
    images = torch.zeros(1, 3, height, width)
    with torch.no_grad():
        wrapped(images)
        torch.onnx.export(
            wrapped,
            (images,),
            str(path),
            input_names=["images"],
            output_names=names,
            dynamic_axes={name: {0: "batch"} for name in ["images", *names]},
            opset_version=OPSET,
            dynamo=False,
        )
    described = onnx.load(str(path))
    for key, value in {
        "elbowroom_task": task,
        "classes": json.dumps(list(BOX_CLASSES if task == "detector" else AREA_CLASSES)),
        "input_px": json.dumps([width, height]),
        "head": branch if task == "detector" else "softmax",
        "license": "AGPL-3.0-or-later",
    }.items():
        entry = described.metadata_props.add()
        entry.key, entry.value = key, value
    store_half(described.graph)
    onnx.checker.check_model(described)
    onnx.save(described, str(path))


def store_half(graph: onnx.GraphProto) -> None:
    """Keep large weights as float16 with a cast behind each: half the file, computed in float32 all the same."""
    casts = []
    for weight in graph.initializer:
        if weight.data_type != onnx.TensorProto.FLOAT or math.prod(weight.dims) < LEAST_STORED_HALF:
            continue
        name, values = weight.name, onnx.numpy_helper.to_array(weight)
        weight.CopyFrom(onnx.numpy_helper.from_array(values.astype(np.float16), f"{name}_half"))
        casts.append(onnx.helper.make_node("Cast", [f"{name}_half"], [name], to=onnx.TensorProto.FLOAT))
    nodes = [*casts, *graph.node]
    del graph.node[:]
    graph.node.extend(nodes)
