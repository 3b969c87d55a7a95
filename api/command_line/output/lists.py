"""Printed features, instruments, search hits and import reports."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich.console import RenderableType
from rich.text import Text

from api.command_line.output.console import plain, table
from api.identification.triage import TRIAGE
from api.schemas.history import LISTED_AT
from catalog.footprints import FootprintReport
from catalog.history.addition import AddReport
from catalog.model.entry_states import ENTRIES
from catalog.snapshot.search import Hit
from matcher.features import FEATURES, Feature, Kind
from matcher.uncertainty.instruments import BUILT_IN

SHOWN_SKIPPED = 10
"""Skipped files listed in an import's report; ``--skipped`` lists all."""


def feature_table() -> RenderableType:
    """A table of all features."""
    rows = table("feature", "also", "range")
    for feature in FEATURES.values():
        also = ", ".join((feature.label, *feature.synonyms))
        rows.add_row(feature.name, plain(also), _span(feature))
    return rows


def feature_blocks(feature: Feature) -> Iterator[RenderableType]:
    """One feature in full."""
    yield Text(f"{feature.name}: {feature.label}", style="bold")
    yield plain(feature.meaning)
    yield plain(f"How: {feature.how}")
    if feature.synonyms:
        yield plain(f"Also called: {', '.join(feature.synonyms)}")
    if feature.high:
        yield plain(f"Usual range: {_span(feature)}")
    for value, label in feature.values.items():
        yield plain(f"  {value}: {label}")
    for name in feature.instruments:
        yield plain(f"  @{name}: {BUILT_IN[name].label}. {BUILT_IN[name].note}")
    yield plain(f"For example: {example(feature)}")


def example(feature: Feature) -> str:
    """An example of the short form for this feature, with a value from the middle of its range."""
    middle = (feature.low * feature.high) ** 0.5 if feature.low else feature.high / 8
    if feature.kind is Kind.DIMENSION:
        return f"{feature.name}={middle * 11:.2f}/11" if feature.is_pitch else f"{feature.name}={middle:.2f}"
    if feature.kind is Kind.COUNT:
        return f"{feature.name}={round(middle)}"
    if feature.kind is Kind.TEXT:
        return f"{feature.name}=T2"
    return f"{feature.name}=mates:KEY" if feature.kind is Kind.FIT else f"{feature.name}={next(iter(feature.values))}"


def triage_blocks() -> Iterator[RenderableType]:
    """What is out of scope, how to recognise it, and what to do instead."""
    yield plain("This program does not identify these connectors:")
    rows = table("kind", "how to recognise it", "what to do")
    for each in TRIAGE:
        rows.add_row(plain(each.name), plain(each.sign), plain(f"{each.reason} {each.instead}"))
    yield rows


def hit_table(hits: Sequence[Hit]) -> RenderableType:
    """A table of search hits."""
    rows = table("what", "name", "key", "found in")
    for hit in hits:
        rows.add_row(hit.kind, plain(hit.label), plain(hit.key), plain(hit.matched))
    return rows


def added_lines(report: AddReport) -> Iterator[Text]:
    """What was added, and what was there already."""
    for record in ENTRIES:
        added, unchanged = report.added.get(record, 0), report.unchanged.get(record, 0)
        if added or unchanged:
            there = f", {unchanged} already there" if unchanged else ""
            yield plain(f"{LISTED_AT[record]}: {added} added{there}")


def footprint_lines(report: FootprintReport, *, every: bool) -> Iterator[Text]:
    """What an import of footprints read and skipped, and which dimensions are doubtful."""
    yield plain(f"{report.read} footprints read, {report.imported} halves in {report.series} series")
    yield plain(f"{report.matings} matings proposed from size; {report.without_mate} halves have no mate")
    yield plain(f"{report.patterns} halves with their lands one by one")
    if report.doubtful:
        yield plain(f"{report.doubtful} halves have a doubtful dimension, which counts for less")
    for reason, number in report.skipped_by_reason.items():
        yield plain(f"{number} skipped: {reason}")
    named = report.skipped if every else report.skipped[:SHOWN_SKIPPED]
    for item in named:
        yield plain(f"  {item.file}: {item.reason}" + (f" ({item.detail})" if item.detail else ""))
    if len(named) < len(report.skipped):
        yield plain(f"  and {len(report.skipped) - len(named)} more; --skipped lists them all")


def _span(feature: Feature) -> str:
    if feature.kind is Kind.DIMENSION:
        return f"{feature.low:g} to {feature.high:g} mm"
    if feature.kind is Kind.COUNT:
        return f"{feature.low:.0f} to {feature.high:.0f}"
    return f"{len(feature.values)} values" if feature.values else ""
