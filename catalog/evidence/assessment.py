"""The assessment of an entry: each confirmation judged, the standing with its reasons, and estimates. Pure."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from types import MappingProxyType

from catalog.evidence.agreement import AGREES, FeatureAgreement, Stated, Verdict, agreement, stated
from catalog.evidence.estimates import (
    Competing,
    DocumentValue,
    Estimate,
    competing,
    estimates,
    is_complete,
    same_figure,
)
from catalog.evidence.standing import EntryRecord, Standing, StandingFacts, standing, why
from catalog.evidence.statements import Confirmation, Dispute, Sighting
from catalog.evidence.values import MeasuredValue
from catalog.model.entries import Half, Mating, Series, slug
from catalog.model.entry_parts import Citation
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
    """The assessment of one entry."""

    standing: Standing
    why: tuple[str, ...]
    confirmations: tuple[JudgedConfirmation, ...] = ()
    estimates: Mapping[str, Estimate] = field(default_factory=lambda: MappingProxyType({}))
    competing: tuple[Competing, ...] = ()
    disputes: tuple[OpenDispute, ...] = ()
    sightings: int = 0

    @property
    def better(self) -> dict[str, Dim]:
        """Dimensions whose measured value is better known than the stated one, as the matcher reads them."""
        return {name: each.dim for name, each in self.estimates.items() if each.ranked == "measured"}


INFERRED = Assessment(
    standing="reported", why=("Nobody listed it: it follows from its series, and can be added to be confirmed.",)
)
"""The assessment of a half that is not listed."""


def assess(entry: Assessed, said: Sequence[Said]) -> Assessment:
    """The assessment of an entry from the documents about it, given in the order in which they were added."""
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
    """Most entries have no documents and share a few authors, so one assessment serves many."""
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
    """Measurements that contradict the entry one by one, and small differences that do so together."""
    for each in counted:
        if each.contradicts:
            yield f"{each.author}: {each.words}"
    for name, estimate in measured.items():
        if estimate.contradicts:
            people, value = estimate.measured.people, estimate.measured.value
            off = f"{estimate.e_n or AGREES:.2g} times what the tolerance and the measurement allow off the stated one"
            yield f"{people} people together: {FEATURES[name].label} {value:.4g} mm, {off}"


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


COUNTED, OPEN = "listed", "open"
"""State of a confirmation or sighting that counts, and of a dispute that is open."""


@dataclass(frozen=True, kw_only=True)
class Assessed:
    """The parts of an entry that its standing depends on: its content and the columns beside it.

    ``otherwise`` are the revisions since ``substance_revision`` that had other figures: an entry that was changed and
    changed back. ``key`` is the one under which it was listed: a mating keeps its key when its stack height, which is
    part of the key, is corrected.
    """

    key: str
    content: Half | Series | Mating
    revision: int
    substance_revision: int
    author: str
    clean: bool
    state: str = "listed"
    successor: str | None = None
    otherwise: frozenset[int] = frozenset()

    @property
    def of(self) -> EntryRecord:
        """The kind of record."""
        return self.content.record

    def is_stale(self, revision: int) -> bool:
        """Whether a revision had other figures than the entry has now."""
        return revision < self.substance_revision or revision in self.otherwise

    @property
    def citation(self) -> Citation | None:
        """The document that the entry cites."""
        return self.content.citation if isinstance(self.content, Mating) else self.content.datasheet

    @property
    def figures(self) -> Stated | None:
        """The stated figures that can be measured; None for a series, whose halves are measured instead."""
        return None if isinstance(self.content, Series) else stated(self.content)


@dataclass(frozen=True, kw_only=True)
class Said:
    """One document about an entry, with who said it and when; ``state`` tells whether it still counts."""

    key: str
    author: str
    added_at: str
    state: str
    statement: Sighting | Confirmation | Dispute


@dataclass(frozen=True, kw_only=True)
class JudgedConfirmation:
    """A confirmation and how it compares with the entry as it is now.

    ``counts``: it is not withdrawn or set aside and is about the current figures; ``stale``: it is about earlier ones.
    ``agrees`` and ``contradicts`` are judged in both cases (both False: it settles nothing); ``words`` is a summary.
    """

    key: str
    author: str
    added_at: str
    state: str
    confirmation: Confirmation
    features: tuple[FeatureAgreement, ...]
    counts: bool
    stale: bool
    agrees: bool
    contradicts: bool
    words: str

    @property
    def measures(self) -> bool:
        """Whether it is a measurement; for a mating a trial fit is one too."""
        return self.confirmation.basis == "measured" or self._tries_a_mating

    @property
    def _tries_a_mating(self) -> bool:
        return self.confirmation.basis == "trial_fit" and self.confirmation.of == "mating"


@dataclass(frozen=True, kw_only=True)
class _Outcome:
    agrees: bool = False
    contradicts: bool = False
    words: str = ""


def judge(
    said: Said, confirmation: Confirmation, entry: Assessed, figures: Stated | None, set_aside: frozenset[str]
) -> JudgedConfirmation:
    """Judge a confirmation; ``set_aside`` are the keys of confirmations that no longer count."""
    features = () if figures is None else tuple(agreement(value, figures) for value in confirmation.values)
    outcome = _outcome(confirmation, features, entry)
    stands = said.state == COUNTED and said.key not in set_aside
    stale = stands and _is_stale(confirmation, entry)
    return JudgedConfirmation(
        key=said.key,
        author=said.author,
        added_at=said.added_at,
        state=said.state,
        confirmation=confirmation,
        features=features,
        counts=stands and not stale,
        stale=stale,
        agrees=outcome.agrees,
        contradicts=outcome.contradicts,
        words=outcome.words,
    )


def _is_stale(confirmation: Confirmation, entry: Assessed) -> bool:
    """Whether it is about other figures than the current ones.

    A measurement is of the part itself and is judged against the current figures, whatever was stated in between. It is
    stale only if the current figures are newer, since they may have been taken from it.
    """
    if confirmation.basis == "measured":
        return confirmation.revision < entry.substance_revision
    return entry.is_stale(confirmation.revision)


def _outcome(confirmation: Confirmation, features: Sequence[FeatureAgreement], entry: Assessed) -> _Outcome:
    if confirmation.basis == "measured":
        return _of_measurement(confirmation, features)
    return _of_document(confirmation, entry) if confirmation.basis == "document" else _of_trial_fit(confirmation)


def _of_measurement(confirmation: Confirmation, features: Sequence[FeatureAgreement]) -> _Outcome:
    """It agrees if nothing contradicts and at least one length fits and was measured closely enough."""
    against = [each for each in features if each.verdict.against]
    if against:
        contradicts = any(each.verdict is Verdict.CONTRADICTS for each in against)
        return _Outcome(contradicts=contradicts, words="; ".join(_told(each) for each in against))
    lengths = {value.feature for value in confirmation.values if isinstance(value, MeasuredValue)}
    fitting = [each for each in features if each.verdict is Verdict.FITS]
    if any(each.feature in lengths for each in fitting):
        return _Outcome(agrees=True, words="agrees in " + ", ".join(FEATURES[each.feature].label for each in fitting))
    settles = "settles nothing: no length that the entry states was measured closely enough"
    return _Outcome(words="; ".join([settles, *(_told(each) for each in features if each not in fitting)]))


def _told(each: FeatureAgreement) -> str:
    return f"{FEATURES[each.feature].label}: {each.words}"


def _of_document(confirmation: Confirmation, entry: Assessed) -> _Outcome:
    """A document with other figures competes with the entry's; it does not contradict them as a measurement does."""
    own = {} if isinstance(entry.content, Series) else entry.content.dimensions
    differing = [
        f"{FEATURES[name].label}: the document gives {dimension.value:g} mm, the entry {own[name].value:g} mm"
        for name, dimension in confirmation.stated.items()
        if name in own and not same_figure(dimension, own[name])
    ]
    if differing:
        return _Outcome(words="; ".join(differing))
    return _Outcome(agrees=True, words="the document gives these figures")


def _of_trial_fit(confirmation: Confirmation) -> _Outcome:
    mates = confirmation.result == "mates"
    fit = f"{'mates' if mates else 'does not mate'} with {confirmation.mate}"
    if confirmation.of == "half":
        return _Outcome(words=f"{fit}; that does not measure the half")
    return _Outcome(agrees=mates, contradicts=not mates, words="mates" if mates else "does not mate when tried")
