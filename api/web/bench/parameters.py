"""The parameters of the bench's address: their names, how they are written, and how forms add to them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from urllib.parse import quote

from api.observations.short_form import ShortFormError, canonical_name, present_words
from matcher.decision.posterior import PRIOR_ABSENT
from matcher.features import FEATURES, PITCHES, Kind, Remains

UNIT, INSTRUMENT, AT_HAND, PRIOR, LIMIT = "unit", "instrument", "at_hand", "prior_absent", "limit"
REMAINS = "remains"
SETTINGS = (UNIT, INSTRUMENT, AT_HAND, PRIOR, LIMIT, REMAINS)
DEFAULTS = ((UNIT, "mm"), (PRIOR, str(PRIOR_ABSENT)), (REMAINS, Remains.WHOLE))
"""Settings that an address need not have."""

MORE = "more"
"""Parameters that are not observations. `MORE` takes pieces of the short form; each becomes a parameter of its own."""

GAPS = ".gaps"
"""End of the name of a field that says over how many gaps a pitch was measured."""

_BEFORE_TOOL = re.compile(r"(?=@|\+[a-z_]+=)|$")
_SEVERAL = re.compile(r"[;\s]+(?=[^\s;=<>≤≥]+(?:=|<=|>=|≤|≥))")


def query_of(pairs: Iterable[tuple[str, str]]) -> str:
    """The address's part after the question mark."""
    return "&".join(f"{quote(name, safe='.')}={quote(text, safe='/,:@.')}" for name, text in pairs)


def has_gaps(name: str) -> bool:
    """Whether the field takes a length that is measured over several gaps."""
    return name.rpartition(".")[2] in PITCHES


def tidy(pairs: Sequence[tuple[str, str]]) -> list[tuple[str, str]]:
    """The address without what a form adds: empty fields are left out, gaps and several choices join their field.

    Old names of values become the present ones.
    """
    gaps = {name.removesuffix(GAPS): text.strip() for name, text in pairs if name.endswith(GAPS)}
    found: dict[str, str] = {}
    rest = []
    for name, text in _spread(pairs):
        kind = FEATURES[name].kind if name in FEATURES else None
        if not text or name.endswith(GAPS) or (name, text) in DEFAULTS:
            continue
        if name in found and kind in (Kind.CATEGORY, Kind.LABELS):
            found[name] = f"{found[name]},{text}"
        elif name in found:
            rest.append((name, text))
        else:
            counted = gaps.get(name, "") if "/" not in text else ""
            found[name] = _BEFORE_TOOL.sub(f"/{counted}", text, count=1) if counted.isdecimal() else text
    return [*(_present(name, text) for name, text in found.items()), *rest]


def _present(name: str, text: str) -> tuple[str, str]:
    body, point, feature = name.rpartition(".")
    present, words = present_words(feature, text)
    return f"{body}{point}{present}", words


def _spread(pairs: Sequence[tuple[str, str]]) -> Iterator[tuple[str, str]]:
    """Parameters under the features' own names, and pieces of the short form as parameters."""
    for name, text in pairs:
        if name == MORE:
            yield from (_as_parameter(piece) for piece in _SEVERAL.split(text.strip()) if piece)
        else:
            yield (name if name.endswith(GAPS) else _known_name(name)), text.strip()


def _as_parameter(piece: str) -> tuple[str, str]:
    match = re.fullmatch(r"(?P<name>[^=<>≤≥]+)(?P<sign>=|<=|>=|≤|≥|<|>)(?P<text>.*)", piece, re.DOTALL)
    if match is None:
        return MORE, piece
    sign = "" if match["sign"] == "=" else match["sign"]
    return _known_name(match["name"]), f"{sign}{match['text'].strip()}"


def _known_name(name: str) -> str:
    if name in SETTINGS or name == MORE:
        return name
    try:
        return canonical_name(name)
    except ShortFormError:
        return name
