"""What reports count, against the made-up season whose every run is known."""

import math
import shutil
from datetime import UTC, datetime

import numpy as np
import pytest
from made_up_season import CLUBS, GAMES, NOW, OTHER_RUNS, OTHERS, RUNS, bodies, catches, make_season

from pipeline.errors import LanguageError, LibraryError, SearchError
from pipeline.library.games import Library
from pipeline.library.nights import FilmNight, FilmState
from pipeline.reports.comparison import compare_set
from pipeline.reports.congestion import UNKNOWN_UNIT, congestion
from pipeline.reports.differences import Verdict
from pipeline.reports.document import Remark
from pipeline.reports.execution import execution_sheet
from pipeline.reports.night_page import night_page
from pipeline.reports.night_summary import GameNight, NightSummary, night_summary
from pipeline.reports.sides import Counted, label_of, side
from pipeline.reports.trend import Per, trend
from pipeline.sets.emphasis import Grade
from pipeline.settings import Settings
from pipeline.tags import State

SETTINGS = Settings()
SET = "weak_side_motion"


def of(text=""):
    return side(text, SETTINGS)


def confirmed(team):
    """Return catches of the runs that staff confirmed: all but the last two of each game."""
    return [value for game in range(GAMES) for value in catches(game, team)[:-2]]


# ---- execution ------------------------------------------------------------------------------------------------------


def test_a_sheet_counts_what_staff_confirmed(season):
    sheet = execution_sheet(season, SET, of("team:Harbour"), SETTINGS)
    assert len(sheet.runs.runs) == GAMES * (RUNS - 2)
    assert (sheet.runs.undecided, sheet.runs.rejected, sheet.runs.partial) == (GAMES, GAMES, GAMES)
    assert dict(sheet.endings)["post_entry"] == GAMES * 2
    assert sum(count for _, count in sheet.endings) == len(sheet.runs.runs)
    assert sheet.runs.missing == (("cross", GAMES), ("ending", GAMES))
    catch = next(point for point in sheet.points if point.emphasis.name == "return_catch")
    assert np.sort(catch.values) == pytest.approx(np.sort(confirmed(0)))
    assert catch.middle.value == pytest.approx(np.median(confirmed(0)))
    assert catch.count(Grade.GOOD) == sum(value <= 25 for value in confirmed(0))
    assert catch.good.value == pytest.approx(catch.count(Grade.GOOD) / catch.known)
    wait = next(point for point in sheet.points if point.emphasis.name == "dribble_kept")
    assert wait.known == 0
    assert not wait.good.known


def test_candidates_count_when_asked_for_and_their_standing_is_told(season):
    sheet = execution_sheet(season, SET, of("team:Harbour"), SETTINGS, Counted.WITH_CANDIDATES)
    assert len(sheet.runs.runs) == GAMES * (RUNS - 1)
    assert sheet.standing is not None
    assert sheet.standing.precision.count == GAMES * (RUNS - 1 + OTHER_RUNS - 1)
    decided = GAMES * (RUNS - 2 + OTHER_RUNS - 2)
    assert sheet.standing.precision.value == pytest.approx(decided / sheet.standing.precision.count)


def test_best_and_worst_are_no_run_twice(season):
    sheet = execution_sheet(season, SET, of(), SETTINGS)
    best, worst = ({run.tag for run in runs} for runs in (sheet.best, sheet.worst))
    assert not best & worst
    assert len(sheet.best) == SETTINGS.reports.clips_shown
    for run in sheet.best:
        assert run.count(Grade.GOOD) > run.count(Grade.POOR)
    for run in sheet.worst:
        assert run.count(Grade.POOR) > run.count(Grade.GOOD)
        assert run.when.startswith("P")


def test_a_side_may_be_a_period_days_or_a_condition(season):
    first = execution_sheet(season, SET, of("team:Harbour period:1"), SETTINGS)
    later = execution_sheet(season, SET, of("team:Harbour period:2"), SETTINGS)
    assert 0 < len(first.runs.runs) < GAMES * (RUNS - 2)
    assert len(first.runs.runs) + len(later.runs.runs) == GAMES * (RUNS - 2)
    two = execution_sheet(season, SET, of("since:2026-10-04 until:2026-10-05"), SETTINGS)
    assert {run.game for run in two.runs.runs} == {"game-1", "game-2"}
    far = execution_sheet(season, SET, of("return_catch_ft > 28"), SETTINGS)
    assert len(far.runs.runs) == sum(value > 28 for team in (0, 1) for value in confirmed(team))


def test_sides_are_called_what_they_ask_for():
    assert label_of(of("team:Harbour period:4 since:2026-10-01").filters) == "Harbour, period 4, from 2026-10-01"
    assert of().label == "all games"
    assert side("team:Harbour", SETTINGS, "Us").label == "Us"
    with pytest.raises(SearchError, match="horns"):
        of("horns team:Harbour")


def test_what_does_not_exist_is_named(season, tmp_path):
    with pytest.raises(SearchError, match="weak_side_motion"):
        execution_sheet(season, "weak_side_motoin", of(), SETTINGS)
    with pytest.raises(SearchError, match="Harbour"):
        execution_sheet(season, SET, of("team:Harbuor"), SETTINGS)
    with pytest.raises(LibraryError, match="no library"):
        execution_sheet(Library(tmp_path / "none"), SET, of(), SETTINGS)
    (tmp_path / "empty" / "games").mkdir(parents=True)
    with pytest.raises(SearchError, match="no games yet"):
        execution_sheet(Library(tmp_path / "empty"), SET, of(), SETTINGS)


# ---- comparison -----------------------------------------------------------------------------------------------------


def points(comparison):
    return {point.name: point for point in comparison.points}


def test_two_sides_that_differ_are_said_to(season):
    club = CLUBS[0].replace('"', "")
    told = points(compare_set(season, SET, of("team:Harbour"), of(f'team:"{club}"'), SETTINGS))
    catch = told["return_catch"]
    assert catch.verdict is Verdict.DIFFERENT
    own = [value for game in range(0, GAMES, 2) for value in catches(game, OTHERS)[:-2]]
    assert catch.difference.value == pytest.approx(np.median(confirmed(0)) - np.median(own))
    assert catch.difference.low <= catch.difference.value <= catch.difference.high
    assert "lower" in catch.told
    assert told["dribble_kept"].verdict is Verdict.TOO_FEW
    assert told["top_wait"].verdict is Verdict.ALIKE


def test_one_game_against_another_is_too_few(season):
    comparison = compare_set(season, SET, of("game:game-0"), of("game:game-1"), SETTINGS)
    assert {point.verdict for point in comparison.points} == {Verdict.TOO_FEW}
    assert comparison.shared == 0


def test_runs_on_both_sides_are_counted(season):
    comparison = compare_set(season, SET, of("team:Harbour"), of(), SETTINGS)
    assert comparison.shared == GAMES * (RUNS - 2)


def test_the_same_tags_give_the_same_numbers_whatever_else_is_asked(season):
    one, other = of("team:Harbour period:1"), of("team:Harbour period:2")
    forth = points(compare_set(season, SET, one, other, SETTINGS))["return_catch"]
    assert forth.difference == points(compare_set(season, SET, one, other, SETTINGS))["return_catch"].difference
    back = points(compare_set(season, SET, other, one, SETTINGS))["return_catch"]
    assert back.difference.value == pytest.approx(-forth.difference.value)
    assert back.difference.low == pytest.approx(-forth.difference.high, abs=0.3)
    assert back.verdict is forth.verdict


# ---- congestion -----------------------------------------------------------------------------------------------------


def test_bodies_are_counted_as_the_corner_is_turned(season):
    told = congestion(season, of("team:Harbour"), SETTINGS)
    true = [bodies(game, possession) for game in range(GAMES) for possession in range(0, 2 * (RUNS + 2), 2)]
    assert sorted(turn.bodies for turn in told.turns) == sorted(true)
    assert told.overall.bodies.value == pytest.approx(np.mean(true))
    assert told.overall.crowded.value == pytest.approx(np.mean(np.array(true) >= 5))
    assert told.uncounted == 0
    side_rows = {row.name: row.turns for row in {name: rows for name, _, rows in told.sorts}["side"]}
    assert side_rows == {"side": len(true) // 2, "middle": len(true) // 2}


def test_units_are_told_by_name_where_all_five_are_known(season):
    told = congestion(season, of("team:Harbour"), SETTINGS)
    rows = {row.name: row.turns for row in told.units}
    unknown = rows.pop(UNKNOWN_UNIT)
    assert unknown == GAMES, "in the first possession of each game one number was not read"
    ((name, turns),) = rows.items()
    assert turns == GAMES * (RUNS + 2) - GAMES
    assert name.startswith('Harbour: Žilić (4), A. "Tree" <b>Lund</b> (5)')
    nobody = congestion(season, of(f"team:{CLUBS[0].split()[0]}" if " " not in CLUBS[0] else "game:game-0"), SETTINGS)
    assert sum(row.turns for row in nobody.units) == len(nobody.turns)


def test_no_ball_screens_are_no_error(season):
    told = congestion(season, of("since:2031-01-01"), SETTINGS)
    assert told.turns == ()
    assert math.isnan(told.overall.bodies.value)


# ---- trend ----------------------------------------------------------------------------------------------------------


def test_a_trend_counts_per_hundred_possessions_of_the_team(season):
    told = trend(season, "pushed_out_catch team:Harbour", SETTINGS)
    assert [game.count for game in told.games] == [n + 1 for n in range(GAMES)]
    assert {game.possessions for game in told.games} == {RUNS + 2}
    assert [game.value.value for game in told.games] == pytest.approx(
        [100 * (n + 1) / (RUNS + 2) for n in range(GAMES)]
    )
    assert told.line is not None
    assert told.line.slope.value == pytest.approx(100 / (RUNS + 2))
    assert "rises" in told.told
    assert told.games[0].opponent == CLUBS[0]


def test_a_line_is_the_median_of_all_slopes(season):
    told = trend(season, f"{SET} team:Harbour", SETTINGS, measure="return_catch_ft")
    values = [float(np.median(catches(game, 0)[:-2])) for game in range(GAMES)]
    assert [game.value.value for game in told.games] == pytest.approx(values)
    slopes = [(values[b] - values[a]) / (b - a) for a in range(GAMES) for b in range(a + 1, GAMES)]
    assert told.line is not None
    assert told.line.slope.value == pytest.approx(np.median(slopes))
    assert told.unit == "ft"


def test_few_games_have_no_line(season):
    told = trend(season, "pushed_out_catch since:2026-10-06", SETTINGS, per=Per.GAME)
    assert told.line is None
    assert "too few" in told.told
    assert [game.value.value for game in told.games] == [4.0, 5.0, 6.0, 7.0]


def test_games_without_any_are_noughts_and_not_gaps(season):
    told = trend(season, "pushed_out_catch team:Harbour catch_ring_ft > 33", SETTINGS, per=Per.GAME)
    assert [game.count for game in told.games] == [0, 0, 0, 0, 0, 0, 1]
    assert told.games[0].value.high > 3, "none seen is not none possible"


def test_actions_are_counted_without_decisions(season):
    told = trend(season, "on_ball_screen team:Harbour", SETTINGS, per=Per.GAME)
    assert told.only_actions
    assert {game.count for game in told.games} == {RUNS + 2}


def test_a_trend_that_cannot_be_is_said(season):
    with pytest.raises(SearchError, match="begin the line"):
        trend(season, "team:Harbour", SETTINGS)
    with pytest.raises(SearchError, match="return_catch_ft"):
        trend(season, SET, SETTINGS, measure="return_cach_ft")
    with pytest.raises(LanguageError):
        trend(season, f"{SET} return_catch_ft >", SETTINGS)


@pytest.mark.slow
def test_a_line_through_chance_rarely_tells_a_trend():
    from pipeline.reports.intervals import rate
    from pipeline.reports.trend import TrendGame, fitted

    draw = np.random.default_rng(8)
    for games in (6, 10):
        claims = 0
        for _ in range(400):
            season = [TrendGame("g", "", "", rate(int(draw.poisson(7)), 80, 0.95, 100), 0, 80) for _ in range(games)]
            line = fitted(season, SETTINGS.reports)
            assert line is not None
            claims += line.slope.low > 0 or line.slope.high < 0
        assert claims / 400 <= 0.05 + 3 * math.sqrt(0.05 * 0.95 / 400), games


# ---- night ----------------------------------------------------------------------------------------------------------


def test_a_night_tells_what_is_left(season):
    told = night_summary(season, SETTINGS)
    assert [game.game for game in told.games] == [f"game-{n}" for n in reversed(range(GAMES))]
    assert told.undecided == 2 * GAMES
    kinds = {kind.kind: kind for kind in told.kinds}
    assert kinds[SET].rejected == 2 * GAMES
    assert kinds[SET].precision is not None
    assert kinds["pushed_out_catch"].confirmed == kinds["pushed_out_catch"].found == sum(range(1, GAMES + 1))
    assert told.failed == ()
    assert told.games[0].possessions == 2 * (RUNS + 2)
    late = night_summary(season, SETTINGS, datetime(2026, 11, 14, tzinfo=UTC))
    assert [game.game for game in late.games] == ["game-6", "game-5", "game-4"]


def test_what_is_broken_is_told_and_nothing_else_is_lost(tmp_path):
    library = make_season(tmp_path / "library", games=4)
    games = library.root / "games"
    (games / "game-0" / "state.json").write_text('{"import": {}}')
    (games / "game-1" / "game.toml").write_text("date = ")
    (games / "game-2" / "tables" / "possessions.parquet").write_bytes(b"no table")
    (games / "game-3" / "logs" / "runs.jsonl").write_text("not json\n")
    (games / ".unfinished-abc").mkdir()
    told = night_summary(library, SETTINGS)
    wrong = {game.game: " ".join(game.wrong) for game in told.games}
    assert "stopped before actions, sets, spacing" in wrong["game-0"]
    assert "game.toml" in wrong["game-1"]
    assert "possessions" in wrong["game-2"]
    assert "cannot be read" in wrong["game-3"]
    assert len(told.unfinished) == 1
    assert len(told.games) == 4
    sheet = execution_sheet(library, SET, of(), SETTINGS)
    assert len({run.game for run in sheet.runs.runs}) == 4
    assert any("game-1" in text for text in sheet.runs.left_out)
    assert congestion(library, of(), SETTINGS).left_out


def test_a_library_without_tags(tmp_path):
    library = make_season(tmp_path / "library", games=2)
    for name in ("library.db", "library.db-wal", "library.db-shm"):
        (library.root / name).unlink(missing_ok=True)
    assert night_summary(library, SETTINGS).kinds == ()
    sheet = execution_sheet(library, SET, of(), SETTINGS)
    assert sheet.runs.runs == ()
    assert sheet.standing is None
    assert sheet.runs.undecided == 2 * (RUNS + OTHER_RUNS)


def test_a_set_without_points_of_emphasis(season):
    files = tuple(
        file.model_copy(update={"text": file.text[: file.text.index("\nemphasis ")]})
        if file.name.endswith(f"/{SET}.set")
        else file
        for file in SETTINGS.set_library.files
    )
    settings = SETTINGS.model_copy(update={"set_library": SETTINGS.set_library.model_copy(update={"files": files})})
    sheet = execution_sheet(season, SET, of(), settings)
    assert sheet.points == ()
    assert sheet.best == sheet.worst == ()
    assert len(compare_set(season, SET, of("team:Harbour"), of("period:1"), settings).points) == 0


def test_edited_and_unsure_tags(tmp_path):
    shutil.rmtree(tmp_path / "library", ignore_errors=True)
    library = make_season(tmp_path / "library", games=1)
    with library.tag_store() as store:
        tag = next(tag for tag in store.tags(kind=SET) if tag.state is State.CANDIDATE)
        store.decide(tag.tag, State.UNSURE, who="Kim", when=NOW)
    sheet = execution_sheet(library, SET, of(), SETTINGS, Counted.WITH_CANDIDATES)
    assert tag.tag in {run.tag for run in sheet.runs.runs}
    assert sheet.runs.undecided == 2


def test_files_of_one_film_and_films_without_play_are_told():
    quiet = GameNight("adverts", "", "", "film", None, (), (), (), 60.0, 0.0, None, 0, ())
    films = tuple(
        FilmNight(film=f"/films/{name}.mp4", size_bytes=9, state=state, game=game)
        for name, state, game in (
            ("a", FilmState.DONE, "adverts"),
            ("b\nc", FilmState.DONE, "adverts"),
            ("d", FilmState.DONE, "other"),
            ("e", FilmState.FAILED, None),
            ("f", FilmState.WAITING, None),
        )
    )
    page = night_page(NightSummary(None, (quiet,), (), (), films))
    remarks = [block.text for block in page.blocks if isinstance(block, Remark)]
    assert "The files a.mp4 and b c.mp4 hold the same film; they are one game, adverts." in remarks
    assert any(text.startswith("In adverts no live play was seen.") for text in remarks)
    assert "The night has not come to 1 film: f.mp4; the next one runs what is left." in remarks
