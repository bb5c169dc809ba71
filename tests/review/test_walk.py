"""The README's morning works from its first step to its last."""

import io

import av
import pytest
from pypdf import PdfReader
from walk import walk

from pipeline.tags import State


@pytest.mark.slow
def test_decide_search_build_export(browser, served):
    walked = walk(browser, "fault:any", "/reports/night.pdf")
    assert browser.errors() == []
    with served.library.tag_store() as store:
        assert store.tag(walked.confirmed).state is State.CONFIRMED
        assert store.tag(walked.rejected).state is State.REJECTED
        reel = store.reel(walked.reel)
    assert len(reel.items) == walked.hits
    assert (reel.items[0].title, reel.items[0].freeze) == ("Too far out", True)
    with av.open(io.BytesIO(walked.film)) as film:
        assert film.duration is not None
        assert film.duration / av.time_base > 3 * walked.hits
    cuts = [line for line in walked.edl.decode().splitlines() if line[:3].isdigit()]
    assert len(cuts) >= walked.hits
    assert "night" in PdfReader(io.BytesIO(walked.report)).pages[0].extract_text().lower()
