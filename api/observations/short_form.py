"""Observations as a person types them on one line: ``pitch=4.41/11 body_length=6.52±0.03 height<=0.9``.

One piece is ``[of.]feature operator what``:

- ``of`` is ``this``, ``other`` or ``pair``; left out, the feature decides.
- ``feature`` is a name or synonym of the feature table; hyphens stand for spaces.
- The operator is ``=``, or ``<=`` / ``>=`` for a bound. ``=low..high`` gives both bounds, or only one, and needs no
  quoting in a shell.
- A length is ``reading[,reading…][unit][±limit][/spans][unit][@instrument[:picture]]``; ``+-`` stands for ``±``. Other
  fields of its JSON form may follow as ``+name=number``: ``pitch=561.2px/11@photo+px_per_mm=127.4``.
- Inches may be a fraction if no gaps are counted: ``body_length=1 3/8in``.
- A count is a whole number, a category one or more of its values, a marking the letters, and a trial fit
  ``mates:KEY`` or ``not:KEY``.

The result is the JSON form of `POST /v1/identify`, so that the same code checks and answers both.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

from matcher.errors import ObservationError
from matcher.features import FEATURES, Feature, Kind, Subject
from matcher.observations import Of
from matcher.vocabulary import (
    canonical_unit,
    closest,
    closest_meaning,
    feature_remedy,
    named_values,
    present_category,
    remedy_for,
)

LARGEST_RATIO = 2.0
"""Readings that differ by more than this factor are not repeated readings; most likely the comma is a decimal one."""

COARSE_UNITS = ("mm", "in")
"""Units in which readings have decimals, so that ``6,6`` is most likely one number with a decimal comma."""

_ONE_COMMA = re.compile(r"\d+,\d+")
_PIECE = re.compile(r"(?P<name>[^=<>≤≥]+)(?P<operator><=|>=|=|≤|≥|<|>)(?P<what>.*)", re.DOTALL)
_LENGTH = re.compile(
    r"(?P<numbers>[^a-z\"″”µμ'±/@+]*?)\s*(?P<unit>[a-z\"″”µμ']+)?"
    r"(?:±(?P<limit>[^a-z\"″”µμ'±/@]*)(?P<limit_unit>[a-z\"″”µμ']+)?)?"
    r"(?:/(?P<spans>[^a-z\"″”µμ'±/@]*)(?P<spans_unit>[a-z\"″”µμ']+)?)?"
    r"(?:@(?P<instrument>[^:@]+)(?::(?P<image>.+))?)?",
    re.IGNORECASE | re.DOTALL,
)
_FRACTION = re.compile(
    r"(?:(?P<whole>\d{1,3})[ -])?(?P<over>\d{1,3})/(?P<under>2|4|8|16|32|64|128)(?P<rest>\s*(?:in\b|inch|\"|″|”|'').*)",
    re.IGNORECASE | re.DOTALL,
)
_MORE = re.compile(r"\+(?=[a-z_]+=)")
"""Separates a length from further fields."""

MORE_FIELDS = ("u", "px_per_mm", "scale_rel", "plane_rel", "less", "less_u")
"""Numeric fields of a length without a notation of their own."""

_BOUNDS: Mapping[str, str] = {"<=": "max", "≤": "max", "<": "max", ">=": "min", "≥": "min", ">": "min"}


@dataclass(frozen=True, kw_only=True)
class PieceError:
    """What is wrong with one piece: the wrong part, why, and what to write instead."""

    piece: str
    part: str
    message: str
    remedy: str


class ShortFormError(ValueError):
    """All errors in the pieces of one line; ``errors`` holds at least one `PieceError`."""

    def __init__(self, errors: Sequence[PieceError]) -> None:
        super().__init__("; ".join(f"{error.piece}: {error.message}" for error in errors))
        self.errors = tuple(errors)


class _Refusal(Exception):  # noqa: N818 - becomes a PieceError
    def __init__(self, part: str, message: str, remedy: str) -> None:
        super().__init__(message)
        self.part, self.message, self.remedy = part, message, remedy


def parse_pieces(pieces: Sequence[str]) -> list[dict[str, Any]]:
    """Observations in JSON form, one per piece. Raises ShortFormError with all pieces that cannot be read."""
    found: list[dict[str, Any]] = []
    errors: list[PieceError] = []
    for piece in pieces:
        try:
            found.append(_parse(piece))
        except _Refusal as refusal:
            errors.append(PieceError(piece=piece, part=refusal.part, message=refusal.message, remedy=refusal.remedy))
    if errors:
        raise ShortFormError(errors)
    return found


def canonical_name(name: str) -> str:
    """The name before the operator in its canonical form: ``height``, ``other.height``.

    Raises ShortFormError for an unknown name.
    """
    try:
        of, feature = _subject(name.strip())
    except _Refusal as refusal:
        error = PieceError(piece=name, part=refusal.part, message=refusal.message, remedy=refusal.remedy)
        raise ShortFormError([error]) from None
    own = Of.PAIR if feature.subject is Subject.PAIR else Of.THIS
    return feature.name if of in (None, own) else f"{of}.{feature.name}"


def present_words(feature: str, what: str) -> tuple[str, str]:
    """A feature and what was typed for it, by the names that the feature table has now."""
    name, values = present_category(feature, what.split(","))
    return (feature, what) if name == feature else (name, ",".join(values))


def _parse(piece: str) -> dict[str, Any]:
    match = _PIECE.fullmatch(piece.strip())
    if match is None:
        raise _Refusal(piece, "there is no '=', '<=' or '>='", "write feature=value, as in contact_count=24")
    of, feature = _subject(match["name"].strip())
    what, operator = match["what"].strip(), match["operator"]
    name, what = present_words(feature.name, what)
    feature = FEATURES[name]
    if not what:
        raise _Refusal(piece, "nothing follows the operator", "leave the piece out if nothing was observed")
    if operator != "=" and feature.kind not in (Kind.DIMENSION, Kind.COUNT):
        raise _Refusal(operator, f"{feature.label} cannot have a bound", f"write {feature.name}={what}")
    observation: dict[str, Any] = {"feature": feature.name}
    if of is not None:
        observation["of"] = of
    return observation | _what(feature, operator, what)


def _subject(name: str) -> tuple[str | None, Feature]:
    head, point, rest = name.partition(".")
    of = head.lower() if point and head.lower() in tuple(Of) else None
    if point and of is None:
        raise _Refusal(head, f"{head!r} is not a body", "write this., other. or pair. before the feature, or nothing")
    wanted = rest if of is not None else name
    feature = FEATURES.get(_NAMES.get(_plain(wanted), ""))
    if feature is None:
        raise _Refusal(wanted, f"the feature {wanted!r} is not known", feature_remedy(wanted))
    return of, feature


def _plain(name: str) -> str:
    return re.sub(r"[\s_-]+", " ", name).strip().lower()


_NAMES = {
    _plain(word): feature.name
    for feature in reversed(tuple(FEATURES.values()))
    for word in (*feature.synonyms, feature.label, feature.name)
}
"""Every name, label and synonym of a feature; if two features share a word, it means the first in the table."""


def _what(feature: Feature, operator: str, what: str) -> dict[str, Any]:
    if feature.kind is Kind.DIMENSION:
        return _length(operator, what if feature.is_pitch else _without_fraction(what))
    if feature.kind is Kind.COUNT:
        return _count(operator, what)
    if feature.kind is Kind.TEXT:
        return {"value": what}
    return _fit(what) if feature.kind is Kind.FIT else {"value": _values(feature, what)}


def _count(operator: str, what: str) -> dict[str, Any]:
    if operator == "=" and ".." in what:
        return {name: _whole(text) for name, text in _limits(what)}
    return {_BOUNDS.get(operator, "value"): _whole(what)}


def _limits(text: str) -> list[tuple[str, str]]:
    low, _, high = text.partition("..")
    limits = [(name, limit) for name, limit in (("min", low.strip()), ("max", high.strip())) if limit]
    if not limits:
        raise _Refusal(text, "neither bound is given", "write low..high, low.. or ..high")
    return limits


def _whole(text: str) -> int:
    if not re.fullmatch(r"\d{1,9}", text.strip()):
        raise _Refusal(text, f"{text!r} is not a whole number", "write it in digits, as in contact_count=24")
    return int(text)


def _length(operator: str, what: str) -> dict[str, Any]:
    plain, *more = _MORE.split(what)
    return _plain_length(operator, plain.strip()) | dict(_further(field) for field in more)


def _without_fraction(what: str) -> str:
    """A fraction of an inch (halves to 128ths) as an exact decimal. Not for a pitch, where ``/`` divides by gaps."""
    match = _FRACTION.fullmatch(what)
    if match is None:
        return what
    inches = int(match["whole"] or 0) + Fraction(int(match["over"]), int(match["under"]))
    return f"{format(Decimal(inches.numerator) / inches.denominator, 'f')}{match['rest']}"


def _further(text: str) -> tuple[str, Any]:
    name, _, given = text.partition("=")
    if name == "plane":
        return name, given.strip()
    if name not in MORE_FIELDS:
        known = (*MORE_FIELDS, "plane")
        raise _Refusal(name, f"{name!r} is not a field of a length", remedy_for(known, closest(name, known)))
    return name, _number(given)


def _plain_length(operator: str, what: str) -> dict[str, Any]:
    match = _LENGTH.fullmatch(what.replace("+-", "±").replace("+/-", "±"))
    if match is None:
        example = "6.52, 6.52±0.03, 4.41/11 or 0.2565in@caliper"
        raise _Refusal(what, "this cannot be read as a length", f"write it as {example}")
    parts = {name: part.strip() for name, part in match.groupdict().items() if part is not None}
    if parts.get("spans") == "":
        _spans(parts.get("spans_unit", ""))
    if not parts["numbers"]:
        raise _Refusal(what, f"{what!r} is not a number", "write digits with a decimal point, as in 6.52")
    unit = _unit(parts)
    observation = _readings(operator, parts["numbers"], unit.get("unit", "mm")) | unit
    if "limit" in parts:
        observation["plus_minus"] = _number(parts["limit"])
    if "spans" in parts:
        observation["spans"] = _spans(parts["spans"])
    return observation | {name: parts[name] for name in ("instrument", "image") if name in parts}


def _readings(operator: str, numbers: str, unit: str) -> dict[str, Any]:
    if operator == "=" and ".." in numbers:
        return {name: _number(text) for name, text in _limits(numbers)}
    readings = [_number(text) for text in numbers.split(",")]
    if operator != "=":
        if len(readings) > 1:
            raise _Refusal(numbers, "a bound is one number", "write a decimal point")
        return {_BOUNDS[operator]: readings[0]}
    if len(readings) == 1:
        return {"value": readings[0]}
    if max(readings) > 0 and max(readings) > LARGEST_RATIO * min(readings):
        raise _Refusal(
            numbers,
            "these are not repeated readings of one length",
            "write decimal points, and commas only between repeated readings",
        )
    if unit in COARSE_UNITS and _ONE_COMMA.fullmatch(numbers.strip()):
        dotted = numbers.strip().replace(",", ".")
        two = ",".join(f"{reading:.1f}" for reading in readings)
        raise _Refusal(
            numbers, "this may be one number or two", f"write {dotted} for one number, {two} for two readings"
        )
    return {"readings": readings}


def _number(text: str) -> float:
    if not re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)", text.strip()) or len(text) > 30:
        raise _Refusal(text, f"{text!r} is not a number", "write digits with a decimal point, as in 6.52")
    return float(text)


def _spans(text: str) -> int:
    if not re.fullmatch(r"\d{1,4}", text) or int(text) < 1:
        raise _Refusal(
            f"/{text}", "the number of gaps is a whole number", "write the gaps (not contacts) after /, as in 4.41/11"
        )
    return int(text)


def _unit(parts: Mapping[str, str]) -> dict[str, str]:
    given = {parts[name] for name in ("unit", "limit_unit", "spans_unit") if name in parts}
    try:
        units = {canonical_unit(unit) for unit in given}
    except ObservationError as error:
        raise _Refusal(str(error.value), error.message, error.remedy) from None
    if len(units) > 1:
        raise _Refusal(" ".join(sorted(given)), "two units in one piece", "write the limit in the reading's unit")
    return {"unit": units.pop()} if units else {}


def _values(feature: Feature, what: str) -> list[str]:
    words = {name: (label,) for name, label in feature.values.items()}
    known = {_plain(word): name for name, label in feature.values.items() for word in (label, name)}
    found = []
    for text in what.split(","):
        name = known.get(_plain(text)) or "".join(named_values(feature, text))
        if name not in feature.values:
            raise _Refusal(
                text,
                f"{text.strip()!r} is not a value of {feature.name}",
                remedy_for(feature.values, closest_meaning(text, words)),
            )
        found.append(name)
    return found


def _fit(what: str) -> dict[str, Any]:
    verdict, _, key = what.partition(":")
    if verdict not in ("mates", "not") or not key:
        raise _Refusal(what, "this does not say whether it mated, and with which half", "write mates:KEY or not:KEY")
    return {"value": {"half": key, "mates": verdict == "mates"}}
