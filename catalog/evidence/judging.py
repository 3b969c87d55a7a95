"""What one confirmation says of an entry as it is now."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from catalog.evidence.agreement import FeatureAgreement, Stated, Verdict, agreement, stated
from catalog.evidence.estimates import same_figure
from catalog.evidence.measured import MeasuredValue
from catalog.evidence.standing import EntryRecord
from catalog.evidence.statements import Confirmation, Dispute, Sighting
from catalog.model.entries import Citation, Half, Mating, Series
from matcher.features import FEATURES

COUNTED, OPEN = "listed", "open"
"""State of a confirmation or sighting that counts, and of a dispute that is open."""


@dataclass(frozen=True, kw_only=True)
class Assessed:
    """An entry, as far as its standing depends on it: its content, and the columns beside it.

    ``otherwise`` are those revisions since ``substance_revision`` that had other figures: an entry that was changed and
    changed back. ``key`` is the one it was listed under: that of a mating stays although its stack height, part of
    it, is corrected.
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
        """Which record it is."""
        return self.content.record

    def is_stale(self, revision: int) -> bool:
        """Whether a revision had other figures than the entry has now."""
        return revision < self.substance_revision or revision in self.otherwise

    @property
    def citation(self) -> Citation | None:
        """The document that it cites itself."""
        return self.content.citation if isinstance(self.content, Mating) else self.content.datasheet

    @property
    def figures(self) -> Stated | None:
        """What it states to be measured; None for a series, whose halves are measured instead."""
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
    """A confirmation and what it says of the entry as it is now.

    ``counts``: it stands, nobody set it aside, and it speaks of the figures in force; ``stale``: it speaks of earlier
    ones. ``agrees`` and ``contradicts`` are judged either way (both False: it settles nothing), ``words`` sums it up.
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
        """Whether it is a measurement, or of a mating the trial that measures it."""
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
    """What a confirmation says of the entry; ``set_aside`` are the keys of those that count no more."""
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
    """Whether it speaks of other figures than those in force.

    A measurement is of the part, and is judged against the figures in force whatever stood there for a while: it is
    stale only where they are younger than it, since then they may have been made from it.
    """
    if confirmation.basis == "measured":
        return confirmation.revision < entry.substance_revision
    return entry.is_stale(confirmation.revision)


def _outcome(confirmation: Confirmation, features: Sequence[FeatureAgreement], entry: Assessed) -> _Outcome:
    if confirmation.basis == "measured":
        return _of_measurement(confirmation, features)
    return _of_document(confirmation, entry) if confirmation.basis == "document" else _of_trial_fit(confirmation)


def _of_measurement(confirmation: Confirmation, features: Sequence[FeatureAgreement]) -> _Outcome:
    """It agrees where nothing is against it and at least one length fits closely enough to tell."""
    against = [each for each in features if each.verdict.against]
    if against:
        contradicts = any(each.verdict is Verdict.CONTRADICTS for each in against)
        return _Outcome(contradicts=contradicts, words="; ".join(_told(each) for each in against))
    lengths = {value.feature for value in confirmation.values if isinstance(value, MeasuredValue)}
    fitting = [each for each in features if each.verdict is Verdict.FITS]
    if any(each.feature in lengths for each in fitting):
        return _Outcome(agrees=True, words="agrees in " + ", ".join(FEATURES[each.feature].label for each in fitting))
    settles = "settles nothing: no length that the entry states is measured closely enough"
    return _Outcome(words="; ".join([settles, *(_told(each) for each in features if each not in fitting)]))


def _told(each: FeatureAgreement) -> str:
    return f"{FEATURES[each.feature].label}: {each.words}"


def _of_document(confirmation: Confirmation, entry: Assessed) -> _Outcome:
    """A document that differs competes with the entry's figures; it does not contradict as a measurement does."""
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
        return _Outcome(words=f"{fit}; that measures nothing of the half")
    return _Outcome(agrees=mates, contradicts=not mates, words="mates" if mates else "does not mate when tried")
