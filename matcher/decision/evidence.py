"""Evidence: how strongly each observation supports a candidate against the likeliest other answer."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from matcher.columns.columns import Floats
from matcher.decision.posterior import Posterior
from matcher.features import FEATURES, Kind
from matcher.likelihood.evidence import Comparison, Evidence
from matcher.likelihood.likelihood import Part
from matcher.observations import Of
from matcher.plus_minus import PROCESS
from matcher.results import Candidate, EvidenceLine

ABSENT = "absent"
"""Used instead of a key where the opponent is "not in this catalogue"."""


def log_odds(result: Posterior, geometry: int, opponent: int | None) -> float:
    """Log-odds of a geometry against its opponent, from the posterior."""
    other = result.log_absent if opponent is None else result.log_geometry[result.columns.geometry[opponent]]
    return float(result.log_geometry[geometry] - other)


def opponent_of(result: Posterior, geometry: int) -> int | None:
    """The likeliest other answer: a half of another geometry, or None for absent."""
    others = result.order[:2][result.order[:2] != geometry]
    if not len(others) or result.log_geometry[others[0]] < result.log_absent:
        return None
    return int(result.members(int(others[0]))[0])


def evidence_lines(
    result: Posterior,
    half: int,
    opponent: int | None,
    against: Mapping[int, Comparison],
) -> tuple[EvidenceLine, ...]:
    """The prior's and each observation's share of the log-odds of a half's geometry against its opponent."""
    lines = []
    absent_of_part = result.under_absent.shares if opponent is None else None
    for number, part in enumerate(result.weighed.parts):
        shares = _part_shares(part, half, opponent, absent_of_part, number)
        for each, share in zip(part.evidence, shares, strict=True):
            lines.append(_line(each, against[each.reading.index], float(share)))
    lines.sort(key=lambda line: line.index if line.index is not None else -1)
    before = _before_measuring(result, half) - (
        result.log_prior_absent if opponent is None else _before_measuring(result, opponent)
    )
    return (_prior_line(before), *lines)


def _before_measuring(result: Posterior, half: int) -> float:
    """Log-prior of a half, including the other halves of its geometry."""
    tied = result.log_geometry[result.columns.geometry[half]] - result.log_half[half]
    return float(result.log_prior[half] + tied)


def _part_shares(part: Part, half: int, opponent: int | None, absent_of_part: Floats | None, number: int) -> Floats:
    if opponent is not None:
        shares = part.shares(np.array([half, opponent]))
        return np.asarray(shares[:, 0] - shares[:, 1])
    shares = part.shares(np.array([half]))[:, 0]
    other = 0.0 if absent_of_part is None else float(absent_of_part[number])
    return np.asarray(shares - other / len(part.evidence))


def _prior_line(log_odds: float) -> EvidenceLine:
    return EvidenceLine(
        feature="prior",
        of=Of.THIS,
        index=None,
        measured=None,
        u=None,
        expected=None,
        tolerance=None,
        log_odds=log_odds,
        reading="before measuring",
    )


def _line(evidence: Evidence, against: Comparison, log_odds: float) -> EvidenceLine:
    reading = evidence.reading
    return EvidenceLine(
        feature=reading.feature,
        of=reading.of,
        index=reading.index,
        measured=evidence.words,
        u=reading.total_u if reading.value is not None else None,
        expected=against.expected,
        tolerance=against.tolerance,
        log_odds=log_odds,
        reading=against.word,
        slip=against.slip,
    )


def sentences(candidate: Candidate) -> tuple[str, ...]:
    """The evidence against a half in words, strongest first."""
    against = "'not in this catalogue'" if candidate.against == ABSENT else candidate.against
    worst = sorted((line for line in candidate.evidence if line.log_odds < 0), key=lambda line: line.log_odds)
    head = f"{candidate.key} has probability {candidate.probability:.3g} (place {candidate.rank})."
    if not worst:
        return (head, f"Nothing that was observed speaks for {against} rather than for it.")
    sentences = [head, f"What speaks for {against} rather than for it:"]
    sentences += [_sentence(line) for line in worst]
    return tuple(sentences)


def _sentence(line: EvidenceLine) -> str:
    factor = f"{np.exp(min(-line.log_odds, 700.0)):.3g} times likelier there"
    if line.index is None:
        return f"before any measurement: {factor}"
    label = FEATURES[line.feature].label
    if FEATURES[line.feature].kind is Kind.DIMENSION and isinstance(line.measured, float):
        within = f"± {line.tolerance:.3g} mm ({PROCESS})"
        expected = "nothing stated" if line.expected is None else f"stated {line.expected:g} {within}"
        slip = f"; {line.slip}?" if line.slip else ""
        return f"{label}: measured {line.measured:.4g}, {expected}, {line.reading}{slip}: {factor}"
    expected = "nothing stated" if line.expected is None else f"stated {line.expected}, {line.reading}"
    return f"{label}: observed {line.measured}, {expected}: {factor}"
