"""Frames a second by name: the rates that television and cutting rooms know, and timecode in them."""

from __future__ import annotations

from fractions import Fraction

from pipeline.film.probe import FilmInfo

RATES = (
    Fraction(24000, 1001),
    Fraction(24),
    Fraction(25),
    Fraction(30000, 1001),
    Fraction(30),
    Fraction(50),
    Fraction(60000, 1001),
    Fraction(60),
)
"""Rates of SMPTE ST 12-1 and ST 12-3."""


def standard_rate(rate: Fraction) -> Fraction:
    """The rate of :data:`RATES` that is nearest, by ratio; for a film of variable rate pass its average."""
    return min(RATES, key=lambda one: abs(float(one / rate) - 1) if rate > 0 else abs(float(one) - 25))


def rate_of(info: FilmInfo) -> Fraction:
    """The rate in which a film's frames are counted."""
    return standard_rate(info.average_rate)
