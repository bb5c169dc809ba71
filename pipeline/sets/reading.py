"""From the text of a set file to a definition."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

from lark import Lark, Token, Tree
from lark.exceptions import UnexpectedInput

from pipeline.actions.vocabulary import KIND, measure_names, trait_names
from pipeline.conditions import Condition, Names, Spot, folded, read_condition
from pipeline.conditions.pointing import nearest, pointed, unexpected, unknown_word
from pipeline.conditions.reading import UNITS, unit_of
from pipeline.court.places import PLACES
from pipeline.errors import LanguageError
from pipeline.sets.checking import Complaint, check_definition
from pipeline.sets.definition import (
    Action,
    Block,
    Counter,
    During,
    Edge,
    Emphasis,
    Frame,
    Join,
    Measured,
    Moment,
    Move,
    Need,
    Phase,
    Player,
    Range,
    SetDefinition,
    Side,
    Step,
    Timed,
    Window,
    Worded,
    Words,
    Zone,
)
from pipeline.sets.phrases import BY_FOLD, kind_names, roles_by_word

CALLED = {
    "NAME": "a name",
    "NUMBER": "a number",
    "TEXT": 'a text in "quotes"',
    "PREPOSITION": "who does it ('by', 'from', 'to', 'for', 'of' or 'off')",
    "WHERE": "'where'",
    "IDEALLY": "'ideally'",
    "UNIT": "a unit",
    "_SECONDS": "'s'",
    "_NL": "a new line",
    "_THE": "",
}
"""What the grammar's patterns are called in an error."""

_SIDES = {
    "on_right": Side.RIGHT,
    "on_left": Side.LEFT,
    "in_middle": Side.MIDDLE,
    "on_ball_side": Side.BALL,
    "on_weak_side": Side.WEAK,
    "on_same_side": Side.SAME,
    "on_opposite_side": Side.OPPOSITE,
}
_EDGES = {"moment": Edge.MOMENT, "start_moment": Edge.START, "end_moment": Edge.END}

Node = Tree | Token


def read_set(text: str, source: str = "the set") -> SetDefinition:
    """Read a set file.

    Parameters
    ----------
    text : str
        All of it.
    source : str
        What to call it in errors, e.g. its path.

    Raises
    ------
    LanguageError
        One, the first: with line, column, caret, what was expected and the nearest name that exists.
    """
    parser = _parser()
    try:
        tree = parser.parse(text if text.endswith("\n") else text + "\n")
    except UnexpectedInput as error:
        raise unexpected(error, parser, text, source, CALLED) from None
    definition = _Reader(text, source).definition(tree)
    try:
        check_definition(definition)
    except Complaint as complaint:
        raise pointed(complaint.problem, text, complaint.at, source, complaint.width) from None
    return definition


@lru_cache(maxsize=1)
def _parser() -> Lark:
    return Lark.open("sets.lark", rel_to=__file__, parser="lalr", propagate_positions=True, maybe_placeholders=False)


class _Reader:
    """Walks the tree of one file; every method reads the rule of its name."""

    def __init__(self, text: str, source: str) -> None:
        self._text = text
        self._source = source

    # ---- errors and words ------------------------------------------------------------------

    def _wrong(self, problem: str, node: Node, width: int | None = None) -> LanguageError:
        at = _spot(node)
        if width is None:
            width = len(node) if isinstance(node, Token) else max(1, (node.meta.end_column or 0) - at.column)
        return pointed(problem, self._text, at, self._source, width)

    def _once(self, seen: set[str], what: str, node: Node) -> None:
        if what in seen:
            raise self._wrong(f"'{what}' is said twice; once is enough.", node)
        seen.add(what)

    # ---- the file ----------------------------------------------------------------------------

    def definition(self, tree: Tree) -> SetDefinition:
        head, players, *parts = _trees(tree)
        name_token = _token(head, "NAME")
        titles = _texts(head)
        seen: set[str] = set()
        says = source = ""
        longest_s: float | None = None
        must_end = False
        yields_to: tuple[str, ...] = ()
        for line in _trees(head):
            self._once(seen, line.data.replace("_", " "), line)
            match line.data:
                case "says":
                    says = _texts(line)[0]
                case "source":
                    source = _texts(line)[0]
                case "lasts":
                    longest_s = self._seconds(_trees(line)[0])
                case "must_end":
                    must_end = True
                case "yields":
                    yields_to = tuple(folded(token) for token in _tokens(line))
        name = folded(name_token)
        if not source:
            raise self._wrong(
                f"set '{name}' has no source; add a line such as: source \"common practice, no source\".", name_token
            )
        main, endings, counters, emphases = self._parts(parts)
        return SetDefinition(
            name=name,
            title=titles[0] if titles else name.replace("_", " ").capitalize(),
            says=says,
            source=source,
            longest_s=longest_s,
            must_end=must_end,
            yields_to=yields_to,
            players=tuple(self._player(one) for one in _trees(players)),
            main=main,
            endings=endings,
            counters=counters,
            emphases=emphases,
        )

    def _parts(
        self, parts: Sequence[Tree]
    ) -> tuple[Block, tuple[Block, ...], tuple[Counter, ...], tuple[Emphasis, ...]]:
        """Sort the file's parts under the heads that they stand below."""
        steps: list[Step] = []
        blocks: list[tuple[Tree | None, list[Step]]] = [(None, steps)]
        emphases = []
        for part in parts:
            match part.data:
                case "ending" | "counter_instead" | "counter_after":
                    steps = []
                    blocks.append((part, steps))
                case "emphasis":
                    emphases.append(self._emphasis(part))
                case "phase":
                    steps.append(self._phase(part))
                case "also":
                    token, area = part.children
                    assert isinstance(area, Tree)
                    steps.append(Move(folded(str(token)), self._area(area), _spot(token)))
                case "frame":
                    steps.append(Frame(_texts(part)[0]))
        endings, counters = [], []
        for head, inside in blocks[1:]:
            assert head is not None
            name, *others = [folded(token) for token in _tokens(head)]
            spots = tuple(_spot(token) for token in _tokens(head)[1:])
            block = Block(name, tuple(inside), _spot(_tokens(head)[0]))
            if head.data == "ending":
                endings.append(block)
                continue
            join = Join.INSTEAD_OF if head.data == "counter_instead" else Join.AFTER
            rest = any(one.data == "rest" for one in _trees(head))
            counters.append(Counter(block, join, tuple(others), rest, spots))
        return Block("", tuple(blocks[0][1])), tuple(endings), tuple(counters), tuple(emphases)

    def _player(self, tree: Tree) -> Player:
        number, name = _tokens(tree)[:2]
        if number not in ("1", "2", "3", "4", "5"):
            raise self._wrong(f"players are numbered 1 to 5, not {number}.", number)
        starts, usually, ball = None, False, False
        for part in _trees(tree):
            if part.data == "ball":
                ball = True
            else:
                starts, usually = self._zone(part), part.data == "usually_starts"
        return Player(int(number), folded(name), starts, usually, ball, _spot(name))

    # ---- phases ------------------------------------------------------------------------------

    def _phase(self, tree: Tree) -> Phase:
        need, zones, times = Need.REQUIRED, dict[str, Zone](), list[Window | During]()
        where_token = ideally_token = None
        any_time, by_way = False, None
        actions: list[Action] = []
        seen: set[str] = set()
        for part in _trees(tree):
            data = str(part.data)
            if data in ("where", "ideally", "place_at_start", "place_at_end", "place_of_it", "by_way", "any_time"):
                self._once(seen, CALLED_LINES[data], part)
            match data:
                case "optional":
                    need = Need.OPTIONAL
                case "forbidden":
                    need = Need.FORBIDDEN
                case "action":
                    actions.append(self._action(part))
                case "alternative":
                    actions.append(self._action(_trees(part)[0]))
                case "where":
                    where_token = _tokens(part)[0]
                case "ideally":
                    ideally_token = _tokens(part)[0]
                case "place_at_start" | "place_at_end" | "place_of_it":
                    zones[data] = self._zone(part)
                case "by_way":
                    by_way = self._area(_trees(part)[0])
                case "any_time":
                    any_time = True
                case _:
                    times.append(self._time(part))
        shared = _shared_names([action.kind for action in actions])
        return Phase(
            name=folded(_tokens(tree)[0]),
            need=need,
            actions=tuple(actions),
            where=self._condition(where_token, shared),
            ideally=self._condition(ideally_token, shared),
            starts=zones.get("place_at_start"),
            ends=zones.get("place_at_end"),
            here=zones.get("place_of_it"),
            times=tuple(times),
            any_time=any_time,
            by_way=by_way,
            at=_spot(_tokens(tree)[0]),
        )

    def _action(self, tree: Tree) -> Action:
        words = _trees(tree)[0]
        said = " ".join(_tokens(words))
        phrase = BY_FOLD.get(folded(said))
        if phrase is None:
            known = [*BY_FOLD]
            close = nearest(said, known)
            spelt = [BY_FOLD[close].words] if close else sorted({p.words for p in BY_FOLD.values()})
            problem = (
                unknown_word(said, "action", spelt)
                if not close
                else f"'{said}' is no action; did you mean '{spelt[0]}'?"
            )
            raise self._wrong(problem, words, len(said))
        by_word = roles_by_word(phrase.kind)
        roles: list[tuple[str, str, Spot]] = []
        for who in _trees(tree)[1:]:
            word, player = _tokens(who)
            role = by_word.get(word.lower())
            if role is None:
                usual = " or ".join(f"'{one}'" for one in by_word)
                raise self._wrong(f"'{said}' takes {usual}, not '{word}'.", word)
            if role in [one for one, _, _ in roles]:
                raise self._wrong(f"'{word}' is said twice.", word)
            roles.append((role, folded(player), _spot(player)))
        where = next((t for t in _tokens(tree) if t.type == "WHERE"), None)
        order = list(by_word.values())
        roles.sort(key=lambda one: order.index(one[0]))
        return Action(
            phrase=phrase.words,
            kind=phrase.kind,
            traits=phrase.traits,
            roles=tuple((role, player) for role, player, _ in roles),
            where=self._condition(where, kind_names(phrase.kind)),
            at=_spot(words),
            spots=tuple(at for _, _, at in roles),
        )

    def _condition(self, token: Token | None, names: Names) -> Condition | None:
        if token is None:
            return None
        word = "where" if token.type == "WHERE" else "ideally"
        inside = token[len(word) :]
        spaces = len(inside) - len(inside.lstrip())
        at = Spot(token.line or 1, (token.column or 1) + len(word) + spaces)
        return read_condition(inside.strip(), names, source=self._source, within=self._text, at=at)

    def _time(self, tree: Tree) -> Window | During:
        if tree.data == "during":
            token = _tokens(tree)[0]
            return During(folded(token), _spot(token))
        moment = self._moment(_trees(tree)[-1])
        numbers = [self._seconds(one) for one in _trees(tree)[:-1]]
        match tree.data:
            case "within_after":
                return Window(0.0, numbers[0], moment)
            case "within_before":
                return Window(-numbers[0], 0.0, moment)
            case "within_of":
                return Window(-numbers[0], numbers[0], moment)
            case "from_to_after":
                first = float(_tokens(tree)[0])
                if first > numbers[0]:
                    raise self._wrong(f"{first:g} s is later than {numbers[0]:g} s.", _tokens(tree)[0])
                return Window(first, numbers[0], moment)
            case "from_before_to_after":
                return Window(-numbers[0], numbers[1], moment)
            case "after":
                return Window(0.0, math.inf, moment)
        return Window(-math.inf, 0.0, moment)

    def _moment(self, tree: Tree) -> Moment:
        token = _tokens(tree)[0]
        return Moment(folded(token), _EDGES[str(tree.data)], _spot(token))

    def _seconds(self, tree: Tree) -> float:
        return float(_tokens(tree)[0])

    # ---- places ------------------------------------------------------------------------------

    def _zone(self, holder: Tree) -> Zone:
        inside = _trees(holder)[0]
        if inside.data == "side_area":
            side, than = self._side(_trees(inside)[0])
            return Zone((), side, than, _spot(inside))
        return self._area(inside)

    def _area(self, tree: Tree) -> Zone:
        named: list[str] = []
        side: Side | None = None
        than: str | None = None
        for part in _trees(tree):
            if part.data != "place":
                side, than = self._side(part)
                continue
            said = " ".join(_tokens(part))
            if folded(said) not in PLACES:
                known = [place.replace("_", " ") for place in PLACES]
                raise self._wrong(unknown_word(said, "place", known), part, len(said))
            named.append(folded(said))
        return Zone(tuple(named), side, than, _spot(tree))

    def _side(self, tree: Tree) -> tuple[Side, str | None]:
        than = _tokens(tree)
        return _SIDES[str(tree.data)], folded(than[0]) if than else None

    # ---- emphasis ----------------------------------------------------------------------------

    def _emphasis(self, tree: Tree) -> Emphasis:
        name = _tokens(tree)[0]
        titles = _texts(tree)
        subject: Measured | Timed | Worded | None = None
        good: list[Range | Words] = []
        poor: list[Range | Words] = []
        says = {"good": "", "poor": ""}
        ranges: list[tuple[list[Range | Words], Tree]] = []
        for line in _trees(tree):
            match line.data:
                case "measured" | "timed" | "worded":
                    if subject is not None:
                        raise self._wrong("a point of emphasis looks at one thing; make two of them.", line)
                    subject = self._subject(line)
                case "good":
                    ranges.append((good, _trees(line)[0]))
                case "poor":
                    ranges.append((poor, _trees(line)[0]))
                case "say":
                    says = {"good": _texts(line)[0], "poor": _texts(line)[0]}
                case "say_good":
                    says["good"] = _texts(line)[0]
                case "say_poor":
                    says["poor"] = _texts(line)[0]
        if subject is None:
            raise self._wrong(
                f"'{name}' looks at nothing; add 'measure … of PHASE', 'word … of PHASE' or 'time from … to …'.", name
            )
        for to, one in ranges:
            to.append(self._range(one, subject))
        return Emphasis(
            name=folded(name),
            title=titles[0] if titles else folded(name).replace("_", " ").capitalize(),
            subject=subject,
            good=tuple(good),
            poor=tuple(poor),
            say_good=says["good"],
            say_poor=says["poor"],
            at=_spot(name),
        )

    def _subject(self, line: Tree) -> Measured | Timed | Worded:
        if line.data == "timed":
            first, second = (self._moment(one) for one in _trees(line))
            return Timed(first, second)
        what, phase = _tokens(line)
        is_measure = line.data == "measured"
        known = {n for kind in KIND for n in (measure_names(kind) if is_measure else trait_names(kind))}
        if folded(what) not in known:
            raise self._wrong(unknown_word(what, "measure" if is_measure else "word of an action", sorted(known)), what)
        return (Measured if is_measure else Worded)(folded(what), folded(phase), _spot(phase))

    def _range(self, tree: Tree, subject: Measured | Timed | Worded) -> Range | Words:
        if tree.data == "one_of":
            if not isinstance(subject, Worded):
                raise self._wrong("a number is good or poor 'from', 'up to', 'above' or 'below' a number.", tree)
            return Words(tuple(folded(token.strip('"')) for token in _tokens(tree)), _spot(tree))
        if isinstance(subject, Worded):
            raise self._wrong("a word is good or poor when it 'is' one of its values.", tree)
        unit = "s" if isinstance(subject, Timed) else unit_of(subject.measure)
        numbers = [self._quantity(one, unit) for one in _trees(tree)]
        match tree.data:
            case "below":
                return Range(-math.inf, numbers[0], high_included=False)
            case "above":
                return Range(numbers[0], math.inf, low_included=False)
            case "up_to":
                return Range(-math.inf, numbers[0])
            case "from_on":
                return Range(numbers[0], math.inf)
        if numbers[0] > numbers[1]:
            raise self._wrong(f"{numbers[0]:g} is more than {numbers[1]:g}; give the smaller one first.", tree)
        return Range(numbers[0], numbers[1])

    def _quantity(self, tree: Tree, unit: str) -> float:
        number, *units = _tokens(tree)
        for one in units:
            if UNITS.get(one.lower(), "s") != unit:
                raise self._wrong(f"this is measured in {unit.replace('_', '/') or 'no unit'}, not in {one}.", one)
        return float(number)


CALLED_LINES = {
    "where": "where",
    "ideally": "ideally",
    "place_at_start": "starts",
    "place_at_end": "ends",
    "place_of_it": "happens",
    "by_way": "by way of",
    "any_time": "at any time",
}
"""First words of the lines that a phase has once at most."""


def _shared_names(kinds: Sequence[str]) -> Names:
    """What a condition on all alternatives of a phase may speak of."""
    every = [kind_names(kind) for kind in kinds]
    numbers = frozenset.intersection(*(one.numbers for one in every))
    words = {}
    for name in set.intersection(*(set(one.words) for one in every)):
        words[name] = tuple(dict.fromkeys(value for one in every for value in one.words[name]))
    return Names(numbers, words)


def _spot(node: Node) -> Spot:
    if isinstance(node, Token):
        return Spot(node.line or 1, node.column or 1)
    empty = node.meta.empty
    return Spot(1, 1) if empty else Spot(node.meta.line, node.meta.column)


def _trees(tree: Tree) -> list[Tree]:
    return [child for child in tree.children if isinstance(child, Tree)]


def _tokens(tree: Tree) -> list[Token]:
    return [child for child in tree.children if isinstance(child, Token)]


def _token(tree: Tree, kind: str) -> Token:
    return next(token for token in _tokens(tree) if token.type == kind)


def _texts(tree: Tree) -> list[str]:
    return [token[1:-1] for token in _tokens(tree) if token.type == "TEXT"]
