"""Reading the points of emphasis of a set file."""

from __future__ import annotations

import math

from lark import Tree

from pipeline.actions.vocabulary import KIND, measure_names, trait_names
from pipeline.conditions import folded
from pipeline.conditions.pointing import unknown_word
from pipeline.conditions.reading import UNITS, unit_of
from pipeline.sets.definition import Emphasis, Measured, Range, Timed, Worded, Words
from pipeline.sets.trees import TreeReader, spot_of, texts_of, tokens_of, trees_of


class EmphasisReader(TreeReader):
    """Reads points of emphasis."""

    def emphasis(self, tree: Tree) -> Emphasis:
        """Read one point of emphasis."""
        name = tokens_of(tree)[0]
        titles = texts_of(tree)
        subject: Measured | Timed | Worded | None = None
        good: list[Range | Words] = []
        poor: list[Range | Words] = []
        says = {"good": "", "poor": ""}
        ranges: list[tuple[list[Range | Words], Tree]] = []
        for line in trees_of(tree):
            match line.data:
                case "measured" | "timed" | "worded":
                    if subject is not None:
                        raise self._wrong("a point of emphasis looks at one thing; make two of them.", line)
                    subject = self._subject(line)
                case "good":
                    ranges.append((good, trees_of(line)[0]))
                case "poor":
                    ranges.append((poor, trees_of(line)[0]))
                case "say":
                    says = {"good": texts_of(line)[0], "poor": texts_of(line)[0]}
                case "say_good":
                    says["good"] = texts_of(line)[0]
                case "say_poor":
                    says["poor"] = texts_of(line)[0]
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
            at=spot_of(name),
        )

    def _subject(self, line: Tree) -> Measured | Timed | Worded:
        if line.data == "timed":
            first, second = (self._moment(one) for one in trees_of(line))
            return Timed(first, second)
        what, phase = tokens_of(line)
        is_measure = line.data == "measured"
        known = {n for kind in KIND for n in (measure_names(kind) if is_measure else trait_names(kind))}
        if folded(what) not in known:
            raise self._wrong(unknown_word(what, "measure" if is_measure else "word of an action", sorted(known)), what)
        return (Measured if is_measure else Worded)(folded(what), folded(phase), spot_of(phase))

    def _range(self, tree: Tree, subject: Measured | Timed | Worded) -> Range | Words:
        if tree.data == "one_of":
            if not isinstance(subject, Worded):
                raise self._wrong("a number is good or poor 'from', 'up to', 'above' or 'below' a number.", tree)
            return Words(tuple(folded(token.strip('"')) for token in tokens_of(tree)), spot_of(tree))
        if isinstance(subject, Worded):
            raise self._wrong("a word is good or poor when it 'is' one of its values.", tree)
        unit = "s" if isinstance(subject, Timed) else unit_of(subject.measure)
        numbers = [self._quantity(one, unit) for one in trees_of(tree)]
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
        number, *units = tokens_of(tree)
        for one in units:
            if UNITS.get(one.lower(), "s") != unit:
                raise self._wrong(f"this is measured in {unit.replace('_', '/') or 'no unit'}, not in {one}.", one)
        return self._number(number)
