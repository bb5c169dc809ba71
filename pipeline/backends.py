"""What runs the two picture networks: OpenVINO or onnxruntime on the processor, PyTorch on a GPU.

All take pictures as :func:`pipeline.networks.fit_pictures` makes them, bytes, and turn them into numbers themselves.
OpenVINO computes in bfloat16 where the processor has instructions for it, PyTorch in float16 on a GPU; everything else
computes in float32. PyTorch is imported only when a GPU is used.
"""

from __future__ import annotations

import ctypes
import importlib.util
import json
import os
import threading
from enum import StrEnum
from pathlib import Path
from typing import Any, Literal, Protocol

import numpy as np

from pipeline.errors import ModelError, SettingsError
from pipeline.networks import OpenNetwork, open_network, shipped_weights

_BLOCKING_SYNC = 4
"""CU_CTX_SCHED_BLOCKING_SYNC of the CUDA driver."""

PictureTask = Literal["detector", "areas"]


class Device(StrEnum):
    """Where the networks run."""

    AUTO = "auto"
    CPU = "cpu"
    CUDA = "cuda"


class PictureNetwork(Protocol):
    """A network that looks at pictures."""

    classes: tuple[str, ...]
    input_px: tuple[int, int]
    batch: int
    """How many pictures are best given at once."""

    def run(self, pictures: np.ndarray) -> list[np.ndarray]:
        """All outputs for fitted pictures (N, H, W, 3) uint8, blue-green-red. May be called from several threads."""
        ...


def gpu_count() -> int:
    """GPUs that the CUDA driver reports; 0 without a driver. PyTorch is not imported for it."""
    try:
        driver = ctypes.CDLL("libcuda.so.1")
    except OSError:
        return 0
    count = ctypes.c_int(0)
    if driver.cuInit(0) != 0 or driver.cuDeviceGetCount(ctypes.byref(count)) != 0:
        return 0
    return count.value


def gpu_memory_gb() -> float:
    """Memory of the first GPU that the CUDA driver reports; 0 without one."""
    if not gpu_count():
        return 0.0
    driver = ctypes.CDLL("libcuda.so.1")
    device, size = ctypes.c_int(0), ctypes.c_size_t(0)
    if driver.cuDeviceGet(ctypes.byref(device), 0) != 0 or driver.cuDeviceTotalMem_v2(ctypes.byref(size), device) != 0:
        return 0.0
    return size.value / 2**30


def gpu_name() -> str:
    """What the CUDA driver calls the first GPU; empty without one."""
    if not gpu_count():
        return ""
    driver, device, name = ctypes.CDLL("libcuda.so.1"), ctypes.c_int(0), ctypes.create_string_buffer(128)
    if driver.cuDeviceGet(ctypes.byref(device), 0) != 0 or driver.cuDeviceGetName(name, len(name), device) != 0:
        return ""
    return name.value.decode(errors="replace")


def sleep_while_waiting() -> None:
    """Let threads that wait for the first GPU sleep rather than keep a core busy, from its first use on.

    Processes that share the cores would else take them from each other while they wait.
    """
    if gpu_count():
        driver, device = ctypes.CDLL("libcuda.so.1"), ctypes.c_int(0)
        if driver.cuDeviceGet(ctypes.byref(device), 0) == 0:
            driver.cuDevicePrimaryCtxSetFlags_v2(device, _BLOCKING_SYNC)


def chosen_device(wanted: Device) -> Device:
    """The device that ``auto`` stands for, or the wanted one.

    Raises
    ------
    SettingsError
        A GPU is wanted and there is none, or PyTorch is not installed.
    """
    if wanted is Device.CPU:
        return Device.CPU
    has_torch = importlib.util.find_spec("torch") is not None
    if gpu_count() and has_torch:
        return Device.CUDA
    if wanted is Device.CUDA:
        missing = "the CUDA driver reports no GPU" if has_torch else "PyTorch is not installed"
        raise SettingsError(f"The device 'cuda' was asked for, but {missing}; use --device cpu, or install what lacks.")
    return Device.CPU


def processor_threads(wanted: int) -> int:
    """The wanted number of threads; for 0 as many as this process has cores."""
    if wanted:
        return wanted
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def open_picture_network(
    task: PictureTask, weights: Path | None = None, *, device: Device = Device.CPU, threads: int = 1, streams: int = 1
) -> PictureNetwork:
    """Open a network for a device.

    Parameters
    ----------
    weights : ONNX file for the processor, ultralytics weights for a GPU; the shipped network if left out
    device : AUTO is the GPU if there is one
    threads : processor threads in all
    streams : into how many calls at a time they are divided

    Raises
    ------
    ModelError
        The file is missing, damaged, or a network for something else.
    """
    if chosen_device(device) is Device.CUDA:
        from pipeline.torch_backend import TorchNetwork

        return TorchNetwork(weights or shipped_weights(task, "pt"), task, device="cuda")
    path = weights or shipped_weights(task, "onnx")
    if importlib.util.find_spec("openvino") is not None:
        return OpenVinoNetwork(path, task, threads=threads, streams=streams)
    return OnnxNetwork(path, task, threads=max(1, threads // streams))


class OnnxNetwork:
    """A network on onnxruntime, in float32."""

    def __init__(self, path: Path, task: PictureTask, *, threads: int) -> None:
        self._network: OpenNetwork = open_network(path, task, threads=threads)
        self.classes, self.input_px = self._network.classes, self._network.input_px
        self.batch = 4

    def run(self, pictures: np.ndarray) -> list[np.ndarray]:
        """See `PictureNetwork.run`."""
        import cv2  # here, because the settings need this module and no pictures

        return self._network.run(cv2.dnn.blobFromImages(list(pictures), 1 / 255, swapRB=True))


class OpenVinoNetwork:
    """A network on OpenVINO: one picture at a time on each stream."""

    def __init__(self, path: Path, task: PictureTask, *, threads: int, streams: int) -> None:
        import openvino as ov
        from openvino.preprocess import ColorFormat, PrePostProcessor

        if not path.is_file():
            raise ModelError(f"{path}: no network there; give the path of an ONNX file.")
        core = ov.Core()
        try:
            model = core.read_model(path)
        except RuntimeError as reason:
            raise ModelError(
                f"{path}: not a readable ONNX network ({' '.join(str(reason).split())[:120]}); fetch the file again."
            ) from reason
        about = _metadata(model)
        if about.get("elbowroom_task") != task:
            found = about.get("elbowroom_task", "no elbowroom network")
            raise ModelError(
                f"{path}: wanted a network for '{task}', found {found}; give one that training/export wrote."
            )
        width, height = json.loads(about["input_px"])
        self.classes, self.input_px, self.batch = tuple(json.loads(about["classes"])), (width, height), 1
        model.reshape([1, 3, height, width])
        taking = PrePostProcessor(model)
        taking.input().tensor().set_element_type(ov.Type.u8).set_layout(ov.Layout("NHWC")).set_color_format(
            ColorFormat.BGR
        )
        taking.input().preprocess().convert_element_type(ov.Type.f32).convert_color(ColorFormat.RGB).scale(255.0)
        taking.input().model().set_layout(ov.Layout("NCHW"))
        half = "BF16" in core.get_property("CPU", "OPTIMIZATION_CAPABILITIES")
        self._compiled = core.compile_model(
            taking.build(),
            "CPU",
            {
                "INFERENCE_NUM_THREADS": threads,
                "NUM_STREAMS": min(streams, threads),
                "INFERENCE_PRECISION_HINT": "bf16" if half else "f32",
                "ENABLE_CPU_PINNING": False,
            },
        )
        self._of_thread = threading.local()

    def run(self, pictures: np.ndarray) -> list[np.ndarray]:
        """See `PictureNetwork.run`."""
        if not hasattr(self._of_thread, "request"):
            self._of_thread.request = self._compiled.create_infer_request()
        request = self._of_thread.request
        answers = []
        for picture in pictures:
            request.infer({0: picture[None]}, share_inputs=True)
            answers.append([np.array(request.get_output_tensor(n).data) for n in range(len(self._compiled.outputs))])
        return [np.concatenate(outputs) for outputs in zip(*answers, strict=True)]


def _metadata(model: Any) -> dict[str, str]:
    """What the ONNX file says of itself; OpenVINO keeps it under ``framework``."""
    if not model.has_rt_info("framework"):
        return {}
    return {str(key): str(value) for key, value in model.get_rt_info("framework").value.items()}
