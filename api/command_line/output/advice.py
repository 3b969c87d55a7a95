"""Printed advice on the next measurement: below an answer, and as questions of the dialogue."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich.console import RenderableType
from rich.text import Text

from api.command_line.output.console import bullet, indented, plain
from api.identification import answer_words as words
from api.identification.advising import worth_taking
from api.schemas.answers import FurtherMeasuring, NextMeasurement
from api.schemas.words import REASON_WORDS
from matcher.features import FEATURES, Feature, Kind
from matcher.plus_minus import LIMIT
from matcher.results import Reason
from matcher.uncertainty.instruments import BUILT_IN

SHOWN = 3
"""Measurements listed below an answer; the JSON answer has all."""

EXPECTED_FROM = 0.05
"""Least probability of the leading answer for showing expected values: below it, the leaders are a few of very many."""

SHOWN_PREDICTIONS = 3
"""Candidates whose values are shown beside a measurement."""


def advice_blocks(measurements: Sequence[NextMeasurement], further: FurtherMeasuring) -> Iterator[RenderableType]:
    """Whether to measure further, and what."""
    worth = [each for each in measurements if worth_taking(each)]
    shown = [] if further.settled or further.reason is Reason.MATES_DIFFER else worth[:SHOWN]
    if not shown and further.reason is Reason.KEEP_MEASURING:
        return
    yield plain("")
    yield Text("Next to measure", style="bold")
    if further.reason is not Reason.KEEP_MEASURING:
        yield plain(REASON_WORDS[further.reason])
    yield from (bullet(_line(each, further)) for each in shown)


def _line(advised: NextMeasurement, further: FurtherMeasuring) -> str:
    expected = _expected(advised, further)
    told = f"{_what(advised)}: {words.doubt_removed(advised, further.open_bits)}"
    return f"{told}. Expect {expected}" if expected else told


def _what(advised: NextMeasurement) -> str:
    """Feature, instrument and tolerable uncertainty."""
    feature = FEATURES[advised.feature]
    how = [] if advised.instrument is None else [BUILT_IN[advised.instrument].label]
    if advised.spans is not None:
        how.append(f"over {advised.spans} gap{'s' if advised.spans > 1 else ''}")
    if advised.measure_to_within_mm is not None:
        how.append(f"{LIMIT} at most ±{advised.measure_to_within_mm:g} mm")
    again, with_what = " again" if advised.again else "", f" ({', '.join(how)})" if how else ""
    return f"{feature.label}{again}{with_what}"


def _expected(advised: NextMeasurement, further: FurtherMeasuring) -> str:
    """The values of the leading halves; halves with equal values are listed together."""
    if further.probability < EXPECTED_FROM:
        return ""
    by_value: dict[str, list[str]] = {}
    for each in advised.predicted[:SHOWN_PREDICTIONS]:
        by_value.setdefault(_value(each.value), []).append(each.part_number)
    return "; ".join(f"{value} for {', '.join(names)}" for value, names in by_value.items())


def _value(value: float | int | str) -> str:
    return f"{value:.3f} mm" if isinstance(value, float) else str(value).replace("_", " ")


def question_blocks(number: int, advised: NextMeasurement, further: FurtherMeasuring) -> Iterator[RenderableType]:
    """One question of the dialogue."""
    feature = FEATURES[advised.feature]
    yield plain("")
    yield Text(f"{number}. {_what(advised)}", style="bold")
    yield indented(feature.meaning, 3)
    if feature.values:
        yield indented("One of: " + ", ".join(feature.values), 3)
    if advised.spans is not None:
        yield indented(f"Write reading/gaps, as in {_example(advised)}.", 3)
    expected = "" if feature.values else _expected(advised, further)
    expect = f"; expect {expected}" if expected else ""
    tells = words.doubt_removed(advised, further.open_bits)
    yield indented(f"{tells[0].upper()}{tells[1:]}{expect}.", 3)


def _example(advised: NextMeasurement) -> str:
    numbers = [each.value for each in advised.predicted if isinstance(each.value, float)]
    spans = advised.spans or 1
    return f"{(numbers[0] if numbers else 1.0) * spans:.2f}/{spans}"


def help_blocks(feature: Feature) -> Iterator[RenderableType]:
    """How to measure the feature."""
    yield indented(feature.how, 3)
    if feature.synonyms:
        yield indented("Also called: " + ", ".join(feature.synonyms), 3)
    if feature.kind in (Kind.CATEGORY, Kind.LABELS):
        yield from (indented(f"{name}: {meaning}", 3) for name, meaning in feature.values.items())
