"""Adopting a public reader keeps its answers for the characters that stay."""

import json

import numpy as np
import onnx
import onnxruntime
import pytest
from onnx import TensorProto, helper, numpy_helper

from pipeline.errors import ModelError
from pipeline.film.bug_text import ALPHABET
from pipeline.training.text_networks import adopt_reader

CHARACTERS = ["!", *[c for c in ALPHABET if c != " "], "Ω"]


def _reader(path, answers):
    """A network whose answer is one matrix product of its input, with a softmax."""
    rng = np.random.default_rng(1)
    weight = rng.normal(size=(8, answers)).astype(np.float32)
    bias = rng.normal(size=answers).astype(np.float32)
    graph = helper.make_graph(
        [
            helper.make_node("MatMul", ["x", "w"], ["product"]),
            helper.make_node("Add", ["product", "b"], ["sum"]),
            helper.make_node("Softmax", ["sum"], ["chance"], axis=2),
        ],
        "reader",
        [helper.make_tensor_value_info("x", TensorProto.FLOAT, [1, "t", 8])],
        [helper.make_tensor_value_info("chance", TensorProto.FLOAT, [1, "t", answers])],
        [numpy_helper.from_array(weight, "w"), numpy_helper.from_array(bias, "b")],
    )
    model = helper.make_model(graph, opset_imports=[helper.make_opsetid("", 17)], ir_version=10)
    helper.set_model_props(model, {"character": "\n".join(CHARACTERS)})
    onnx.save(model, str(path))


def test_the_kept_characters_answer_as_before(tmp_path):
    _reader(tmp_path / "public.onnx", len(CHARACTERS) + 2)
    adopt_reader(tmp_path / "public.onnx", tmp_path / "bug_text.onnx")
    x = np.random.default_rng(2).normal(size=(1, 5, 8)).astype(np.float32)
    before, after = (onnxruntime.InferenceSession(str(tmp_path / n)) for n in ("public.onnx", "bug_text.onnx"))
    whole, kept = before.run(None, {"x": x})[0], after.run(None, {"images": x})[0]
    order = [0, *(len(CHARACTERS) + 1 if c == " " else CHARACTERS.index(c) + 1 for c in ALPHABET)]
    same = whole[..., order] / whole[..., order].sum(axis=-1, keepdims=True)
    np.testing.assert_allclose(kept, same, atol=2e-3)
    about = after.get_modelmeta().custom_metadata_map
    assert about["elbowroom_task"] == "bug_text"
    assert json.loads(about["classes"]) == list(ALPHABET)
    assert json.loads((tmp_path / "bug_text.json").read_text(encoding="utf-8"))["license"] == "Apache-2.0"


def test_another_network_is_refused(tmp_path):
    _reader(tmp_path / "public.onnx", 11)
    with pytest.raises(ModelError, match="last layer"):
        adopt_reader(tmp_path / "public.onnx", tmp_path / "bug_text.onnx")
