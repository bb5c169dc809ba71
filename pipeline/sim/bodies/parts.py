"""What a body's surface is made of: the parts a look can colour."""

from __future__ import annotations

from typing import Final

PARTS: Final[tuple[str, ...]] = ("skin", "jersey", "shorts", "trousers", "hair", "shoes")
"""Part names; a vertex's part id is the index here. An official's shirt is "jersey"."""
