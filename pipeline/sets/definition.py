"""A set as a set file describes it: players, phases, endings, counters, points of emphasis.

Sides are as the file draws them: v is positive on the right. Where something stands in the file (``at``) never counts
when two definitions are compared.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import Enum, StrEnum

from pipeline.conditions import Condition, Spot
from pipeline.conditions.nodes import NOWHERE

SOMEONE = "someone"
"""In the place of a player: any attacker, not bound."""

AT_START = "start"
"""In the place of a phase: the ball as the set starts."""


class Side(Enum):
    """Where across the floor something is, in the words of a set file."""

    RIGHT = "on the right"
    LEFT = "on the left"
    MIDDLE = "in the middle"
    BALL = "on the ball side"
    WEAK = "on the weak side"
    SAME = "on the same side as"
    OPPOSITE = "on the opposite side from"


@dataclass(frozen=True, slots=True)
class Zone:
    """Named places, a side, or both.

    Attributes
    ----------
    places : tuple of str
        Names of :data:`pipeline.court.places.PLACES`, any of which will do; empty for anywhere.
    side : Side or None
    than : str or None
        The phase that ``SAME`` and ``OPPOSITE`` refer to, or :data:`AT_START`.
    """

    places: tuple[str, ...]
    side: Side | None = None
    than: str | None = None
    at: Spot = field(default=NOWHERE, compare=False)


class Edge(Enum):
    """Which time of a phase is meant."""

    MOMENT = ""
    START = "start of "
    END = "end of "


@dataclass(frozen=True, slots=True)
class Moment:
    """A time of a phase."""

    phase: str
    edge: Edge = Edge.MOMENT
    at: Spot = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Window:
    """A phase's moment lies from ``low_s`` to ``high_s`` after another time (negative: before it)."""

    low_s: float
    high_s: float
    anchor: Moment


@dataclass(frozen=True, slots=True)
class During:
    """A phase shares time with another."""

    phase: str
    at: Spot = field(default=NOWHERE, compare=False)


class Need(Enum):
    """Whether a phase must be there. A usual one need not, but its absence costs more than an optional one's."""

    REQUIRED = ""
    USUAL = "usual "
    OPTIONAL = "optional "
    FORBIDDEN = "forbidden "


@dataclass(frozen=True, slots=True)
class Action:
    """One kind of action with players in its roles.

    Attributes
    ----------
    phrase : str
        What the file calls it, as ``phrases`` spells it.
    kind : str
        As in :mod:`pipeline.actions.vocabulary`.
    traits : tuple of (trait, value)
        What the phrase says besides the kind, e.g. that a screen is a cross screen.
    roles : tuple of (role of the kind, player of the set)
        Players may be :data:`SOMEONE`.
    where : Condition or None
        On the kind's measures and traits.
    spots : tuple of Spot
        Where the players of ``roles`` stand in the file.
    """

    phrase: str
    kind: str
    traits: tuple[tuple[str, str], ...]
    roles: tuple[tuple[str, str], ...]
    where: Condition | None = None
    at: Spot = field(default=NOWHERE, compare=False)
    spots: tuple[Spot, ...] = field(default=(), compare=False)

    def player(self, role: str) -> str | None:
        """The player in a role, None where nobody is named or anyone will do."""
        return next((player for name, player in self.roles if name == role and player != SOMEONE), None)


@dataclass(frozen=True, slots=True)
class Phase:
    """One step of a set.

    Attributes
    ----------
    actions : tuple of Action
        Alternatives, one at least.
    where, ideally : Condition or None
        On every alternative; the second only lowers the score.
    starts, ends, here : Zone or None
        Where the cut starts or the pass is thrown; where it ends or is caught; where the action is.
    times : tuple of Window or During
        All must hold. None: after the phase before it.
    any_time : bool
        Neither ``times`` nor the order count.
    by_way : Zone or None
        For the drawing.
    """

    name: str
    need: Need
    actions: tuple[Action, ...]
    where: Condition | None = None
    ideally: Condition | None = None
    starts: Zone | None = None
    ends: Zone | None = None
    here: Zone | None = None
    times: tuple[Window | During, ...] = ()
    any_time: bool = False
    by_way: Zone | None = None
    at: Spot = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Move:
    """Somebody goes somewhere; for the drawing only."""

    player: str
    to: Zone
    at: Spot = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Frame:
    """From here on a new drawing, with its caption."""

    caption: str


Step = Phase | Move | Frame


@dataclass(frozen=True, slots=True)
class Block:
    """Steps under one head: the main line of the set (no name), an ending."""

    name: str
    steps: tuple[Step, ...]
    at: Spot = field(default=NOWHERE, compare=False)

    @property
    def phases(self) -> tuple[Phase, ...]:
        """Its phases in order."""
        return tuple(step for step in self.steps if isinstance(step, Phase))


class Join(StrEnum):
    """How a counter joins the main line."""

    INSTEAD_OF = "instead of"
    AFTER = "after"


@dataclass(frozen=True, slots=True)
class Counter:
    """A named alternative that takes the place of phases of the main line, or comes in after one.

    Attributes
    ----------
    block : Block
    join : Join
    phases : tuple of str
        Of the main line: those that fall away, or the one that it comes after.
    and_the_rest : bool
        Whether what would follow, endings included, falls away too.
    spots : tuple of Spot
        Where ``phases`` stand in the file.
    """

    block: Block
    join: Join
    phases: tuple[str, ...]
    and_the_rest: bool
    spots: tuple[Spot, ...] = field(default=(), compare=False)


@dataclass(frozen=True, slots=True)
class Player:
    """A placeholder for an attacker.

    Attributes
    ----------
    number : int
        1..5, as in the drawing.
    name : str
    starts : Zone or None
        Where he is as the set starts.
    usually : bool
        ``starts`` only lowers the score.
    with_ball : bool
        Whether he starts with the ball.
    """

    number: int
    name: str
    starts: Zone | None = None
    usually: bool = False
    with_ball: bool = False
    at: Spot = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Measured:
    """A measure of a phase's action."""

    measure: str
    phase: str
    at: Spot = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Timed:
    """The time from one moment to another."""

    first: Moment
    second: Moment


@dataclass(frozen=True, slots=True)
class Worded:
    """A trait of a phase's action."""

    trait: str
    phase: str
    at: Spot = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Range:
    """Numbers from ``low`` to ``high``, each end included or not."""

    low: float
    high: float
    low_included: bool = True
    high_included: bool = True

    def holds(self, value: float) -> bool:
        """Whether a number lies in it."""
        above = value >= self.low if self.low_included else value > self.low
        return above and (value <= self.high if self.high_included else value < self.high)

    def meets(self, other: Range) -> bool:
        """Whether some number lies in both."""
        low = max(self.low, other.low)
        high = min(self.high, other.high)
        return low < high or (low == high and self.holds(low) and other.holds(low))


@dataclass(frozen=True, slots=True)
class Words:
    """Any of several words."""

    words: tuple[str, ...]
    at: Spot = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Emphasis:
    """A point of emphasis: what is looked at, what is good, what is poor, what is said of it."""

    name: str
    title: str
    subject: Measured | Timed | Worded
    good: tuple[Range | Words, ...]
    poor: tuple[Range | Words, ...]
    say_good: str = ""
    say_poor: str = ""
    at: Spot = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class SetDefinition:
    """A set file.

    Attributes
    ----------
    name, title, says, source : str
    longest_s : float or None
        From its first phase to its last.
    must_end : bool
        Without an ending it is not complete.
    yields_to : tuple of str
        Sets beside whose complete matches this one does not count.
    players : tuple of Player
    main : Block
        The main line.
    endings : tuple of Block
    counters : tuple of Counter
    emphases : tuple of Emphasis
    """

    name: str
    title: str
    says: str
    source: str
    longest_s: float | None
    must_end: bool
    yields_to: tuple[str, ...]
    players: tuple[Player, ...]
    main: Block
    endings: tuple[Block, ...] = ()
    counters: tuple[Counter, ...] = ()
    emphases: tuple[Emphasis, ...] = ()

    def player(self, name: str) -> Player | None:
        """The player of a name."""
        return next((player for player in self.players if player.name == name), None)

    def blocks(self) -> Iterator[Block]:
        """The main line, the endings, the counters."""
        yield self.main
        yield from self.endings
        yield from (counter.block for counter in self.counters)

    def phases(self) -> Iterator[Phase]:
        """Every phase of every block."""
        for block in self.blocks():
            yield from block.phases
