"""A clock fitted to readings: right through stops, misreadings, gaps, periods and replays."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.film.clock import clock_signs, fit_clock
from pipeline.film.tables import BUG_READINGS, CLOCK, FRAMES


def shown(clock_s):
    return f"{int(clock_s * 10) / 10:.1f}" if clock_s < 60 else f"{int(clock_s) // 60}:{int(clock_s) % 60:02d}"


def true_clock(times, stops, start_s):
    """Clock at some times: runs from `start_s` but in the stops (from, to)."""
    stood = sum((np.clip(times, a, b) - a for a, b in stops), np.zeros(len(times)))
    return np.maximum(start_s - (times - stood), 0.0)


def rows_of(times, texts, *, field="clock", score=0.95):
    return [
        {"frame": round(t * 25), "t_s": float(t), "field": field, "text": text, "score": score}
        for t, text in zip(times, texts, strict=True)
    ]


def table_of(*parts):
    return BUG_READINGS.from_rows(sorted((row for part in parts for row in part), key=lambda row: row["t_s"]))


def frames_of(end_s, rate=12.5):
    times = np.arange(0, end_s, 1 / rate)
    return FRAMES.from_columns({"frame": np.arange(len(times)), "t_s": times, "shot": np.zeros(len(times), int)})


def numbers(clock, column):
    return np.array([np.nan if v is None else float(v) for v in clock[column].to_pylist()])


@settings(max_examples=40, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    start_s=st.floats(20, 700),
    share_wrong=st.floats(0, 0.15),
    offset_s=st.floats(0, 0.25),
)
def test_any_run_with_stops_and_misreadings_is_within_a_second(seed, start_s, share_wrong, offset_s):
    rng = np.random.default_rng(seed)
    edges = np.sort(rng.uniform(3, 57, 6))
    stops = list(zip(edges[::2], edges[1::2], strict=True))
    looks = np.arange(offset_s, 60, 0.25)
    texts = [shown(v) for v in true_clock(looks, stops, start_s)]
    for k in np.flatnonzero(rng.random(len(looks)) < share_wrong):
        texts[k] = shown(rng.uniform(0, 720)) if rng.random() < 0.7 else ""
    frames = frames_of(60)
    clock = CLOCK.check(fit_clock(table_of(rows_of(looks, texts)), frames))
    found = numbers(clock, "game_clock_s")
    off = np.abs(found - true_clock(frames["t_s"].to_numpy(), stops, start_s))
    assert np.isfinite(found).mean() > 0.97
    assert np.nanmax(off) <= 1.0 + 1e-6
    assert np.all(np.diff(found[np.isfinite(found)]) <= 1e-4)


def test_a_single_misreading_cannot_survive():
    looks = np.arange(0, 20, 0.25)
    right = [shown(v) for v in true_clock(looks, [], 300)]
    wrong = list(right)
    wrong[30:33] = ["3:49"] * 3
    wrong[50] = "4:59"
    frames = frames_of(20)
    one, other = (fit_clock(table_of(rows_of(looks, texts)), frames) for texts in (right, wrong))
    assert np.nanmax(np.abs(numbers(one, "game_clock_s") - numbers(other, "game_clock_s"))) < 1.0


def test_running_and_standing():
    looks = np.arange(0, 30, 0.25)
    frames = frames_of(30)
    clock = fit_clock(table_of(rows_of(looks, [shown(v) for v in true_clock(looks, [(10, 20)], 500)])), frames)
    times, running = frames["t_s"].to_numpy(), np.array(clock["running"].to_pylist())
    assert running[(times > 1.5) & (times < 9)].all()
    assert not running[(times > 11.5) & (times < 18.5)].any()
    assert running[(times > 21.5) & (times < 28)].all()


def test_short_gaps_are_carried_and_long_ones_are_unknown():
    looks = np.array([t for t in np.arange(0, 40, 0.25) if not (10 < t < 12.5 or 20 < t < 30)])
    blind = np.array([t for t in np.arange(0, 40, 0.25) if 10 < t < 12.5 or 20 < t < 30])
    texts = [shown(v) for v in true_clock(looks, [(20, 30)], 400)]
    frames = frames_of(40)
    clock = fit_clock(table_of(rows_of(looks, texts), rows_of(blind, [""] * len(blind))), frames)
    times, status = frames["t_s"].to_numpy(), np.array(clock["status"].to_pylist(), dtype=object)
    assert set(status[(times > 10.3) & (times < 12)]) == {"carried"}
    assert set(status[(times > 21) & (times < 29)]) == {"hidden"}
    assert np.isnan(numbers(clock, "game_clock_s")[(times > 21) & (times < 29)]).all()
    assert np.nanmax(np.abs(numbers(clock, "game_clock_s") - true_clock(times, [(20, 30)], 400))) <= 1.0


def test_a_new_period_sets_the_clock_and_the_period_follows():
    looks = np.arange(0, 60, 0.25)
    value = np.where(looks < 30, np.maximum(25 - looks, 0), 600 - (looks - 30))
    words = ["1ST" if t < 30 else "" for t in looks]  # the second is never read
    frames = frames_of(60)
    clock = fit_clock(
        table_of(rows_of(looks, [shown(v) for v in value]), rows_of(looks, words, field="period")), frames
    )
    times, period = frames["t_s"].to_numpy(), numbers(clock, "period")
    assert set(period[times < 29]) == {1}
    assert set(period[times > 31]) == {2}
    off = np.abs(numbers(clock, "game_clock_s") - np.where(times < 30, np.maximum(25 - times, 0), 630 - times))
    assert np.nanmax(off[np.abs(times - 30) > 0.3]) <= 1.0


def test_a_clock_that_counts_up():
    looks = np.arange(0, 40, 0.25)
    value = 100 + np.clip(looks, 0, 15) + np.clip(looks - 25, 0, 15)
    frames = frames_of(40)
    clock = fit_clock(table_of(rows_of(looks, [shown(v) for v in value])), frames)
    times = frames["t_s"].to_numpy()
    true = 100 + np.clip(times, 0, 15) + np.clip(times - 25, 0, 15)
    assert np.nanmax(np.abs(numbers(clock, "game_clock_s") - true)) <= 1.0
    assert np.isfinite(numbers(clock, "game_clock_s")).all()


def test_an_old_clock_in_a_replay_is_no_time_of_the_game():
    looks = np.arange(0, 40, 0.25)
    value = np.where((looks >= 15) & (looks < 25), 330 - 0.5 * (looks - 15), 300 - np.minimum(looks, 15))
    value = np.where(looks >= 25, 285 - (looks - 25), value)
    frames = frames_of(40)
    readings = table_of(rows_of(looks, [shown(v) for v in value]), rows_of(looks, [""] * len(looks), field="bug"))
    clock = fit_clock(readings, frames)
    times = frames["t_s"].to_numpy()
    replay = (times > 16) & (times < 24)
    assert np.isnan(numbers(clock, "game_clock_s")[replay]).all()
    assert np.isfinite(numbers(clock, "game_clock_s")[(times < 14) | (times > 26)]).all()
    signs = clock_signs(readings, [(0, 14), (16, 24), (26, 39)])
    assert signs.disagrees.tolist() == [False, True, False]
    assert signs.runs.tolist() == [True, False, True]


def test_the_shot_clock_is_set_again_and_can_be_off():
    looks = np.arange(0, 40, 0.25)
    value = np.where(looks < 12, 24 - looks, np.where(looks < 30, 24 - (looks - 12), -1))
    shot = ["" if v < 0 else str(int(np.ceil(v))) for v in value]
    shot[20] = "3"
    clock = fit_clock(
        table_of(
            rows_of(looks, [shown(v) for v in true_clock(looks, [], 300)]), rows_of(looks, shot, field="shot_clock")
        ),
        frames_of(40),
    )
    times, found = clock["t_s"].to_numpy(), numbers(clock, "shot_clock_s")
    true = np.where(times < 12, 24 - times, 24 - (times - 12))
    early = (times < 29.5) & (np.abs(times - 12) > 0.5)
    assert np.nanmax(np.abs(found - true)[early]) <= 1.1
    assert np.isfinite(found[early]).mean() > 0.97
    assert np.isnan(found[times > 31]).all()


@pytest.mark.parametrize("readings", [BUG_READINGS.empty(), table_of(rows_of([1.0], ["5:49"], score=0.1))])
def test_nothing_read_is_nothing_known(readings):
    frames = frames_of(2)
    clock = fit_clock(readings, frames)
    assert clock.num_rows == frames.num_rows
    assert set(clock["status"].to_pylist()) == {"hidden"}
    assert set(clock["game_clock_s"].to_pylist()) == {None}
    assert fit_clock(readings, FRAMES.empty()).num_rows == 0
