"""How a coach calls the actions: words of set files for the kinds of the actions room."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from pipeline.actions.vocabulary import KIND, KINDS, measure_names
from pipeline.conditions import Names, folded


@dataclass(frozen=True, slots=True)
class Phrase:
    """Words for a kind of action, and what they say besides."""

    words: str
    kind: str
    traits: tuple[tuple[str, str], ...] = ()


def _screens(kind: str, trait: str, **words: str) -> tuple[Phrase, ...]:
    return tuple(Phrase(name.replace("_", " "), kind, ((trait, value),)) for name, value in words.items())


_PASSES = {
    "wing_entry": "wing_entry",
    "post_entry": "post_entry",
    "reversal": "reversal",
    "skip_pass": "skip",
    "kick_out": "kick_out",
}

PHRASES: tuple[Phrase, ...] = (
    *(Phrase(kind.title, kind.name) for kind in KINDS),
    *(Phrase(words.replace("_", " "), "pass", (("type", value),)) for words, value in _PASSES.items()),
    Phrase("return pass", "pass", (("returned", "yes"),)),
    Phrase("ball screen", "on_ball_screen"),
    Phrase("side ball screen", "on_ball_screen", (("side", "side"),)),
    Phrase("middle ball screen", "on_ball_screen", (("side", "middle"),)),
    Phrase("drag screen", "on_ball_screen", (("phase", "transition"),)),
    Phrase("re-screen", "on_ball_screen", (("again", "yes"),)),
    Phrase("slipped screen", "on_ball_screen", (("slipped", "yes"),)),
    Phrase("screen", "off_ball_screen"),
    *_screens(
        "off_ball_screen", "type", cross_screen="cross", down_screen="down", back_screen="back", flare_screen="flare",
        pin_in_screen="pin_in",
    ),
    *_screens(
        "off_ball_screen", "group", stagger_screen="stagger", double_screen="double", elevator_screen="elevator"
    ),
)  # fmt: skip
"""All phrases; the titles and names of the kinds are phrases too."""

BY_FOLD: Mapping[str, Phrase] = MappingProxyType(
    {
        **{kind.name: Phrase(kind.title, kind.name) for kind in KINDS},
        **{folded(f"{kind.title} cut"): Phrase(kind.title, kind.name) for kind in KINDS if kind.name.endswith("_cut")},
        **{folded(phrase.words): phrase for phrase in PHRASES},
    }
)
"""Phrases as :func:`pipeline.conditions.folded` makes them."""

PREPOSITIONS: Mapping[str, Mapping[str, str]] = MappingProxyType(
    {
        "pass": {"from": "passer", "to": "receiver"},
        "handoff": {"from": "giver", "to": "receiver"},
        "turnover": {"by": "loser"},
        "on_ball_screen": {"by": "screener", "for": "handler"},
        "off_ball_screen": {"by": "screener", "for": "cutter"},
        "corner_turned": {"by": "handler", "off": "screener"},
        "denial": {"of": "receiver"},
        **{kind.name: {"by": "cutter", "off": "screener"} for kind in KINDS if "cutter" in kind.roles[:1]},
    }
)
"""Which role a word stands before; kinds that are not listed have their first role after ``by``."""


def roles_by_word(kind: str) -> Mapping[str, str]:
    """Roles of a kind by the word that stands before them in a set file."""
    return PREPOSITIONS.get(kind, {"by": KIND[kind].roles[0]})


def kind_names(kind: str) -> Names:
    """What conditions on a kind may speak of."""
    one = KIND[kind]
    return Names(frozenset(measure_names(kind)), MappingProxyType({trait.name: trait.values for trait in one.traits}))
