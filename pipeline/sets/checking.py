"""What a well-written set must also be: names that exist and agree, an order that can be kept."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from pipeline.actions.vocabulary import KIND, measure_names, trait_names
from pipeline.conditions import Spot
from pipeline.conditions.pointing import unknown_word
from pipeline.sets.definition import (
    AT_START,
    SOMEONE,
    Action,
    Block,
    Emphasis,
    Join,
    Measured,
    Moment,
    Move,
    Need,
    Phase,
    Range,
    SetDefinition,
    Timed,
    Window,
    Worded,
    Words,
    Zone,
)
from pipeline.sets.ways import lines

RESERVED = frozenset({SOMEONE, AT_START, "end", "the"})
"""Words that name neither a player nor a phase."""


class Complaint(Exception):
    """What is wrong with a definition, and where; :mod:`reading` makes an error that points of it."""

    def __init__(self, problem: str, at: Spot, width: int = 1) -> None:
        super().__init__(problem)
        self.problem = problem
        self.at = at
        self.width = width


def check_definition(definition: SetDefinition) -> None:
    """Check a definition that was read.

    Raises
    ------
    Complaint
        The first thing that is wrong.
    """
    _players(definition)
    if not any(phase.need is Need.REQUIRED for phase in definition.main.phases):
        first = definition.players[0].at
        raise Complaint("a set needs at least one phase that must be there.", Spot(first.line, 1), 1)
    names = [block.name for block in definition.endings] + [c.block.name for c in definition.counters]
    spots = [block.at for block in definition.endings] + [c.block.at for c in definition.counters]
    _unique(names, spots, "ending or counter")
    _unique([e.name for e in definition.emphases], [e.at for e in definition.emphases], "point of emphasis")
    main = {phase.name for phase in definition.main.phases}
    for block in definition.blocks():
        _block(definition, block, main)
    for counter in definition.counters:
        for name, at in zip(counter.phases, counter.spots, strict=True):
            if name not in main:
                raise Complaint(unknown_word(name, "phase of the main line", sorted(main)), at, len(name))
        if counter.join is Join.AFTER and len(counter.phases) != 1:
            raise Complaint("a counter comes in after one phase.", counter.block.at)
    for line in lines(definition):
        for ending in (None, *line.endings):
            phases = (*line.phases, *(ending.phases if ending else ()))
            for count, phase in enumerate(phases):
                if phase.name in [other.name for other in phases[:count]]:
                    problem = f"there are two phases '{phase.name}' on one way through the set; rename one."
                    raise Complaint(problem, phase.at, len(phase.name))
    for emphasis in definition.emphases:
        _emphasis(definition, emphasis)


def _players(definition: SetDefinition) -> None:
    players = definition.players
    _unique([p.name for p in players], [p.at for p in players], "player")
    for count, player in enumerate(players):
        if player.name in RESERVED:
            raise Complaint(f"a player cannot be called '{player.name}'.", player.at, len(player.name))
        if player.number in [other.number for other in players[:count]]:
            raise Complaint(f"there are two players with the number {player.number}.", player.at, len(player.name))
        if player.starts is not None and player.starts.than not in (None, AT_START):
            raise Complaint("where a player starts cannot depend on a phase.", player.starts.at)
    with_ball = [player for player in players if player.with_ball]
    if len(with_ball) > 1:
        raise Complaint("only one player starts with the ball.", with_ball[1].at, len(with_ball[1].name))


def _block(definition: SetDefinition, block: Block, main: set[str]) -> None:
    phases = block.phases
    _unique([p.name for p in phases], [p.at for p in phases], "phase")
    if block is not definition.main and not any(phase.need is Need.REQUIRED for phase in phases):
        raise Complaint(f"'{block.name}' has no phase that must be there.", block.at, len(block.name))
    players = [player.name for player in definition.players]
    visible = main | {phase.name for phase in phases}
    for step in block.steps:
        if isinstance(step, Move):
            if step.player not in players:
                raise Complaint(unknown_word(step.player, "player", players), step.at, len(step.player))
            _zone(step.to, visible)
        elif isinstance(step, Phase):
            if step.name in RESERVED:
                raise Complaint(f"a phase cannot be called '{step.name}'.", step.at, len(step.name))
            _phase(step, players, visible)


def _phase(phase: Phase, players: Sequence[str], visible: set[str]) -> None:
    for action in phase.actions:
        for (_, player), at in zip(action.roles, action.spots, strict=True):
            if player not in (*players, SOMEONE):
                raise Complaint(unknown_word(player, "player", players), at, len(player))
        named = [player for _, player in action.roles if player != SOMEONE]
        if len(set(named)) < len(named):
            raise Complaint(f"one player cannot be both in '{action.phrase}'.", action.at, len(action.phrase))
        if not action.roles:
            raise Complaint(f"'{action.phrase}' does not say who.", action.at, len(action.phrase))
    for zone in (phase.starts, phase.ends, phase.here, phase.by_way):
        if zone is not None:
            _zone(zone, visible)
    if phase.any_time and phase.times:
        raise Complaint(f"'{phase.name}' is at any time and has a time; take one away.", phase.at, len(phase.name))
    for time in phase.times:
        name, at = (time.anchor.phase, time.anchor.at) if isinstance(time, Window) else (time.phase, time.at)
        if name == phase.name:
            raise Complaint(f"'{name}' cannot be timed by itself.", at, len(name))
        _known_phase(name, at, visible)


def _zone(zone: Zone, visible: set[str]) -> None:
    if zone.than is not None and zone.than != AT_START:
        _known_phase(zone.than, zone.at, visible)


def _known_phase(name: str, at: Spot, visible: Iterable[str]) -> None:
    if name not in visible:
        raise Complaint(unknown_word(name, "phase here", sorted(visible)), at, len(name))


def _emphasis(definition: SetDefinition, emphasis: Emphasis) -> None:
    phases: dict[str, list[Phase]] = {}
    for phase in definition.phases():
        if phase.need is not Need.FORBIDDEN:
            phases.setdefault(phase.name, []).append(phase)
    subject = emphasis.subject
    asked: tuple[Moment | Measured | Worded, ...] = (
        (subject.first, subject.second) if isinstance(subject, Timed) else (subject,)
    )
    for one in asked:
        if one.phase not in phases:
            raise Complaint(unknown_word(one.phase, "phase", sorted(phases)), one.at, len(one.phase))
    if not isinstance(subject, Timed):
        _kept(subject, [a for phase in phases[subject.phase] for a in phase.actions], emphasis)
    for words in (*emphasis.good, *emphasis.poor):
        if isinstance(words, Words) and isinstance(subject, Worded):
            _values(words, subject)
    for good in emphasis.good:
        for poor in emphasis.poor:
            both = isinstance(good, Range) and isinstance(poor, Range) and good.meets(poor)
            if both or (isinstance(good, Words) and isinstance(poor, Words) and set(good.words) & set(poor.words)):
                raise Complaint(
                    f"'{emphasis.name}' calls the same values good and poor.", emphasis.at, len(emphasis.name)
                )
    if not emphasis.good and not emphasis.poor:
        raise Complaint(f"'{emphasis.name}' says neither what is good nor what is poor.", emphasis.at)


def _kept(subject: Measured | Worded, actions: Sequence[Action], emphasis: Emphasis) -> None:
    """At least one alternative of the phase keeps what is looked at."""
    known = {
        name
        for action in actions
        for name in (measure_names(action.kind) if isinstance(subject, Measured) else trait_names(action.kind))
    }
    name = subject.measure if isinstance(subject, Measured) else subject.trait
    if name not in known:
        what = f"measure of '{subject.phase}'" if isinstance(subject, Measured) else f"word of '{subject.phase}'"
        raise Complaint(unknown_word(name, what, sorted(known)), emphasis.at, len(emphasis.name))


def _values(words: Words, subject: Worded) -> None:
    allowed = {
        value
        for kind in KIND.values()
        for trait in kind.traits
        if trait.name == subject.trait
        for value in trait.values
    }
    for word in words.words:
        if word not in allowed:
            problem = unknown_word(word, f"value of '{subject.trait}'", sorted(allowed))
            raise Complaint(problem, words.at, len(word))


def _unique(names: Sequence[str], spots: Sequence[Spot], what: str) -> None:
    for count, name in enumerate(names):
        if name in names[:count]:
            raise Complaint(
                f"there are two of the {what} '{name}'; give them different names.", spots[count], len(name)
            )
