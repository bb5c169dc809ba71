"""How far a measured quantity meets a limit, from 0 to 1.

A coach's limits are not sharp, and neither are places on film. A grade is the share of a normal spread, made of the
limit's own softness and the measurement's uncertainty, that lies on the right side: 0.5 at the limit, near 1 well
inside it. The more uncertain the measurement, the nearer to 0.5; what is not known is 0.5.
"""

from __future__ import annotations

import math

HALF = 0.5


def at_most(value: float, limit: float, soft: float, sigma: float = 0.0) -> float:
    """Grade of ``value`` being at most ``limit``.

    Parameters
    ----------
    value, limit : float
        In the same unit; a NaN ``value`` is not known.
    soft : float
        Spread of the limit itself, above 0.
    sigma : float
        Uncertainty of the value; NaN counts as none given.

    Returns
    -------
    float
        0..1.
    """
    if math.isnan(value):
        return HALF
    spread = math.hypot(soft, 0.0 if math.isnan(sigma) else sigma)
    return 0.5 * (1.0 + math.erf((limit - value) / (spread * math.sqrt(2.0))))


def at_least(value: float, limit: float, soft: float, sigma: float = 0.0) -> float:
    """Grade of ``value`` being at least ``limit``; as :func:`at_most`."""
    return at_most(-value, -limit, soft, sigma)
