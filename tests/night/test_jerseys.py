"""Jersey colours by word and by code."""

import numpy as np
import pytest

from pipeline.errors import LibraryError
from pipeline.night.jerseys import WORDS, jersey_lab, team_colours


def test_lightness_and_hue_come_out():
    assert jersey_lab("#ffffff") == pytest.approx([100, 0, 0], abs=0.1)
    assert jersey_lab("#000000") == pytest.approx([0, 0, 0], abs=0.1)
    # CIELAB of sRGB red under D65, as published with the CSS Color 4 conversions.
    assert jersey_lab("#FF0000") == pytest.approx([53.24, 80.09, 67.20], abs=0.3)


def test_words_are_all_colours_and_no_two_but_grey_the_same():
    labs = {word: tuple(np.round(jersey_lab(word), 3)) for word in WORDS}
    assert len(set(labs.values())) == len(WORDS) - 1
    assert labs["grey"] == labs["gray"]
    assert (jersey_lab("  Light   BLUE ") == jersey_lab("light blue")).all()


def test_both_or_none():
    assert team_colours("white", "") is None
    assert team_colours("", "  ") is None
    colours = team_colours("white", "navy")
    assert colours is not None
    assert colours.shape == (2, 3)


def test_an_unknown_colour_names_the_known_ones():
    with pytest.raises(LibraryError, match=r"'reddish'.*navy"):
        team_colours("white", "reddish")
