"""The two sides that an address asks for, wherever a page or a report sets them side by side."""

from __future__ import annotations

from typing import Annotated

from fastapi import Depends, Query

from pipeline.review.compare_view import SideAsked

Short = Annotated[str, Query(max_length=400)]
"""A value of an address; longer ones are refused."""


def two_sides(
    one_team: Short = "",
    one_game: Short = "",
    one_period: Short = "",
    one_more: Short = "",
    other_team: Short = "",
    other_game: Short = "",
    other_period: Short = "",
    other_more: Short = "",
) -> tuple[SideAsked, SideAsked]:
    """What the address says of each; empty for everything."""
    return (
        SideAsked(one_team, one_game, one_period, one_more),
        SideAsked(other_team, other_game, other_period, other_more),
    )


TwoSides = Annotated[tuple[SideAsked, SideAsked], Depends(two_sides)]
