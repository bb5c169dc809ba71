"""What all frames of a film share: the optical centre, the lens, the roll, and the circle as painted."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pipeline.court.fitting import PARAMETERS, Fit, MarkSet, Prior, fit_camera
from pipeline.court.rule_books import RuleBook
from pipeline.court.settings import RegistrationSettings

Array = NDArray[np.float64]

SHARED = np.array([PARAMETERS.index(n) for n in ("centre_x", "centre_y", "centre_z", "roll", "k1", "circle_radius")])
OWN = np.array([PARAMETERS.index(n) for n in ("pan", "tilt", "log_focal")])

_MOST_FITS = 400


def shared_prior(found: Sequence[Fit], prior: Prior, settings: RegistrationSettings) -> Prior | None:
    """Centre, lens, roll and circle that fits agree on, with the play they are allowed; None without fits.

    Each fit's own estimate enters with its information after its pan, tilt and zoom are marginalised out (Schur
    complement); fits far from the others are left out.
    """
    if not found:
        return None
    fits = found[:: len(found) // _MOST_FITS + 1]
    shared, own = SHARED, OWN
    informed = np.isfinite(prior.sigma[shared])
    base = np.diag(np.where(informed, 1 / prior.sigma[shared] ** 2, 0.0))
    start = base @ np.where(informed, prior.mean[shared], 0.0)
    values = np.stack([f.parameters[shared] for f in fits])
    weights = []
    for fit in fits:
        full = fit.information + np.eye(len(PARAMETERS)) * 1e-9
        cross = full[np.ix_(shared, own)]
        reduced = full[np.ix_(shared, shared)] - cross @ np.linalg.solve(full[np.ix_(own, own)], cross.T)
        # The centre strays by its play from frame to frame, so one frame never counts for more than that.
        play = np.diag(play_of(settings)[shared] ** 2)
        weights.append(np.linalg.inv(np.linalg.pinv(_positive(reduced), hermitian=True) + play))
    keep = np.ones(len(fits), dtype=bool)
    centre = np.median(values, axis=0)
    for _ in range(4):
        total = base + sum(w for w, k in zip(weights, keep, strict=True) if k)
        right = start + sum(w @ v for w, v, k in zip(weights, values, keep, strict=True) if k)
        centre = np.linalg.solve(total, right)
        away = np.array([(v - centre) @ w @ (v - centre) for w, v in zip(weights, values, strict=True)])
        limit = max(12.0, 4 * float(np.median(away)))
        if (keep == (away < limit)).all():
            break
        keep = away < limit
        if not keep.any():
            keep = away <= np.median(away)
    mean, sigma = prior.mean.copy(), prior.sigma.copy()
    mean[shared] = centre
    sigma[shared] = np.sqrt(play_of(settings)[shared] ** 2 + np.minimum(np.diag(np.linalg.inv(total)), 25.0))
    return Prior(mean, sigma)


def refit(
    marks: MarkSet,
    start: Array,
    book: RuleBook,
    size_px: tuple[int, int],
    shared: Prior,
    settings: RegistrationSettings,
) -> Fit:
    """Fit a frame's marks about what its film shares, from where a camera vector (9,) looks."""
    begin = start.copy()
    begin[SHARED] = shared.mean[SHARED]
    return fit_camera(marks, begin, book, size_px, shared, settings, widths_px=(6.0, 3.0), iterations=5)


def _positive(matrix: Array) -> Array:
    """The nearest symmetric matrix whose eigenvalues are at least a trifle."""
    values, vectors = np.linalg.eigh((matrix + matrix.T) / 2)
    return (vectors * np.maximum(values, 1e-6)) @ vectors.T


def play_of(settings: RegistrationSettings) -> Array:
    """How far each parameter strays within a film, (9,); infinite for pan, tilt and zoom."""
    play = np.full(len(PARAMETERS), np.inf)
    for name in ("centre_x", "centre_y", "centre_z"):
        play[PARAMETERS.index(name)] = settings.centre_play_ft
    play[PARAMETERS.index("roll")] = settings.roll_play_deg
    play[PARAMETERS.index("k1")] = settings.lens_play
    play[PARAMETERS.index("circle_radius")] = 0.1
    return play
