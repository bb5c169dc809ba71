"""Sightings: boxes placed on a plane, with how far each may be off, ready to be associated.

A plane is where bodies move when the camera's own movement is taken out: the court floor in feet, or,
where no court is known, a stabilised picture. Association and stitching read nothing but this type.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.errors import ShapeError
from pipeline.players.tables import KIT_LENGTH


@dataclass(frozen=True, slots=True, eq=False)
class Sightings:
    """All boxes of bodies in one shot, ordered by moment.

    Attributes
    ----------
    moment : (N,) int
        Index of the analysed frame within the shot, non-decreasing.
    times_s : (F,) float
        Time of each moment, increasing.
    position : (N, 2) float
        On the plane.
    covariance : (N, 2, 2) float
        Of the position.
    log_size : (N, 2) float
        Logarithms of the box's width and height in plane units.
    size_sigma : (N, 2) float
        Their errors.
    stature : (N,) float
        Logarithm of the box's height against what a body has at that place; NaN where cut off or unknown.
    kit : (N, 6) float
        Jersey and shorts in CIELAB; NaN where unread.
    score : (N,) float
        Of the detector, 0..1.
    official : (N,) float
        1 where the detector calls the body an official, 0 where a player, NaN where it does not say.
    """

    moment: np.ndarray
    times_s: np.ndarray
    position: np.ndarray
    covariance: np.ndarray
    log_size: np.ndarray
    size_sigma: np.ndarray
    stature: np.ndarray
    kit: np.ndarray
    score: np.ndarray
    official: np.ndarray

    def __post_init__(self) -> None:
        count = len(self.moment)
        wanted = {
            "position": (count, 2),
            "covariance": (count, 2, 2),
            "log_size": (count, 2),
            "size_sigma": (count, 2),
            "stature": (count,),
            "kit": (count, KIT_LENGTH),
            "score": (count,),
            "official": (count,),
        }
        for name, shape in wanted.items():
            if getattr(self, name).shape != shape:
                raise ShapeError(f"Sightings.{name} must be {shape}, got {getattr(self, name).shape}.")
        if count and (np.any(np.diff(self.moment) < 0) or self.moment[-1] >= len(self.times_s)):
            raise ShapeError("Sightings must be ordered by moment, and each moment must have a time.")
        for name in (*wanted, "moment", "times_s"):
            getattr(self, name).setflags(write=False)

    def __len__(self) -> int:
        return len(self.moment)

    @property
    def time(self) -> np.ndarray:
        """Time of each sighting, (N,)."""
        return self.times_s[self.moment]

    def reversed(self) -> Sightings:
        """The same shot run backwards. Row i becomes row N - 1 - i."""
        last = len(self.times_s) - 1
        flipped = {
            name: np.ascontiguousarray(getattr(self, name)[::-1])
            for name in ("position", "covariance", "log_size", "size_sigma", "stature", "kit", "score", "official")
        }
        return replace(
            self,
            moment=np.ascontiguousarray(last - self.moment[::-1]),
            times_s=np.ascontiguousarray(-self.times_s[::-1]),
            **flipped,
        )


@dataclass(frozen=True, slots=True)
class Population:
    """What a body drawn at random looks like: the alternative against which every link is weighed.

    Attributes
    ----------
    area : float
        Of the plane in which bodies appear, plane units squared.
    log_size_sigma : tuple of float
        Spread of log width and log height over bodies.
    kit_sigma : float
        Spread of a kit's coordinates over bodies, CIELAB units.
    """

    area: float
    log_size_sigma: tuple[float, float]
    kit_sigma: float = 25.0
