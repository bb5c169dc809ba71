"""The held-out films cover what they are for, and nothing else uses their seeds."""

from pipeline.court.rule_books import RULE_BOOKS
from pipeline.sim.held_out import HELD_OUT, RESERVED_SEEDS
from pipeline.sim.make import Plan, look_of, plan_film
from pipeline.sim.samples import SAMPLES


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
    assert len(games) + len(excerpts) == len(HELD_OUT)
    seconds = sum(plan_film(request, look_of(request)).seconds for request in excerpts)
    assert seconds + 60 * sum(request.minutes for request in games) >= 20 * 60
