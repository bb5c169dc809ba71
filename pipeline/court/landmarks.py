"""Points of the floor that a person can click on and name, for pinning a camera by hand.

Left and right, near and far are as the main camera sees the court. Every landmark is where edges of painted lines meet,
at the edge that the rule book measures to (see :mod:`pipeline.court.rule_books`). The centre circle's edge is none:
it is often painted larger than the rule book's.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

import numpy as np

from pipeline.court.attack_frame import ENDS, to_court
from pipeline.court.rule_books import RuleBook
from pipeline.errors import SettingsError
from pipeline.user_files import shown


@dataclass(frozen=True, slots=True)
class Landmark:
    """A point of the floor with a name.

    Attributes
    ----------
    name : str
    x_ft, y_ft : float
        Court frame.
    text : str
        Where it is, for people.
    """

    name: str
    x_ft: float
    y_ft: float
    text: str


@lru_cache(maxsize=16)
def landmarks(book: RuleBook) -> Mapping[str, Landmark]:
    """The landmarks of a rule book's floor, by name; every book has the same names."""
    length, width = book.length_ft, book.width_ft
    found = [
        Landmark("centre", length / 2, width / 2, "middle of the court"),
        Landmark("halfway_near", length / 2, 0.0, "halfway line at the near sideline's inner edge"),
        Landmark("halfway_far", length / 2, width, "halfway line at the far sideline's inner edge"),
    ]
    baseline_u, lane_u = -book.ring_to_baseline_ft, book.lane_length_ft - book.ring_to_baseline_ft
    lane_v, corner_v = book.lane_width_ft / 2, min(book.corner_distance_ft, book.arc_radius_ft)
    arc_u = float(np.sqrt(max(book.arc_radius_ft**2 - corner_v**2, 0.0)))
    for end in ENDS:
        near_sign = -1.0 if end == "left" else 1.0  # "near" is the smaller y
        for side, sign in (("near", near_sign), ("far", -near_sign)):
            places = {
                f"corner_{end}_{side}": (baseline_u, sign * width / 2, "inner corner of sideline and baseline"),
                f"lane_{end}_{side}": (baseline_u, sign * lane_v, "outer edge of the lane line at the baseline"),
                f"free_throw_{end}_{side}": (lane_u, sign * lane_v, "outer corner of free-throw line and lane line"),
                f"three_point_{end}_{side}": (
                    baseline_u,
                    sign * corner_v,
                    "outer edge of the three-point line at the baseline",
                ),
                f"arc_{end}_{side}": (arc_u, sign * corner_v, "where the straight three-point line becomes the arc"),
            }
            for name, (u, v, text) in places.items():
                x, y = to_court(np.array([[u, v]]), book, end)[0]
                found.append(Landmark(name, float(x), float(y), f"{end} end, {side} side: {text}"))
        middle = {
            f"arc_{end}_top": (book.arc_radius_ft, "outer edge of the arc, straight out from the ring"),
            f"free_throw_{end}_middle": (lane_u, "middle of the free-throw line, outer edge"),
            f"free_throw_circle_{end}_top": (
                lane_u - book.line_width_ft / 2 + book.circle_radius_ft,
                "outer edge of the free-throw circle, towards half court",
            ),
        }
        for name, (u, text) in middle.items():
            x, y = to_court(np.array([[u, 0.0]]), book, end)[0]
            found.append(Landmark(name, float(x), float(y), f"{end} end: {text}"))
    return MappingProxyType({landmark.name: landmark for landmark in found})


def landmark(name: str, book: RuleBook) -> Landmark:
    """The landmark of that name.

    Raises
    ------
    SettingsError
        If there is none; the nearest name is suggested.
    """
    known = landmarks(book)
    if name in known:
        return known[name]
    close = difflib.get_close_matches(
        name.lower().replace("-", "_").replace("center", "centre"), known, n=1, cutoff=0.0
    )
    raise SettingsError(
        f"There is no landmark '{shown(name, 40)}'; did you mean '{close[0]}'? 'elbowroom court landmarks' lists them "
        "all."
    )
