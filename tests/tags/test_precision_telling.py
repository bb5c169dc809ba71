"""Precision told to people, to programs and to the eye."""

import json
from xml.etree import ElementTree

from decided_play import told

from pipeline.tags.precision_telling import calibration_plot, precision_as_json, precision_lines, write_plots
from pipeline.tags.ranking import precision


def test_lines_and_json_say_the_same():
    kinds = precision(told(90, 1, unsure=0.1)[0])
    text = "\n".join(precision_lines(kinds))
    (kind,) = kinds
    assert f"{kind.decided} decided, {kind.confirmed} confirmed, {kind.unsure} unsure." in text
    assert kind.decided + kind.unsure == 90
    assert f"precision {kind.precision.share:.0%} ({kind.precision.low:.0%} to {kind.precision.high:.0%})" in text
    (read,) = json.loads(json.dumps(precision_as_json(kinds), allow_nan=False))
    assert read["precision"]["share"] == kind.precision.share
    assert [one["count"] for one in read["calibration"]] == [one.count for one in kind.bins]
    assert "it takes 30 decisions to learn" in "\n".join(precision_lines(precision(told(10, 1)[0])))
    assert "Nobody has decided anything yet" in "\n".join(precision_lines(()))
    json.dumps(precision_as_json(precision(told(3, 1, unsure=1.0)[0])), allow_nan=False)


def test_a_plot_is_the_same_every_time_and_says_what_it_shows(tmp_path):
    (kind,) = precision(told(200, 2)[0])
    svg = calibration_plot(kind)
    assert svg == calibration_plot(kind)
    assert ElementTree.fromstring(svg).tag.endswith("svg")
    assert calibration_plot(kind, "png")[:8] == b"\x89PNG\r\n\x1a\n"
    (path,) = write_plots((kind,), tmp_path / "plots")
    assert path.name == "fault-pushed_out_catch.svg"
    assert path.read_bytes() == svg
