"""Several halves side by side, in words: every feature, where they differ, and what tells them apart."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from api.web.catalogue.telling_apart import MOSTLY, SAME_MM, SURE, Apart, Told
from api.web.page.addresses import COMPARE, half_page, of_halves
from api.web.page.figures import BOUND_WORDS, headline, label, mm, values_in_words
from catalog.evidence.agreement import stated
from catalog.records.read_models import HalfRecord
from matcher.columns.process_tolerance import process_interval
from matcher.features import CATEGORIES, COUNTS, DIMENSIONS, FEATURES
from matcher.uncertainty.instruments import BUILT_IN, Instrument

NUMBERS = "1234"
"""Names of the halves on the page, as the drawing numbers its layers."""

PER_HUNDRED = 100
"""Shares are told as so many readings of a hundred."""

DRAWN = 4
"""Dimensions drawn: a line for each half, so that more would hide the halves."""

MARK_WORDS = {
    "sure": "tells them apart",
    "mostly": "mostly tells them apart",
    "hint": "gives a hint",
    "no": "cannot tell",
}


@dataclass(frozen=True, kw_only=True)
class Column:
    """One half."""

    number: str
    key: str
    page: str
    part_number: str
    described: str
    maker: str
    without: str


@dataclass(frozen=True, kw_only=True)
class PairWords:
    """Two halves by one feature: who, a mark (sure, mostly, hint, no), and why."""

    who: str
    mark: str
    verdict: str
    why: str


@dataclass(frozen=True, kw_only=True)
class Row:
    """One feature of all halves; ``notes`` stands where no pair can be judged."""

    feature: str
    label: str
    cells: tuple[str, ...]
    differs: bool
    pairs: tuple[PairWords, ...] = ()
    note: str = ""


def columns(records: Sequence[HalfRecord]) -> tuple[Column, ...]:
    """The halves, each with the address of the page without it."""
    keys = [record.key for record in records]
    return tuple(
        Column(
            number=number,
            key=record.key,
            page=half_page(record.key),
            part_number=record.half.part_number,
            described=headline(record.half),
            maker=f"{record.half.maker}, {record.half.series}",
            without=of_halves(COMPARE, [key for key in keys if key != record.key]) if len(keys) > 2 else "",
        )
        for number, record in zip(NUMBERS, records, strict=False)
    )


def rows(records: Sequence[HalfRecord], judged: Sequence[Apart], instrument: Instrument) -> tuple[Row, ...]:
    """Every feature that one of the halves has: counts, dimensions, categories; what differs and is told
    apart best comes first."""
    telling = {each.feature: each.weakest for each in judged if each.can}
    dimensions = sorted(
        _dimensions(records, judged, instrument), key=lambda row: -telling.get(row.feature, 0.0) if row.differs else 0.0
    )
    found = [*_counts(records), *dimensions, *_categories(records)]
    return tuple(sorted(found, key=lambda row: not row.differs))


def _counts(records: Sequence[HalfRecord]) -> Iterator[Row]:
    figures = [stated(record.half).counts for record in records]
    for name in COUNTS:
        cells = tuple(str(own[name]) if name in own else "" for own in figures)
        if any(cells):
            differs = _differ(cells)
            note = "count them, both rows, twice" if differs else ""
            yield Row(feature=name, label=label(name), cells=cells, differs=differs, note=note)


def _categories(records: Sequence[HalfRecord]) -> Iterator[Row]:
    named = [stated(record.half).categories for record in records]
    for name in CATEGORIES:
        cells = tuple(values_in_words(name, sorted(own[name])) if name in own else "" for own in named)
        if any(cells):
            differs = _differ(cells)
            right = round(FEATURES[name].right_share * PER_HUNDRED)
            note = f"look: people name it rightly {right} times of a hundred" if differs else ""
            yield Row(feature=name, label=label(name), cells=cells, differs=differs, note=note)


def _differ(cells: Sequence[str]) -> bool:
    """Whether two that are known are not the same."""
    return len({cell for cell in cells if cell}) > 1


def _dimensions(records: Sequence[HalfRecord], judged: Sequence[Apart], instrument: Instrument) -> Iterator[Row]:
    by_name = {each.feature: each for each in judged}
    for name in DIMENSIONS:
        cells = tuple(_cell(record, name) for record in records)
        if not any(cells):
            continue
        one = by_name.get(name)
        differs = one is not None and one.differs
        pairs = tuple(_pair(each) for each in one.pairs) if one is not None and differs and one.can else ()
        note = _other_instruments(name, instrument) if differs and not pairs else ""
        yield Row(feature=name, label=f"{label(name)}, mm", cells=cells, differs=differs, pairs=pairs, note=note)


def _cell(record: HalfRecord, name: str) -> str:
    own = record.half.dimensions.get(name)
    if own is None:
        return ""
    pitch = record.half.dimensions.get("pitch")
    if own.tolerance is not None:
        allowed = f" ± {mm(own.tolerance)}"
    else:
        figures = stated(record.half).dimensions[name]
        allowed = f" (± {mm(process_interval(name, figures, pitch.value if pitch else None)[1])} assumed)"
    measured = f"; {mm(record.better_known[name].value)} as measured" if name in record.better_known else ""
    return f"{BOUND_WORDS[own.bound]} {mm(own.value)}{allowed}{measured}".strip()


def _pair(told: Told) -> PairWords:
    return PairWords(
        who=f"{NUMBERS[told.first]} and {NUMBERS[told.second]}",
        mark=told.mark,
        verdict=MARK_WORDS[told.mark],
        why=_why(told),
    )


def _why(told: Told) -> str:
    if abs(told.difference) < SAME_MM:
        return "the same figure"
    return f"{mm(abs(told.difference))} mm apart; {of_hundred(told.share)} readings of 100 point to the right one"


def of_hundred(share: float) -> str:
    """A share of readings as a person counts them; 100 only where none in a thousand is wrong."""
    if share > 0.9995:
        return "100"
    return "more than 99" if share >= SURE else str(round(share * PER_HUNDRED))


def _other_instruments(name: str, instrument: Instrument) -> str:
    """What reaches a dimension that the chosen instrument does not."""
    names = [
        BUILT_IN[each].label for each in FEATURES[name].instruments if each in BUILT_IN and not BUILT_IN[each].unscaled
    ]
    listed = "; ".join(names[:3])
    return f"not with a {instrument.label}: take a {listed}" if listed else ""


def most_telling(judged: Sequence[Apart]) -> list[str]:
    """The dimensions to draw: of those that differ the few that the instrument tells best."""
    differing = [each for each in judged if each.differs]
    differing.sort(key=lambda each: (not each.can, -max(pair.share for pair in each.pairs)))
    return [each.feature for each in differing[:DRAWN]]


def in_a_sentence(judged: Sequence[Apart], instrument: Instrument, count: int) -> str:
    """What to measure, or that nothing tells them apart."""
    usable = [each for each in judged if each.can and each.differs and _all_stated(each, count)]
    whom = "the two" if count == 2 else f"all {count}"
    if not usable:
        different = any(each.differs for each in judged)
        if not different:
            return "No dimension that is stated of both differs: whoever measures cannot tell these halves apart."
        return f"No dimension that differs is within reach of a {instrument.label}."
    best = max(usable, key=lambda each: each.weakest)
    how = f" over {best.spans} gaps" if best.spans > 1 else ""
    name = FEATURES[best.feature].label
    if best.weakest >= MOSTLY:
        verb = "tells" if best.weakest >= SURE else "mostly tells"
        return (
            f"Measure the {name}{how}: it {verb} {whom} apart with a {instrument.label} "
            f"({of_hundred(best.weakest)} readings of 100 point to the right one)."
        )
    return (
        f"No one dimension tells {whom} apart with a {instrument.label}. The best is the {name}{how}: "
        f"{of_hundred(best.weakest)} readings of 100 point to the right one of the closest two."
    )


def counting(records: Sequence[HalfRecord]) -> str:
    """Whether counting contacts tells them apart; empty where all have as many."""
    counts = [record.half.contact_count for record in records]
    different = len(set(counts))
    if different == 1:
        return ""
    return "Count the contacts: " + ("they tell every half." if different == len(counts) else "they tell some of them.")


def _all_stated(each: Apart, count: int) -> bool:
    return sum(reading is not None for reading in each.readings) == count
