"""Who gets in, and what gets past the door."""

import pytest
from fastapi.testclient import TestClient

from pipeline.library.games import Library
from pipeline.review.access import access_for
from pipeline.review.app import create_app
from pipeline.settings import Settings


@pytest.fixture
def library(tmp_path) -> Library:
    place = Library(tmp_path / "library")
    place.tag_store().close()
    return place


def visitor(library: Library, host: str = "127.0.0.1") -> TestClient:
    settings = Settings()
    access = access_for(library, host, settings.review, visitor="Robin")
    return TestClient(create_app(library, settings, access=access), base_url="http://127.0.0.1:8765")


def test_the_first_page_opens_for_this_machine(library):
    with visitor(library) as client:
        answer = client.get("/")
        assert answer.status_code == 200
        assert "Robin" in answer.text
