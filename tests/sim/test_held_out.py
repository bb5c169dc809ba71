"""The held-out films cover what they are for, and nothing else uses their seeds."""

from collections import Counter

from pipeline.court.rule_books import RULE_BOOKS
from pipeline.sim.drill import film_cards
from pipeline.sim.held_out import DEVELOPMENT, HELD_OUT, RESERVED_SEEDS
from pipeline.sim.make import Plan, look_of, plan_film
from pipeline.sim.plays.execution import Quality
from pipeline.sim.plays.scripts import FAULT_SCRIPTS, SET_SCRIPTS
from pipeline.sim.samples import SAMPLES

LONGEST_S = 16.5


def test_every_rule_book_and_eight_looks_at_least() -> None:
    looks = {look_of(request).seed for request in HELD_OUT.values()}
    assert len(looks) >= 8
    assert {request.rule_book for request in HELD_OUT.values()} == set(RULE_BOOKS)


def test_seeds_are_reserved_and_no_sample_uses_them() -> None:
    for name, request in HELD_OUT.items():
        assert request.seed in RESERVED_SEEDS
        assert request.look_seed in RESERVED_SEEDS
        assert name.endswith(str(request.seed))
    for request in SAMPLES.values():
        assert request.seed not in RESERVED_SEEDS
        assert request.look_seed not in RESERVED_SEEDS


def test_twenty_minutes_in_all() -> None:
    games = [request for request in HELD_OUT.values() if request.plan is Plan.GAME]
    excerpts = [request for request in HELD_OUT.values() if request.plan is Plan.EXCERPT]
    drills = [request for request in HELD_OUT.values() if request.plan is Plan.DRILL]
    assert len(games) + len(excerpts) + len(drills) == len(HELD_OUT)
    seconds = sum(plan_film(request, look_of(request)).seconds for request in excerpts)
    assert seconds + 60 * sum(request.minutes for request in games) >= 20 * 60


def test_the_drills_show_every_set_and_every_fault() -> None:
    drills = [request for request in HELD_OUT.values() if request.plan is Plan.DRILL]
    parts = Counter(request.part for request in drills)
    assert set(parts) == {(k, 5) for k in range(5)}, "five drills hold every card once"
    assert len(set(parts.values())) == 1, "each part as often as the others"
    shown: set[str] = set()
    near = 0
    for request in drills:
        count = int(request.minutes * 60 / LONGEST_S)
        dealt = film_cards()[request.part[0] :: request.part[1]][:count]
        shown |= {script.name for script, quality, _ in dealt if quality is not Quality.NEAR_MISS}
        near += sum(quality is Quality.NEAR_MISS for _, quality, _ in dealt)
    assert {script.name for script in (*SET_SCRIPTS, *FAULT_SCRIPTS)} <= shown
    assert near >= 5


def test_development_films_use_no_reserved_seed() -> None:
    assert all(request.seed not in RESERVED_SEEDS for request in DEVELOPMENT.values())
