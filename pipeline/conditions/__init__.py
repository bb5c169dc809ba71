"""conditions: the small language of conditions on measures and words.

Comes in: a line such as ``return_catch_ft > 28 and ended = 'post entry'``. Goes out: a tree of frozen nodes that can be
checked against known names, judged on a mapping, told apart clause by clause and printed back. Knows no action, set or
fault; never guesses what was not seen: an unknown value makes a clause unknown.
"""

from pipeline.conditions.judging import Clause, Truth, clauses, judge, predicate
from pipeline.conditions.names import Names, check_names
from pipeline.conditions.nodes import (
    All,
    Any,
    Between,
    Compared,
    Condition,
    Known,
    Negated,
    OneOf,
    Sign,
    Spot,
    as_text,
    folded,
    names_in,
    number_text,
)
from pipeline.conditions.reading import GREATEST, SMALLEST, read_condition

__all__ = [
    "GREATEST",
    "SMALLEST",
    "All",
    "Any",
    "Between",
    "Clause",
    "Compared",
    "Condition",
    "Known",
    "Names",
    "Negated",
    "OneOf",
    "Sign",
    "Spot",
    "Truth",
    "as_text",
    "check_names",
    "clauses",
    "folded",
    "judge",
    "names_in",
    "number_text",
    "predicate",
    "read_condition",
]
