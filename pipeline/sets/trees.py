"""Walking the tree of a set file, with errors that point into it."""

from __future__ import annotations

from lark import Token, Tree

from pipeline.conditions import GREATEST, SMALLEST, Spot, folded
from pipeline.conditions.pointing import pointed
from pipeline.errors import LanguageError
from pipeline.sets.definition import Edge, Moment

Node = Tree | Token

EDGES = {"moment": Edge.MOMENT, "start_moment": Edge.START, "end_moment": Edge.END}


class TreeReader:
    """Reads parts of one file; ``text`` is all of it, ``source`` what to call it in errors."""

    def __init__(self, text: str, source: str) -> None:
        self._text = text
        self._source = source

    def _wrong(self, problem: str, node: Node, width: int | None = None) -> LanguageError:
        at = spot_of(node)
        if width is None:
            width = len(node) if isinstance(node, Token) else max(1, (node.meta.end_column or 0) - at.column)
        return pointed(problem, self._text, at, self._source, width)

    def _once(self, seen: set[str], what: str, node: Node) -> None:
        if what in seen:
            raise self._wrong(f"'{what}' is said twice; once is enough.", node)
        seen.add(what)

    def _number(self, token: Token) -> float:
        """What a number says; one that no play comes near is a slip of the pen."""
        value = float(token)
        if value != 0 and not SMALLEST <= value <= GREATEST:
            raise self._wrong("no time or measure comes near this number.", token)
        return value

    def _moment(self, tree: Tree) -> Moment:
        token = tokens_of(tree)[0]
        return Moment(folded(token), EDGES[str(tree.data)], spot_of(token))


def spot_of(node: Node) -> Spot:
    if isinstance(node, Token):
        return Spot(node.line or 1, node.column or 1)
    empty = node.meta.empty
    return Spot(1, 1) if empty else Spot(node.meta.line, node.meta.column)


def trees_of(tree: Tree) -> list[Tree]:
    return [child for child in tree.children if isinstance(child, Tree)]


def tokens_of(tree: Tree) -> list[Token]:
    return [child for child in tree.children if isinstance(child, Token)]


def token_of(tree: Tree, kind: str) -> Token:
    return next(token for token in tokens_of(tree) if token.type == kind)


def texts_of(tree: Tree) -> list[str]:
    return [token[1:-1] for token in tokens_of(tree) if token.type == "TEXT"]
