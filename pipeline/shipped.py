"""Where the files that ship beside the code lie: configuration, network weights, sample clips.

In a checkout they are the folders at the repository's top level; an installed copy keeps them under
``share/elbowroom`` of its environment.
"""

from __future__ import annotations

import sys
from enum import StrEnum
from pathlib import Path

from pipeline.errors import SettingsError


class Shipped(StrEnum):
    """Folders that ship beside the code."""

    CONFIGS = "configs"
    MODELS = "models"
    SAMPLE_CLIPS = "sample_clips"


def shipped(folder: Shipped) -> Path:
    """The folder's place on this machine.

    Raises
    ------
    SettingsError
        If it lies neither beside the code nor in the environment.
    """
    checkout = Path(__file__).resolve().parents[1]
    places = [Path(sys.prefix) / "share" / "elbowroom" / folder]
    if (checkout / "pyproject.toml").is_file():
        places.insert(0, checkout / folder)
    for place in places:
        if place.is_dir():
            return place
    raise SettingsError(f"The folder '{folder}' of the installation is missing (looked in {places[0]}); install again.")
