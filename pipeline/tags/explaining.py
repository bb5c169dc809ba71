"""Explanations: which measured facts made a tag, which were missed, and by how much, in sentences.

Everything here is words from values; who reads tables stands elsewhere.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from pipeline.actions.events import Event
from pipeline.actions.settings import ActionSettings
from pipeline.actions.thresholds import THRESHOLDS, threshold_rule
from pipeline.actions.vocabulary import EVERY_MEASURE, KIND, Measure, Trait
from pipeline.conditions import (
    All,
    Any,
    Between,
    Clause,
    Compared,
    Condition,
    Known,
    Negated,
    OneOf,
    Sign,
    clauses,
    judge,
)
from pipeline.conditions.nodes import Knowledge, Membership, Name, Word
from pipeline.spacing.rules import FaultRule, Severity, amount, severity_of, values_of
from pipeline.spacing.situations import Lasting

Called = Callable[[int], str | None]
"""From a track to the player's name or number; None where neither is known."""

ASKED: Mapping[Sign, str] = MappingProxyType(
    {
        Sign.AT_LEAST: "at least",
        Sign.ABOVE: "more than",
        Sign.AT_MOST: "at most",
        Sign.BELOW: "less than",
        Sign.SAME: "exactly",
        Sign.DIFFERENT: "anything but",
    }
)


@dataclass(frozen=True, slots=True)
class Words:
    """What measures and traits are called, by name."""

    measures: Mapping[str, str]
    traits: Mapping[str, str]

    def of(self, name: str) -> str:
        """A measure or trait as a noun phrase."""
        return self.measures.get(name) or self.traits.get(name) or name.replace("_", " ")


def words_of(measures: Sequence[Measure], traits: Sequence[Trait]) -> Words:
    """Words for some measures and traits."""
    return Words({m.name: m.meaning for m in measures}, {t.name: t.meaning for t in traits})


def explain_fault(event: Event, rule: FaultRule, sentence: str) -> list[str]:
    """Why a fault is one.

    Parameters
    ----------
    event : Event
        The fault, as the ``faults`` table keeps it.
    rule : FaultRule
        The fault file that it was found by.
    sentence : str
        What its tag says.

    Returns
    -------
    list of str
        Sentences, one a line: what is said, what made it, what was not needed, how severe, how sure.
    """
    words = words_of(rule.about.measures, rule.about.traits)
    values = values_of(event)
    lines = [sentence, f"{rule.title}: {_first_lower(rule.says)}"]
    lines += facts(rule.where, values, words)
    if rule.about.lasting is Lasting.SPELL:
        lasted = event.measures["lasted_s"]
        lines.append(
            f"It lasted {amount('lasted_s', lasted)}; at least {amount('lasted_s', rule.for_s)} are asked for, "
            f"{amount('lasted_s', lasted - rule.for_s)} to spare."
        )
    lines += _severities(event, rule, values, words)
    lines.append(_sure(event))
    return lines


def explain_action(event: Event, settings: ActionSettings, called: Called) -> list[str]:
    """Why an action is one: the limits that its measures met, then everything else that is known of it."""
    kind = KIND[event.kind]
    words = words_of((*kind.measures, *EVERY_MEASURE), kind.traits)
    lines = [action_sentence(event, called)]
    rule = threshold_rule(event.kind, settings)
    if rule is not None:
        lines += facts(rule, values_of(event), words)
    told = {measure for measure, _, _ in THRESHOLDS.get(event.kind, ())} | {m.name for m in EVERY_MEASURE}
    told |= {name for name in event.measures if name.endswith("_entry_s")}  # a time of the film, not a length of time
    rest = [
        f"{words.of(name)}, {amount(name, value)}"
        for name, value in event.measures.items()
        if name not in told and value == value
    ]
    if rest:
        lines.append(f"Also measured: {'; '.join(rest)}.")
    said = [
        f"{words.of(name)}: {value.replace('_', ' ')}" for name, value in event.traits.items() if value != "unknown"
    ]
    if said:
        lines.append(f"Seen besides: {'; '.join(said)}.")
    unknown = [words.of(name) for name, value in event.traits.items() if value == "unknown"]
    unknown += [words.of(name) for name, value in event.measures.items() if value != value and name not in told]
    if unknown:
        lines.append(f"Not known: {'; '.join(unknown)}.")
    lines.append(_sure(event))
    return lines


def action_sentence(event: Event, called: Called) -> str:
    """What an action is and who took part in it, as a sentence."""
    return f"{_first_upper(_with_article(KIND[event.kind].title))}: {_who(event, called)}."


def facts(condition: Condition, values: Mapping[str, float | str], words: Words) -> Iterator[str]:
    """A sentence for every clause of a condition: what was measured, what is asked for, and the margin.

    Parts of an ``or`` that were not needed are told as such.
    """
    match condition:
        case All(parts=parts):
            for part in parts:
                yield from facts(part, values, words)
        case Any(parts=parts):
            met = [part for part in parts if judge(part, values)]
            if not met:
                yield "One of these is asked for, and none was there."
            for part in met:
                yield from facts(part, values, words)
            for part in parts:
                if part not in met:
                    yield from (_aside(line) for line in facts(part, values, words))
        case _:
            for clause in clauses(condition, values):
                yield clause_sentence(clause, values, words)


def clause_sentence(clause: Clause, values: Mapping[str, float | str], words: Words) -> str:
    """One clause as a sentence."""
    condition = clause.condition
    negated = isinstance(condition, Negated)
    inner = condition.part if isinstance(condition, Negated) else condition
    assert not isinstance(inner, All | Any | Negated)
    name = inner.name
    head = _first_upper(words.of(name))
    asked = _asked(inner, values, words)
    if negated:
        asked = f"not {asked}"
    if clause.value is None and not isinstance(inner, Known):
        return f"{head}: not known; {asked} is asked for."
    was = "not known" if clause.value is None else _value(name, clause.value)
    if clause.holds and _margin(inner, values) is None and not negated:
        return f"{head}: {was}, as asked."
    return f"{head}: {was}; {asked} is asked for, {_outcome(clause, inner, values, name)}."


def _outcome(clause: Clause, inner: Condition, values: Mapping[str, float | str], name: str) -> str:
    margin = _margin(inner, values)
    if clause.holds:
        return f"{amount(name, margin)} to spare" if margin is not None and not isinstance(inner, Negated) else "met"
    return "missed" if margin is None else f"missed by {amount(name, margin)}"


def _margin(inner: Condition, values: Mapping[str, float | str]) -> float | None:
    """How far a number is from its limit; None for words, equality and what is not known."""
    if isinstance(inner, Compared) and inner.sign in (Sign.SAME, Sign.DIFFERENT):
        return None
    limits: tuple[float | None, ...]
    match inner:
        case Compared(name=name, value=Name(name=other)):
            limits = (_number(values.get(other)),)
        case Compared(name=name, value=float() as limit):
            limits = (limit,)
        case Between(name=name, low=low, high=high):
            limits = (low, high)
        case _:
            return None
    value = _number(values.get(name))
    known = [abs(value - limit) for limit in limits if value is not None and limit is not None]
    return min(known) if known else None


def _number(value: float | str | None) -> float | None:
    return float(value) if isinstance(value, int | float) and value == value else None


def _asked(inner: Condition, values: Mapping[str, float | str], words: Words) -> str:
    match inner:
        case Compared(sign=sign, value=Word(text=text)):
            return text.replace("_", " ") if sign is Sign.SAME else f"anything but {text.replace('_', ' ')}"
        case Compared(sign=sign, value=Name(name=other)):
            limit = values.get(other, float("nan"))
            return f"{ASKED[sign]} {words.of(other)}, {amount(other, float(limit))},"
        case Compared(name=name, sign=sign, value=float() as limit):
            return f"{ASKED[sign]} {amount(name, limit)}"
        case Between(name=name, low=low, high=high):
            return f"between {amount(name, low)} and {amount(name, high)}"
        case OneOf(name=name, membership=membership, values=options):
            listed = [_value(name, o.text if isinstance(o, Word) else o) for o in options]
            return f"{'one of' if membership is Membership.ONE_OF else 'none of'} {', '.join(listed)}"
        case Known(knowledge=knowledge):
            return "that it is known" if knowledge is Knowledge.KNOWN else "that it is not known"
    raise TypeError(f"{inner!r} is no clause.")


def _severities(event: Event, rule: FaultRule, values: Mapping[str, float | str], words: Words) -> Iterator[str]:
    severity = severity_of(event, rule)
    yield f"Severity: {severity}."
    if rule.severe_where is not None:
        how = "It is severe, because" if severity is Severity.SEVERE else "It is not severe:"
        yield f"{how} {_first_lower(' '.join(facts(rule.severe_where, values, words)))}"
    if rule.note_where is not None and severity is not Severity.SEVERE:
        how = "It is only a note, because" if severity is Severity.NOTE else "It is more than a note:"
        yield f"{how} {_first_lower(' '.join(facts(rule.note_where, values, words)))}"


def _sure(event: Event) -> str:
    sigma = event.measures.get("sigma_ft", float("nan"))
    placed = f", with places known to about {amount('sigma_ft', sigma)}" if sigma == sigma and sigma > 0.05 else ""
    return f"Sure to {round(100 * event.score)} in 100{placed}."


def _who(event: Event, called: Called) -> str:
    told = [f"{role.replace('_', ' ')} {called(track) or f'track {track}'}" for role, track in event.actors]
    return ", ".join(told) or "nobody known"


def _aside(line: str) -> str:
    return f"Not needed for it: {_first_lower(line)}"


def _value(name: str, value: float | str) -> str:
    return value.replace("_", " ") if isinstance(value, str) else amount(name, value)


def _with_article(title: str) -> str:
    return f"{'an' if title[:1].lower() in 'aeiou' and not title.startswith('UCLA') else 'a'} {title}"


def _first_upper(text: str) -> str:
    return text[:1].upper() + text[1:]


def _first_lower(text: str) -> str:
    return text if text[:2].isupper() else text[:1].lower() + text[1:]
