"""Scores of several films become one line each, with the worst film named."""

import pytest

from pipeline.evaluate.films import MEASURES, Better, as_dict, as_markdown, pool

BY_NAME = {measure.name: measure for measure in MEASURES}


def test_shares_are_pooled_by_their_counts() -> None:
    films = {
        "a": {"court": {"registered": 1.0, "live_frames": 300}},
        "b": {"court": {"registered": 0.8, "live_frames": 100}},
        "c": {"court": {"registered": None, "live_frames": 0}},
    }
    line = pool(BY_NAME["live frames registered"], films)
    assert line.value == pytest.approx(0.95)
    assert (line.worst_film, line.worst, line.count) == ("b", 0.8, 400)
    assert line.met() is False


def test_f1_comes_from_pooled_counts_also_of_films_with_nothing_true() -> None:
    films = {
        "a": {"ball": {"passes": {"right": 9, "found": 10, "truth": 10, "f1": 0.9}}},
        "b": {"ball": {"passes": {"right": 0, "found": 2, "truth": 0, "f1": 0.0}}},
        "c": {"ball": None},
    }
    line = pool(BY_NAME["passes, F1"], films)
    assert line.value == pytest.approx(18 / 22)
    assert line.worst_film == "a"


def test_the_worst_of_an_error_is_the_largest() -> None:
    films = {n: {"court": {"median_ft": v, "points": 10}} for n, v in (("a", 0.2), ("b", 0.6))}
    line = pool(BY_NAME["court error, median"], films)
    assert (line.worst_film, line.value) == ("b", pytest.approx(0.4))
    assert line.met() is True


def test_nothing_measured_is_said_and_is_not_met() -> None:
    result = {"measures": [as_dict(pool(measure, {"a": {}})) for measure in MEASURES]}
    assert {line["met"] for line in result["measures"]} == {None}
    assert as_markdown(result).count("not measured") == 2 * len(MEASURES)


def test_every_measure_has_a_reach_in_its_unit() -> None:
    for measure in MEASURES:
        assert (measure.unit == "ft") == (measure.better is Better.LOWER)
        assert measure.reach > 0
