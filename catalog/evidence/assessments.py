"""What everything said about an entry comes to: standing, reasons, estimates, competing documents. Pure."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from types import MappingProxyType

from catalog.evidence.agreement import AGREES, Stated
from catalog.evidence.estimates import Competing, DocumentValue, Estimate, competing, estimates, is_complete
from catalog.evidence.judging import COUNTED, OPEN, Assessed, JudgedConfirmation, Said, judge
from catalog.evidence.measured import MeasuredValue
from catalog.evidence.standing import Standing, StandingFacts, standing, why
from catalog.evidence.statements import Confirmation, Dispute, Sighting
from catalog.model.entries import Series, slug
from matcher.columns.columns import Dim
from matcher.features import FEATURES


@dataclass(frozen=True, kw_only=True)
class OpenDispute:
    """A dispute that is open."""

    key: str
    author: str
    added_at: str
    dispute: Dispute


@dataclass(frozen=True, kw_only=True)
class Assessment:
    """What the evidence says of one entry."""

    standing: Standing
    why: tuple[str, ...]
    confirmations: tuple[JudgedConfirmation, ...] = ()
    estimates: Mapping[str, Estimate] = field(default_factory=lambda: MappingProxyType({}))
    competing: tuple[Competing, ...] = ()
    disputes: tuple[OpenDispute, ...] = ()
    sightings: int = 0

    @property
    def better(self) -> dict[str, Dim]:
        """Dimensions that are better known by measuring than by what the entry states, as the matcher reads them."""
        return {name: each.dim for name, each in self.estimates.items() if each.ranked == "measured"}


INFERRED = Assessment(
    standing="reported", why=("Nobody listed it: it follows from its series, and can be added to be confirmed.",)
)
"""Of a half that nobody listed."""


def assess(entry: Assessed, said: Sequence[Said]) -> Assessment:
    """What the documents about an entry come to, in the order in which they were added."""
    if not said:
        return _without_documents(_facts(entry))
    figures = entry.figures
    confirmations = tuple(_judged(entry, said, figures))
    counted = [each for each in confirmations if each.counts]
    measured = {} if figures is None else estimates(_measured(counted), figures)
    disputes = tuple(_open(said))
    facts = _facts(entry, confirmations, measured, len(disputes))
    return Assessment(
        standing=standing(facts),
        why=why(facts),
        confirmations=confirmations,
        estimates=MappingProxyType(measured),
        competing=() if figures is None else _competing(entry, counted, measured, figures),
        disputes=disputes,
        sightings=sum(isinstance(each.statement, Sighting) and each.state == COUNTED for each in said),
    )


@lru_cache(maxsize=4096)
def _without_documents(facts: StandingFacts) -> Assessment:
    """Most entries have no documents and few different authors: one assessment serves many."""
    return Assessment(standing=standing(facts), why=why(facts))


def _judged(entry: Assessed, said: Sequence[Said], figures: Stated | None) -> Iterator[JudgedConfirmation]:
    resolutions = [each.statement.resolution for each in said if isinstance(each.statement, Dispute)]
    set_aside = frozenset(key for one in resolutions if one is not None for key in one.set_aside)
    for each in said:
        if isinstance(each.statement, Confirmation):
            yield judge(each, each.statement, entry, figures, set_aside)


def _open(said: Sequence[Said]) -> Iterator[OpenDispute]:
    for each in said:
        if isinstance(each.statement, Dispute) and each.state == OPEN:
            yield OpenDispute(key=each.key, author=each.author, added_at=each.added_at, dispute=each.statement)


def _measured(confirmations: Sequence[JudgedConfirmation]) -> list[tuple[str, MeasuredValue]]:
    """Every measured length with who measured it; two spellings of one name are one person."""
    names: dict[str, str] = {}
    return [
        (names.setdefault(slug(each.author), each.author), value)
        for each in confirmations
        for value in each.confirmation.values
        if isinstance(value, MeasuredValue)
    ]


def _facts(
    entry: Assessed,
    confirmations: Sequence[JudgedConfirmation] = (),
    measured: Mapping[str, Estimate] = MappingProxyType({}),
    disputes: int = 0,
) -> StandingFacts:
    counted = [each for each in confirmations if each.counts]
    by_document = any(each.agrees and each.confirmation.basis == "document" for each in counted)
    return StandingFacts(
        of=entry.of,
        state=entry.state,
        successor=entry.successor,
        author=entry.author,
        cited=by_document or is_complete(entry.citation),
        clean=entry.clean,
        measurers=frozenset(each.author for each in counted if each.agrees and each.measures),
        contradictions=tuple(_contradictions(counted, measured)),
        disputes=disputes,
        stale=sum(each.stale for each in confirmations),
    )


def _contradictions(counted: Sequence[JudgedConfirmation], measured: Mapping[str, Estimate]) -> Iterator[str]:
    """Measurements that contradict each by itself, and small differences of several people that together do."""
    for each in counted:
        if each.contradicts:
            yield f"{each.author}: {each.words}"
    for name, estimate in measured.items():
        if estimate.contradicts:
            people, value = estimate.measured.people, estimate.measured.value
            yield f"{people} people together: {FEATURES[name].label} {value:.4g} mm, {_times(estimate)}"


def _times(estimate: Estimate) -> str:
    return f"{estimate.e_n or AGREES:.2g} times what tolerance and measurement allow off the stated one"


def _competing(
    entry: Assessed, counted: Sequence[JudgedConfirmation], measured: Mapping[str, Estimate], figures: Stated
) -> tuple[Competing, ...]:
    if isinstance(entry.content, Series):
        return ()
    own = {
        name: DocumentValue(dimension=dimension, source=entry.citation, said_by=entry.author)
        for name, dimension in entry.content.dimensions.items()
    }
    others: dict[str, list[DocumentValue]] = defaultdict(list)
    for each in counted:
        for name, dimension in each.confirmation.stated.items():
            source = each.confirmation.citation
            said = DocumentValue(dimension=dimension, source=source, said_by=each.author, confirmation=each.key)
            others[name].append(said)
    return competing(own, others, measured, figures.pitch)
