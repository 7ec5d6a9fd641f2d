"""Paths into a message, in JMESPath: picked apart when the jobsite file is read, followed for every message.

The only door to jmespath. A path picks, it does not build: no lists, tables, slices or sorting, so that the work
is at most the length of the path times the size of the message. No fixed value can stand in for one that is not in
the message. Source: the JMESPath specification.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import jmespath
from jmespath.exceptions import JMESPathError, LexerError, ParseError
from jmespath.visitor import TreeInterpreter

from gateway.payload.value import Refused

MAX_PATH = 200  # characters
MAX_LISTS = 4  # projections and filters of one path: each may go through the whole message
_LISTS = frozenset({"projection", "filter_projection", "value_projection", "flatten"})
_TESTS = frozenset({"contains", "starts_with", "ends_with"})  # answer yes or no: a fixed value may stand in them
_FUNCTIONS = {"contains": 2, "starts_with": 2, "ends_with": 2, "length": 1, "max": 1, "min": 1, "avg": 1}
_PLAIN = frozenset({
    "field", "subexpression", "index_expression", "index", "identity", "current", "pipe", "comparator",
    "or_expression", "and_expression", "not_expression",
}) | _LISTS  # fmt: skip
_interpreter = TreeInterpreter()


@dataclass(frozen=True, slots=True)
class Path:
    """A checked JMESPath expression."""

    text: str
    tree: dict[str, Any]
    names: tuple[str, ...] = ()  # of a path that is names only: most are, and a walk is ten times as quick

    def find(self, message: object) -> object:
        """Return what the path finds, None for nothing. Raises Refused where the message does not suit it."""
        if self.names:
            for name in self.names:
                message = message.get(name) if isinstance(message, dict) else None
            return message
        try:
            return _interpreter.visit(self.tree, message)
        except (ValueError, TypeError, ArithmeticError):  # a comparison or function met what it cannot take
            raise Refused("path fails", f"{self.text} does not suit this message") from None


def path(text: str) -> Path:
    """Return the checked path. Raises ValueError with the words a keeper reads."""
    if len(text) > MAX_PATH:
        raise ValueError(f"a path has at most {MAX_PATH} characters")
    try:
        tree = jmespath.compile(text).parsed
    except (JMESPathError, RecursionError) as error:
        raise ValueError(_syntax(error, text)) from None
    if _check(tree) > MAX_LISTS:
        raise ValueError(f"goes through lists more than {MAX_LISTS} times; name the place more closely")
    return Path(text, tree, _names(tree))


def _names(tree: dict[str, Any]) -> tuple[str, ...]:
    """Return the names a path is made of, none for a path that is more than that."""
    if tree["type"] == "field":
        return (tree["value"],)
    parts = [_names(each) for each in tree["children"]] if tree["type"] == "subexpression" else [()]
    return tuple(name for part in parts for name in part) if all(parts) else ()


def _syntax(error: Exception, text: str) -> str:
    at = error.lexer_position if isinstance(error, LexerError) else getattr(error, "lex_position", len(text))
    there = f"at character {at + 1}" if isinstance(error, ParseError) and at < len(text) else "at its end"
    return (
        f"is not JMESPath {there}: a name with other characters than letters, digits and _ stands in double quotes"
    )


def _check(tree: dict[str, Any], fixed: bool = False) -> int:
    """Count how often a path goes through a list. Raises ValueError for what may not stand in one."""
    kind, children = tree["type"], tree["children"]
    if kind == "literal":
        return _fixed(tree["value"], fixed)
    if kind == "function_expression":
        _function(tree["value"], len(children))
    elif kind not in _PLAIN:
        raise ValueError("a path picks one value; it builds no list, slice or table")
    tests = kind == "comparator" or (kind == "function_expression" and tree["value"] in _TESTS)
    return (kind in _LISTS) + sum(_check(each, tests) for each in children)


def _fixed(value: object, allowed: bool) -> int:
    if not allowed or isinstance(value, list | dict):
        raise ValueError("a fixed value is no reading: one word or number may stand in a comparison only")
    return 0


def _function(name: str, arguments: int) -> None:
    if name not in _FUNCTIONS:
        raise ValueError(f"function {name}() is not used here: {', '.join(_FUNCTIONS)}")
    if arguments != _FUNCTIONS[name]:
        raise ValueError(f"function {name}() takes {_FUNCTIONS[name]}, not {arguments}")
