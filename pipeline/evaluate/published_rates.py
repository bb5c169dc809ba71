"""How often things happen in a game of about 190 possessions, as told by others.

Real possessions at hand end in made baskets only, so that rates from them need not be these; they show the order of
magnitude, and where a rule finds far too much or too little.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

POSSESSIONS_A_GAME = 190.0
"""Of both teams together."""


@dataclass(frozen=True, slots=True)
class PublishedRate:
    """From how many to how many a game, both teams together, and who says so."""

    low: float
    high: float
    source: str

    def as_json(self) -> dict[str, Any]:
        """For reports."""
        return {"low": self.low, "high": self.high, "source": self.source}


_QUOTED = "published per-game rates as quoted to the project; primary source not at hand"
_MEMORY = "from memory of the league's public tracking figures; a starting value"

PUBLISHED: Mapping[str, PublishedRate] = MappingProxyType(
    {
        "on_ball_screen": PublishedRate(72.0, 94.0, _QUOTED),
        "handoff": PublishedRate(24.0, 25.0, _QUOTED),
        "pass": PublishedRate(560.0, 640.0, _MEMORY),
        "drive": PublishedRate(60.0, 100.0, _MEMORY),
        "post_up": PublishedRate(15.0, 35.0, _MEMORY),
        "isolation": PublishedRate(12.0, 25.0, _MEMORY),
        "turnover": PublishedRate(26.0, 30.0, _MEMORY),
    }
)
"""By kind of action."""
