"""From the text of a set file to a definition."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

from lark import Lark, Token, Tree
from lark.exceptions import UnexpectedInput

from pipeline.conditions import Condition, Names, Spot, folded, read_condition
from pipeline.conditions.pointing import nearest, pointed, unexpected, unknown_word
from pipeline.court.places import PLACES
from pipeline.sets.checking import Complaint, check_definition
from pipeline.sets.definition import (
    Action,
    Block,
    Counter,
    During,
    Emphasis,
    Frame,
    Join,
    Move,
    Need,
    Phase,
    Player,
    SetDefinition,
    Side,
    Step,
    Window,
    Zone,
)
from pipeline.sets.emphasis_reading import EmphasisReader
from pipeline.sets.phrases import BY_FOLD, kind_names, roles_by_word
from pipeline.sets.trees import TreeReader, spot_of, texts_of, token_of, tokens_of, trees_of

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


class _Reader(TreeReader):
    """Walks the tree of one file; every method reads the rule of its name."""

    # ---- the file ----------------------------------------------------------------------------

    def definition(self, tree: Tree) -> SetDefinition:
        head, players, *parts = trees_of(tree)
        name_token = token_of(head, "NAME")
        titles = texts_of(head)
        seen: set[str] = set()
        says = source = ""
        longest_s: float | None = None
        must_end = False
        yields_to: tuple[str, ...] = ()
        for line in trees_of(head):
            self._once(seen, line.data.replace("_", " "), line)
            match line.data:
                case "says":
                    says = texts_of(line)[0]
                case "source":
                    source = texts_of(line)[0]
                case "lasts":
                    longest_s = self._seconds(trees_of(line)[0])
                case "must_end":
                    must_end = True
                case "yields":
                    yields_to = tuple(folded(token) for token in tokens_of(line))
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
            players=tuple(self._player(one) for one in trees_of(players)),
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
                    emphases.append(EmphasisReader(self._text, self._source).emphasis(part))
                case "phase":
                    steps.append(self._phase(part))
                case "also":
                    token, area = part.children
                    assert isinstance(area, Tree)
                    steps.append(Move(folded(str(token)), self._area(area), spot_of(token)))
                case "frame":
                    steps.append(Frame(texts_of(part)[0]))
        endings, counters = [], []
        for head, inside in blocks[1:]:
            assert head is not None
            name, *others = [folded(token) for token in tokens_of(head)]
            spots = tuple(spot_of(token) for token in tokens_of(head)[1:])
            block = Block(name, tuple(inside), spot_of(tokens_of(head)[0]))
            if head.data == "ending":
                endings.append(block)
                continue
            join = Join.INSTEAD_OF if head.data == "counter_instead" else Join.AFTER
            rest = any(one.data == "rest" for one in trees_of(head))
            counters.append(Counter(block, join, tuple(others), rest, spots))
        return Block("", tuple(blocks[0][1])), tuple(endings), tuple(counters), tuple(emphases)

    def _player(self, tree: Tree) -> Player:
        number, name = tokens_of(tree)[:2]
        if number not in ("1", "2", "3", "4", "5"):
            raise self._wrong(f"players are numbered 1 to 5, not {number}.", number)
        starts, usually, ball = None, False, False
        for part in trees_of(tree):
            if part.data == "ball":
                ball = True
            else:
                starts, usually = self._zone(part), part.data == "usually_starts"
        return Player(int(number), folded(name), starts, usually, ball, spot_of(name))

    # ---- phases ------------------------------------------------------------------------------

    def _phase(self, tree: Tree) -> Phase:
        need, zones, times = Need.REQUIRED, dict[str, Zone](), list[Window | During]()
        where_token = ideally_token = None
        any_time, by_way = False, None
        actions: list[Action] = []
        seen: set[str] = set()
        for part in trees_of(tree):
            data = str(part.data)
            if data in ("where", "ideally", "place_at_start", "place_at_end", "place_of_it", "by_way", "any_time"):
                self._once(seen, CALLED_LINES[data], part)
            match data:
                case "usual":
                    need = Need.USUAL
                case "optional":
                    need = Need.OPTIONAL
                case "forbidden":
                    need = Need.FORBIDDEN
                case "action":
                    actions.append(self._action(part))
                case "alternative":
                    actions.append(self._action(trees_of(part)[0]))
                case "where":
                    where_token = tokens_of(part)[0]
                case "ideally":
                    ideally_token = tokens_of(part)[0]
                case "place_at_start" | "place_at_end" | "place_of_it":
                    zones[data] = self._zone(part)
                case "by_way":
                    by_way = self._area(trees_of(part)[0])
                case "any_time":
                    any_time = True
                case _:
                    times.append(self._time(part))
        shared = _shared_names([action.kind for action in actions])
        return Phase(
            name=folded(tokens_of(tree)[0]),
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
            at=spot_of(tokens_of(tree)[0]),
        )

    def _action(self, tree: Tree) -> Action:
        words = trees_of(tree)[0]
        said = " ".join(tokens_of(words))
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
        for who in trees_of(tree)[1:]:
            word, player = tokens_of(who)
            role = by_word.get(word.lower())
            if role is None:
                usual = " or ".join(f"'{one}'" for one in by_word)
                raise self._wrong(f"'{said}' takes {usual}, not '{word}'.", word)
            if role in [one for one, _, _ in roles]:
                raise self._wrong(f"'{word}' is said twice.", word)
            roles.append((role, folded(player), spot_of(player)))
        where = next((t for t in tokens_of(tree) if t.type == "WHERE"), None)
        order = list(by_word.values())
        roles.sort(key=lambda one: order.index(one[0]))
        return Action(
            phrase=phrase.words,
            kind=phrase.kind,
            traits=phrase.traits,
            roles=tuple((role, player) for role, player, _ in roles),
            where=self._condition(where, kind_names(phrase.kind)),
            at=spot_of(words),
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
            token = tokens_of(tree)[0]
            return During(folded(token), spot_of(token))
        moment = self._moment(trees_of(tree)[-1])
        numbers = [self._seconds(one) for one in trees_of(tree)[:-1]]
        match tree.data:
            case "within_after":
                return Window(0.0, numbers[0], moment)
            case "within_before":
                return Window(-numbers[0], 0.0, moment)
            case "within_of":
                return Window(-numbers[0], numbers[0], moment)
            case "from_to_after":
                first = self._number(tokens_of(tree)[0])
                if first > numbers[0]:
                    raise self._wrong(f"{first:g} s is later than {numbers[0]:g} s.", tokens_of(tree)[0])
                return Window(first, numbers[0], moment)
            case "from_before_to_after":
                return Window(-numbers[0], numbers[1], moment)
            case "after":
                return Window(0.0, math.inf, moment)
        return Window(-math.inf, 0.0, moment)

    def _seconds(self, tree: Tree) -> float:
        return self._number(tokens_of(tree)[0])

    # ---- places ------------------------------------------------------------------------------

    def _zone(self, holder: Tree) -> Zone:
        inside = trees_of(holder)[0]
        if inside.data == "side_area":
            side, than = self._side(trees_of(inside)[0])
            return Zone((), side, than, spot_of(inside))
        return self._area(inside)

    def _area(self, tree: Tree) -> Zone:
        named: list[str] = []
        side: Side | None = None
        than: str | None = None
        for part in trees_of(tree):
            if part.data != "place":
                side, than = self._side(part)
                continue
            said = " ".join(tokens_of(part))
            if folded(said) not in PLACES:
                known = [place.replace("_", " ") for place in PLACES]
                raise self._wrong(unknown_word(said, "place", known), part, len(said))
            named.append(folded(said))
        return Zone(tuple(named), side, than, spot_of(tree))

    def _side(self, tree: Tree) -> tuple[Side, str | None]:
        than = tokens_of(tree)
        return _SIDES[str(tree.data)], folded(than[0]) if than else None


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
