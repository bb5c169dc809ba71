"""What the pages of analysts and coaches show, worked out without a browser."""

import threading

import numpy as np
import pytest

from pipeline.conditions import read_condition
from pipeline.court.camera import Camera, straight_lens
from pipeline.court.landmarks import landmarks
from pipeline.court.rule_books import RULE_BOOKS, rule_book
from pipeline.court.settings import RegistrationSettings
from pipeline.errors import LibraryError, SearchError
from pipeline.find import Column, Filters, bar_text, read_bar
from pipeline.find.names import Sort
from pipeline.reports.differences import Verdict
from pipeline.reports.settings import ReportSettings
from pipeline.review.compare_view import _compared, kind_named
from pipeline.review.floor_view import floor_lines, plan_of, try_pins, visible_landmarks
from pipeline.review.jobs import Jobs, Standing
from pipeline.review.search_view import Limits, filters_of, form_of
from pipeline.review.set_view import figure_svg, set_named, set_page
from pipeline.sets.frames import frames_of
from pipeline.settings import Settings

SETTINGS = Settings()
SIZE_PX = (1280, 720)


def main_camera() -> Camera:
    return Camera(np.array([47.0, -60.0, 28.0]), 20.0, -16.0, 0.0, 1150.0, straight_lens(SIZE_PX), SIZE_PX)


# ---- search -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("where", "limits", "more"),
    [
        ("", {}, ""),
        ("count >= 3", {"count": Limits("3")}, ""),
        ("count >= 3 and count <= 7", {"count": Limits("3", "7")}, ""),
        ("count between 3 and 7", {"count": Limits("3", "7")}, ""),
        ("coverage = iced", {"coverage": Limits(words=("iced",))}, ""),
        ("coverage in (over, under)", {"coverage": Limits(words=("over", "under"))}, ""),
        ("count > 3", {}, "count > 3"),
        ("count >= 3 or slipped = yes", {}, "count >= 3 or slipped = 'yes'"),
        ("count >= 3 and not slipped = yes", {"count": Limits("3")}, "not slipped = 'yes'"),
        ("count >= 3 and count >= 5", {"count": Limits("3")}, "count >= 5"),
        ("separation_after_ft > separation_before_ft", {}, "separation_after_ft > separation_before_ft"),
    ],
)
def test_a_condition_as_fields_and_what_no_field_can_say(where, limits, more):
    form = form_of(Filters(where=where))
    assert dict(form.limits) == limits
    assert form.more == more


@pytest.mark.parametrize(
    "line",
    [
        "",
        "fault:any",
        "set:horns team:'Harbour Süd' period:4 state:confirmed count >= 3 and coverage in ('over', 'under')",
        "fault:crowded_paint count >= 3 and count <= 7.5 order:'count desc'",
        "action:drive since:2026-10-01 until:2026-10-31 gain_ft > 8 or off_screen = 'yes'",
    ],
)
def test_bar_to_form_to_bar_asks_for_the_same(line):
    filters = read_bar(line, SETTINGS)
    form = form_of(filters)
    given = {name: [str(one) for one in getattr(filters, name)] for name in ("actions", "sets", "faults", "teams")}
    given |= {name: [str(one) for one in getattr(filters, name)] for name in ("games", "periods", "states", "labels")}
    given |= {"since": [filters.since], "until": [filters.until], "order": [filters.order], "more": [form.more]}
    for name, asked in form.limits.items():
        given |= {f"from.{name}": [asked.low], f"to.{name}": [asked.high], f"word.{name}": list(asked.words)}
    again = read_bar(bar_text(filters_of(given)), SETTINGS)
    for field in (
        "actions",
        "sets",
        "faults",
        "games",
        "teams",
        "periods",
        "states",
        "labels",
        "since",
        "until",
        "order",
    ):
        assert getattr(again, field) == getattr(filters, field), field
    if filters.where.strip():
        assert read_condition(again.where) == read_condition(filters.where)


def test_a_word_with_quotes_and_a_decimal_comma():
    filters = filters_of({"word.team": ["O'Brien"], "from.gain_ft": ["8,5"], "from.length_ft": [" "]})
    assert filters.where == 'team = "O\'Brien" and gain_ft >= 8.5'


# ---- sets -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("definition", SETTINGS.set_library.definitions, ids=lambda one: one.name)
def test_every_set_of_the_library_has_its_drawings_and_sentences(definition):
    page = set_page(definition)
    numbers = [figure.number for section in page.sections for figure in section.figures]
    assert numbers == list(range(1, len(frames_of(definition)) + 1))
    assert len(page.sections) == 1 + len(definition.endings) + len(definition.counters)
    told = sum(len(section.sentences) for section in page.sections)
    assert told >= len(list(definition.phases()))
    assert "_" not in " ".join(sentence for section in page.sections for sentence in section.sentences)
    assert len(page.emphases) == len(definition.emphases)
    assert page.aloud.startswith(f"{definition.title}.")
    assert figure_svg(definition, 1).startswith("<svg")
    with pytest.raises(LibraryError, match="none of number 99"):
        figure_svg(definition, 99)


def test_an_unknown_set_names_those_there_are():
    with pytest.raises(LibraryError, match="horns"):
        set_named("horn", SETTINGS.set_library.definitions)


# ---- court ------------------------------------------------------------------------------------------


def test_floor_lines_stay_near_the_picture():
    lines = floor_lines(main_camera(), rule_book("fiba"))
    points = np.array([point for line in lines for point in line])
    assert len(lines) > 10
    assert points[:, 0].min() >= -0.25 * SIZE_PX[0] - 1
    assert points[:, 0].max() <= 1.25 * SIZE_PX[0] + 1


def test_landmarks_where_the_floor_has_them_fit_and_one_moved_does_not():
    book = rule_book("nba")
    seen = visible_landmarks(main_camera(), book)
    assert len(seen) >= 6
    tried = try_pins(seen, 3.0, SIZE_PX, tuple(RULE_BOOKS.values()), RegistrationSettings())
    assert tried.good
    assert tried.book == "nba"
    assert tried.miss_px is not None
    assert tried.miss_px < 1.0
    first, (x, y) = next(iter(seen.items()))
    worse = try_pins(seen | {first: (min(x + 150, 1279), y)}, 3.0, SIZE_PX, (book,), RegistrationSettings())
    assert not worse.good
    assert worse.lines
    assert worse.misses_px is not None
    assert max(worse.misses_px, key=lambda name: worse.misses_px[name]) == first


@pytest.mark.parametrize("count", [0, 1, 3])
def test_too_few_landmarks_say_how_many_are_wanted(count):
    seen = dict(list(visible_landmarks(main_camera(), rule_book("nba")).items())[:count])
    tried = try_pins(seen, 3.0, SIZE_PX, (rule_book("nba"),), RegistrationSettings())
    assert not tried.good
    assert str(4 - count) in tried.said
    assert tried.lines is None


@pytest.mark.parametrize("name", list(RULE_BOOKS))
def test_the_plan_holds_every_landmark(name):
    book = rule_book(name)
    plan = plan_of(book)
    assert set(plan.spots) == set(landmarks(book))
    for x, y in plan.spots.values():
        assert 0 <= x <= plan.width
        assert 0 <= y <= plan.height


# ---- comparison -------------------------------------------------------------------------------------

GAIN = Column("gain_ft", Sort.NUMBER, "ft", (), "ground gained")


def compared(one, other):
    settings = ReportSettings()
    return _compared(
        [GAIN], [(np.array(one, dtype=float), np.array(other, dtype=float))], ("Harbour", "Pier"), settings
    )


def test_sides_far_apart_differ_and_alike_ones_are_not_called_so():
    rng = np.random.default_rng(3)
    (apart,) = compared(rng.normal(20, 1, 30), rng.normal(10, 1, 30))
    assert apart.verdict is Verdict.DIFFERENT
    assert "Harbour higher" in apart.told
    assert apart.difference.low > 8
    (same,) = compared(rng.normal(10, 4, 12), rng.normal(10, 4, 12))
    assert same.verdict is Verdict.CANNOT_TELL
    assert same.chart is not None
    assert "Pier" in same.chart.alt


def test_counts_are_compared_by_their_means():
    count = Column("count", Sort.NUMBER, "", (), "others in the paint")
    rng = np.random.default_rng(5)
    one, other = rng.integers(5, 7, 60).astype(float), rng.integers(6, 8, 60).astype(float)
    (told,) = _compared([count], [(one, other)], ("Harbour", "Pier"), ReportSettings())
    assert told.middle_is == "Mean"
    assert told.middles[0].value == pytest.approx(one.mean())
    assert told.difference.value == pytest.approx(one.mean() - other.mean())
    assert told.difference.low < told.difference.value < told.difference.high < 0
    assert told.verdict is Verdict.DIFFERENT


def test_few_unknown_and_no_values():
    (few,) = compared([10, 11, np.nan], [12])
    assert few.verdict is Verdict.TOO_FEW
    assert "known 2 and 1 times" in few.told
    (one_sided,) = compared([10.0] * 9, [])
    assert one_sided.verdict is Verdict.TOO_FEW
    assert compared([np.nan], []) == ()


def test_what_cannot_be_compared_is_said():
    assert kind_named("fault:twins", SETTINGS).name == "twins"
    for text in ("", "twins", "fault:horns", "set:"):
        with pytest.raises(SearchError, match="nothing that can be compared"):
            kind_named(text, SETTINGS)


# ---- jobs -------------------------------------------------------------------------------------------


def ended(jobs, number):
    for _ in range(2000):
        job = jobs.job(number)
        if not job.going:
            return job
        threading.Event().wait(0.005)
    raise AssertionError("the job never ended")


def test_jobs_run_one_after_the_other_and_nothing_twice_at_once():
    jobs = Jobs()
    gate = threading.Event()

    def first(progress):
        progress("half of it", 0.5)
        gate.wait(5)
        return "Done well."

    def broken(_):
        raise LibraryError("The film is gone; put it back.")

    one = jobs.start("one", "a", first)
    again = jobs.start("one", "a", first)
    two = jobs.start("two", "b", broken)
    assert again.job == one.job
    assert jobs.job(two.job).standing is Standing.WAITING
    gate.set()
    assert ended(jobs, one.job).doing == "Done well."
    failed = ended(jobs, two.job)
    assert (failed.standing, failed.doing) == (Standing.FAILED, "The film is gone; put it back.")
    assert jobs.last("a").job == one.job
    assert jobs.last("c") is None
    assert jobs.start("one", "a", first).job not in (one.job, two.job)
    with pytest.raises(LibraryError, match="no job 99"):
        jobs.job(99)
    jobs.close()


def test_shuffling_counts_gives_what_shuffling_every_value_gives() -> None:
    """Drawing how many of each value a side gets is the same test as shuffling the values themselves."""
    from pipeline.review.compare_view import _shuffled_mean_p

    rng = np.random.default_rng(5)
    one, other = rng.poisson(2.0, 60).astype(float), rng.poisson(2.5, 45).astype(float)
    told = _shuffled_mean_p(one, other, 20_000, np.random.default_rng(1))
    both, apart = np.concatenate([one, other]), abs(one.mean() - other.mean())
    mixed = rng.permuted(np.broadcast_to(both, (20_000, len(both))), axis=1)
    slow = (np.abs(mixed[:, :60].mean(axis=1) - mixed[:, 60:].mean(axis=1)) >= apart - 1e-9).mean()
    assert told == pytest.approx(slow, abs=0.015)
