"""How sure a finding may be, given how sure the places are that it rests on."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from pipeline.actions.view import PossessionView


def certainty(view: PossessionView, columns: Sequence[int], first: int, last: int, tolerance_ft: float) -> float:
    """Mean over moments and players of how far their places can be trusted, 0..1.

    A place weighs ``1 / (1 + (sigma / tolerance)^2)``, the share of a Gaussian's variance that a rule with that
    tolerance can bear; half as much where the player was not seen but filled in, nothing where he is unknown.

    Parameters
    ----------
    view : PossessionView
    columns : sequence of int
        Players that the rule looked at.
    first, last : int
        First and past-last moment.
    tolerance_ft : float
        The uncertainty at which a finding is worth half.
    """
    span = slice(first, max(last, first + 1))
    sigma = view.sigma_ft[span][:, list(columns)]
    seen = view.observed[span][:, list(columns)]
    known = np.isfinite(view.uv_ft[span][:, list(columns), 0])
    weight = 1.0 / (1.0 + (np.nan_to_num(sigma, nan=0.0) / tolerance_ft) ** 2)
    weight = np.where(seen, weight, 0.5 * weight) * known
    return float(weight.mean()) if weight.size else 0.0


def sigma_of(view: PossessionView, columns: Sequence[int], moment: int) -> float:
    """Largest uncertainty of some players' places at a moment, feet; NaN when none is known."""
    sigma = view.sigma_ft[moment, list(columns)]
    known = sigma[np.isfinite(sigma)]
    return float(known.max()) if len(known) else float("nan")
