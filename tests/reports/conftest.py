"""Lets the tests of this folder import what lies beside them; one made-up season for all that only read."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from made_up_season import make_season

from pipeline.library.games import Library


@pytest.fixture(scope="session")
def season(tmp_path_factory) -> Library:
    """Seven games of Harbour, who run the set well, against two clubs who do not; nobody may write to it."""
    return make_season(tmp_path_factory.mktemp("season") / "library")
