"""The bracketed expressions of an open footprint file: read from text, and their parts and numbers.

Size, nesting and numbers are limited here, and every fault becomes an `UnusableFootprint` with its reason. The brackets
are read here because a folder holds thousands of files: a general parser of such expressions, which tries each word as
a number and steps from character to character, takes ten times as long.
"""

from __future__ import annotations

import re
from typing import TypeAlias

DEEPEST_NESTING = 40
"""Brackets within brackets; real files reach about 8."""

FARTHEST = 500.0
"""Largest coordinate or size in mm; beyond it the file is not in millimetres or is not a connector."""

Expression: TypeAlias = "list[str | Expression]"
"""The content between two brackets: words, quoted or not, and expressions."""

_TOKEN = re.compile(
    r"""
    \( (?: [^()\[\]"']++ | "[^"\\]*+" )*+ \)   # words in brackets, quoted without escapes: most of a file
    | [()\[\]]
    | " [^"\\]*+ (?: \\. [^"\\]*+ )*+ "?       # a quoted word; one that does not close takes all the rest
    | [^\s()\[\]"'] [^\s()\[\]"]*+             # a bare word
    | '                                        # this format quotes no expressions
    """,
    re.VERBOSE | re.DOTALL,
)
"""Every alternative is possessive (no backtracking), so parsing time is proportional to the length of the text."""

_WORD = re.compile(r'"([^"]*)"|([^\s"]+)')
_ESCAPED = re.compile(r"\\(.)", re.DOTALL)
_CLOSING = {"(": ")", "[": "]"}


class UnusableFootprint(ValueError):  # noqa: N818 - a reason to pass over one file, not a fault of the program
    """One file that gives no half; ``reason`` groups it in the report, ``detail`` says more."""

    def __init__(self, reason: str, detail: str = "") -> None:
        super().__init__(f"{reason}: {detail}" if detail else reason)
        self.reason = reason
        self.detail = detail


def parse_expression(text: str) -> Expression:
    """The single expression in the text."""
    if not text.strip():
        raise UnusableFootprint("empty")
    here: Expression = []
    around: list[tuple[Expression, str]] = []
    unclosed = UnusableFootprint("cut off or damaged", "brackets or quotes do not close")
    for token in _TOKEN.findall(text):
        if token[0] == "(" and len(token) > 1:
            words = token[1:-1]
            here.append([quoted or bare for quoted, bare in _WORD.findall(words)] if '"' in words else words.split())
        elif token in _CLOSING:
            inner: Expression = []
            here.append(inner)
            around.append((here, _CLOSING[token]))
            here = inner
            if len(around) > DEEPEST_NESTING:
                raise UnusableFootprint("nested deeper than a footprint can be", f"more than {DEEPEST_NESTING} levels")
        elif token in (")", "]"):
            if not around or around[-1][1] != token:
                raise unclosed
            here, _ = around.pop()
        elif token == "'":
            raise UnusableFootprint("no well-formed expression", "a single quote stands before a word")
        else:
            here.append(_ESCAPED.sub(r"\1", token[1:-1]) if token[0] == '"' else token)
    if around:
        raise unclosed
    if len(here) != 1 or isinstance(here[0], str):
        raise UnusableFootprint("no footprint", "the text is not one bracketed expression")
    return here[0]


def word_of(item: str | Expression) -> str:
    return item if isinstance(item, str) else ""


def part_of(item: Expression, head: str) -> Expression | None:
    for part in item:
        if isinstance(part, list) and part and part[0] == head:
            return part[1:]
    return None


def numbers_of(item: Expression, head: str, least: int) -> list[float]:
    """The numbers of a sub-expression; raises UnusableFootprint if it is missing or implausible."""
    values = []
    for word in part_of(item, head) or ():
        try:
            values.append(float(word))  # type: ignore[arg-type]
        except (TypeError, ValueError):  # an expression, or a word that is no number
            continue
    if len(values) < least:
        raise UnusableFootprint("a shape without its numbers", f"{word_of(item[0])} lacks {head}")
    for value in values:
        if not -FARTHEST <= value <= FARTHEST:  # false for what is no number, too
            raise UnusableFootprint("not in millimetres", f"{head} lies beyond {FARTHEST:.0f}")
    return values
