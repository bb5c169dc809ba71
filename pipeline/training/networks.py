"""The shapes of the two networks, as ultralytics model definitions.

Both are YOLO26 (Ultralytics, AGPL-3.0) with one change each for small things on a big picture: the detector
looks at stride 4 as well, because a ball is only about eight pixels wide; the court network goes up to
stride 4 before it decides, because a painted line is only about a pixel wide.
"""

from typing import Any

from pipeline.court.area_network import AREA_CLASSES
from pipeline.players.tables import BOX_CLASSES

_BACKBONE: list[list[Any]] = [
    [-1, 1, "Conv", [64, 3, 2]],
    [-1, 1, "Conv", [128, 3, 2]],
    [-1, 2, "C3k2", [256, False, 0.25]],  # 2: stride 4
    [-1, 1, "Conv", [256, 3, 2]],
    [-1, 2, "C3k2", [512, False, 0.25]],  # 4: stride 8
    [-1, 1, "Conv", [512, 3, 2]],
    [-1, 2, "C3k2", [512, True]],  # 6: stride 16
    [-1, 1, "Conv", [1024, 3, 2]],
    [-1, 2, "C3k2", [1024, True]],
    [-1, 1, "SPPF", [1024, 5, 3, True]],
    [-1, 2, "C2PSA", [1024]],  # 10: stride 32
]

_UP_TO_STRIDE_4: list[list[Any]] = [
    [-1, 1, "nn.Upsample", [None, 2, "nearest"]],
    [[-1, 6], 1, "Concat", [1]],
    [-1, 2, "C3k2", [512, True]],  # 13: stride 16
    [-1, 1, "nn.Upsample", [None, 2, "nearest"]],
    [[-1, 4], 1, "Concat", [1]],
    [-1, 2, "C3k2", [256, True]],  # 16: stride 8
    [-1, 1, "nn.Upsample", [None, 2, "nearest"]],
    [[-1, 2], 1, "Concat", [1]],
    [-1, 2, "C3k2", [128, True]],  # 19: stride 4
]


def detector_network(width: float = 0.25) -> dict[str, Any]:
    """YOLO26 with heads at strides 4, 8, 16 and 32; `width` scales the channels (0.25 is size n)."""
    return {
        "nc": len(BOX_CLASSES),
        "end2end": True,
        "reg_max": 1,
        "depth_multiple": 0.5,
        "width_multiple": width,
        "max_channels": 1024,
        "backbone": _BACKBONE,
        "head": [
            *_UP_TO_STRIDE_4,
            [-1, 1, "Conv", [128, 3, 2]],
            [[-1, 16], 1, "Concat", [1]],
            [-1, 2, "C3k2", [256, True]],  # 22
            [-1, 1, "Conv", [256, 3, 2]],
            [[-1, 13], 1, "Concat", [1]],
            [-1, 2, "C3k2", [512, True]],  # 25
            [-1, 1, "Conv", [512, 3, 2]],
            [[-1, 10], 1, "Concat", [1]],
            [-1, 1, "C3k2", [1024, True, 0.5, True]],  # 28
            [[19, 22, 25, 28], 1, "Detect", ["nc"]],
        ],
    }


def areas_network(width: float = 0.375) -> dict[str, Any]:
    """YOLO26 semantic segmentation, deciding at stride 4 with an auxiliary head at stride 8."""
    return {
        "nc": len(AREA_CLASSES),
        "depth_multiple": 0.5,
        "width_multiple": width,
        "max_channels": 1024,
        "backbone": _BACKBONE,
        "head": [*_UP_TO_STRIDE_4, [[19, 16], 1, "SemanticSegment", ["nc"]]],
    }
