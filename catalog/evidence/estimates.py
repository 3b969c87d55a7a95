"""The best known value of each dimension, from the stated value, people's measurements and other documents."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from catalog.evidence.agreement import AGREES, Stated, deviation, spanned
from catalog.evidence.values import MeasuredValue
from catalog.model.entry_parts import Citation, Dimension
from matcher.columns.columns import Dim
from matcher.columns.process_tolerance import process_interval
from matcher.features import FEATURES
from matcher.plus_minus import INTERVAL
from matcher.uncertainty.interlaboratory import (
    COVERAGE,
    ConsensusValue,
    consensus_value,
    mean_of_one_person,
    normalised_error,
    stated_u,
)
from matcher.uncertainty.weighted_mean import DISAGREEMENT_LEVEL

Ranked = Literal["stated", "measured"]

SEVERAL = 2
"""People who must agree before their measurement replaces a stated value that it does not fit: one alone may be wrong.
"""

SAME_FIGURE = 0.005
"""Two documents give the same figure if they differ by at most this, mm: half of the last decimal in most drawings."""


@dataclass(frozen=True, kw_only=True)
class Part:
    """One person's value of a dimension, mm: ``u`` is its standard uncertainty, ``half_width`` that of the process."""

    person: str
    value: float
    u: float
    half_width: float


@dataclass(frozen=True, kw_only=True)
class Estimate:
    """What is known of one dimension, mm.

    ``measured`` combines people's measurements into the centre of the process, ``parts`` holds one value per person.
    ``stated`` and ``stated_u`` are the entry's centre and its standard uncertainty, ``e_n`` the measured centre against
    the drawing; None if it states none. ``ranked`` is the better known of both, ``explanation`` says why;
    ``half_width`` is the process's.
    """

    feature: str
    measured: ConsensusValue
    parts: tuple[Part, ...]
    stated: float | None
    stated_u: float | None
    e_n: float | None
    half_width: float
    ranked: Ranked
    explanation: str

    @property
    def contradicts(self) -> bool:
        """Whether several people agree with each other but together not with the entry."""
        return self.e_n is not None and self.e_n > AGREES and _united(self.measured)

    @property
    def dim(self) -> Dim:
        """The measured dimension as the matcher reads it."""
        return Dim(value=self.measured.value, tolerance=self.half_width, extra_u=self.measured.u)


def estimates(said: Sequence[tuple[str, MeasuredValue]], entry: Stated) -> dict[str, Estimate]:
    """One estimate for each measured dimension; each value comes with the person's name."""
    by_feature: dict[str, list[tuple[str, MeasuredValue]]] = defaultdict(list)
    for person, value in said:
        by_feature[value.feature].append((person, value))
    return {feature: _estimate(feature, values, entry) for feature, values in by_feature.items()}


@dataclass(frozen=True, kw_only=True)
class _Centre:
    """The stated centre and its standard uncertainty, mm, and how the measured centre compares with it.

    ``e_n`` is against the drawing; ``far``: it lies beyond what process and drawing allow for a part.
    """

    value: float
    u: float
    e_n: float
    far: bool


def _estimate(feature: str, said: Sequence[tuple[str, MeasuredValue]], entry: Stated) -> Estimate:
    """The process half-width over one gap follows the measured size if the entry states none."""
    if feature in entry.dimensions:
        half_width = entry.process(feature)[1]
    else:
        half_width = FEATURES[feature].process.half_width(said[0][1].value, entry.pitch)
    parts = tuple(_parts(feature, said, half_width))
    measured = consensus_value([p.value for p in parts], [p.u for p in parts], [p.half_width for p in parts])
    stated = _stated(feature, measured, entry)
    ranked, explanation = _rank(FEATURES[feature].label, measured, stated)
    return Estimate(
        feature=feature,
        measured=measured,
        parts=parts,
        stated=None if stated is None else stated.value,
        stated_u=None if stated is None else stated.u,
        e_n=None if stated is None else stated.e_n,
        half_width=half_width,
        ranked=ranked,
        explanation=explanation,
    )


def _parts(feature: str, said: Sequence[tuple[str, MeasuredValue]], half_width: float) -> Iterator[Part]:
    by_person: dict[str, list[MeasuredValue]] = defaultdict(list)
    for person, value in said:
        by_person[person].append(value)
    for person, values in sorted(by_person.items()):
        mean, u = mean_of_one_person([one.value for one in values], [one.u for one in values])
        spans = min(one.spans for one in values)
        yield Part(person=person, value=mean, u=u, half_width=spanned(feature, half_width, spans))


def _stated(feature: str, measured: ConsensusValue, entry: Stated) -> _Centre | None:
    own = entry.dimensions.get(feature)
    if own is None:
        return None
    centre, process = entry.process(feature)
    difference, drawing = deviation(feature, measured.value, entry)
    expanded = (measured.expanded, COVERAGE * own.extra_u)
    room = max(own.tolerance or 0.0, process)
    return _Centre(
        value=centre,
        u=stated_u(own.extra_u, own.tolerance, process, bound=own.bound in ("max", "min")),
        e_n=normalised_error(difference, drawing, *expanded),
        far=normalised_error(measured.value - centre, room, *expanded) > AGREES,
    )


def _united(measured: ConsensusValue) -> bool:
    """Whether several people measured it and agree among themselves."""
    return measured.people >= SEVERAL and measured.p > DISAGREEMENT_LEVEL


def _rank(label: str, measured: ConsensusValue, stated: _Centre | None) -> tuple[Ranked, str]:
    """The better known value, and why. One person's value never replaces a stated one that is far from it."""
    people = "one person" if measured.people == 1 else f"{measured.people} people"
    size = f"{measured.value:.4g} ± {measured.expanded:.2g} mm ({INTERVAL})"
    found = f"{people} measured {size}"
    if stated is None:
        return "measured", f"The entry states no {label}; {found}."
    doubt = f"is known to ± {COVERAGE * stated.u:.2g} mm ({INTERVAL})" if stated.u else "leaves no doubt"
    known = f"the stated {stated.value:.4g} mm {doubt}"
    if measured.people >= SEVERAL and not _united(measured):
        return "stated", f"The measurements of the {label} by {people} contradict each other; the stated one is used."
    if stated.e_n > AGREES and _united(measured):
        return "measured", f"The measured {label} is used: {found}, which the stated one does not fit."
    if measured.u >= stated.u:
        return "stated", f"The stated {label} is used: {known}, {found}."
    if measured.people == 1 and stated.far:
        return "stated", f"The stated {label} is used although {known}: one person alone measured {size}, far from it."
    return "measured", f"The measured {label} is used: {found}, {known}."


@dataclass(frozen=True, kw_only=True)
class DocumentValue:
    """A dimension as one document gives it; ``source`` None: as the entry states it, without a citation."""

    dimension: Dimension
    source: Citation | None
    said_by: str
    confirmation: str | None = None
    """Key of the confirmation that brought it; None: it is the entry's own."""


@dataclass(frozen=True, kw_only=True)
class Competing:
    """Documents that differ about one dimension; ``values`` begins with the entry's own, ``ranked`` is the index of the
    one to use, and ``explanation`` says why."""

    feature: str
    values: tuple[DocumentValue, ...]
    ranked: int
    explanation: str


def same_figure(one: Dimension, other: Dimension) -> bool:
    """Whether two documents give the same value and kind of bound. Tolerances are not compared: one document often
    omits them."""
    return one.bound == other.bound and abs(one.value - other.value) <= SAME_FIGURE


def competing(
    own: Mapping[str, DocumentValue],
    others: Mapping[str, Sequence[DocumentValue]],
    measured: Mapping[str, Estimate],
    pitch: float | None,
) -> tuple[Competing, ...]:
    """Dimensions for which cited documents differ from the entry or, if it states none, from each other."""
    found = []
    for feature, values in sorted(others.items()):
        every = (own[feature], *values) if feature in own else tuple(values)
        if any(not same_figure(every[0].dimension, one.dimension) for one in every[1:]):
            ranked, explanation = _best_document(feature, every, measured.get(feature), pitch)
            found.append(Competing(feature=feature, values=every, ranked=ranked, explanation=explanation))
    return tuple(found)


def _best_document(
    feature: str, values: Sequence[DocumentValue], measured: Estimate | None, pitch: float | None
) -> tuple[int, str]:
    label = FEATURES[feature].label
    if measured is not None:
        errors = [_error(feature, value.dimension, measured.measured, pitch) for value in values]
        fitting = [place for place, error in enumerate(errors) if error <= AGREES]
        if 0 < len(fitting) < len(values):
            best = min(fitting, key=lambda place: errors[place])
            return best, f"{_shown(values[best])} is ranked: of the documents' figures it fits what was measured."
    cited = [place for place, value in enumerate(values) if is_complete(value.source)]
    if cited and cited[0] > 0:
        return cited[0], f"{_shown(values[cited[0]])} is ranked: its document is cited with revision and page."
    return (
        0,
        f"{_shown(values[0])} is ranked: no measurement of the {label} tells the documents apart, and it came first.",
    )


def _error(feature: str, dimension: Dimension, measured: ConsensusValue, pitch: float | None) -> float:
    centre, half_width = process_interval(feature, dimension.dim, pitch)
    allowed = stated_u(dimension.extra_u, None, half_width, bound=dimension.bound in ("max", "min"))
    return normalised_error(measured.value - centre, measured.expanded, COVERAGE * allowed)


def is_complete(source: Citation | None) -> bool:
    """Whether a document is cited so that others can look it up: with revision and page."""
    return source is not None and bool(source.revision and source.page)


def _shown(value: DocumentValue) -> str:
    figure = f"{value.dimension.value:g} mm"
    if value.source is None:
        return f"{figure}, as the entry states it,"
    details = ", ".join(text for text in (value.source.revision, value.source.page) if text)
    return f"{figure} of “{value.source.title}”" + (f" ({details})" if details else "")
