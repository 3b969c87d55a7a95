"""The whole log-likelihood of one half, and the posterior over halves and absence."""

from __future__ import annotations

import math
from collections.abc import Sequence

from matcher.columns.columns import Columns
from matcher.features import FEATURES, Subject
from matcher.observations import Of, Reduced, SharedError
from tests.matcher.reference_model.bodies import ListedHalf
from tests.matcher.reference_model.causes import ways
from tests.matcher.reference_model.counts import power_and_hold_downs
from tests.matcher.reference_model.mates import mate_likelihood, observed_of_half
from tests.matcher.reference_model.readings import build_reading
from tests.matcher.reference_model.shared_errors import group_likelihood

FITTINGS = ("power_contact_count", "hold_down_count")


def log_likelihood(columns: Columns, half: int, observations: Sequence[Reduced]) -> float:
    """Return log p(observations | half), natural log, over all ways to read them."""
    logs = [
        math.log(prior) + math.log(derivative) + log_likelihood_as_given(columns, half, each)
        for prior, derivative, each in ways(observations)
    ]
    largest = max(logs)
    return largest + math.log(math.fsum(math.exp(each - largest) for each in logs))


def log_likelihood_as_given(columns: Columns, half: int, observations: Sequence[Reduced]) -> float:
    """Return log p(observations | half), natural log, all groups summed."""
    with_mate = [reduced for reduced in observations if is_of_mate(reduced)]
    own = [reduced for reduced in observations if not is_of_mate(reduced)]
    groups = shared_groups(own)
    grouped = [reduced for members in groups for reduced in members]
    fittings = counted_fittings(own)
    lone = [reduced for reduced in own if reduced not in grouped and reduced not in fittings]
    terms = [math.log(observed_of_half(reduced, columns, half)) for reduced in lone]
    terms += [log_shared_group(columns, half, members) for members in groups]
    if fittings:
        numbers = {reduced.feature: reduced.count or 0 for reduced in fittings}
        power, hold_downs = (numbers[feature] for feature in FITTINGS)
        terms.append(math.log(power_and_hold_downs(power, hold_downs, ListedHalf(columns, half))))
    if with_mate:
        terms.append(math.log(mate_likelihood(columns, half, with_mate)))
    return math.fsum(terms)


def is_of_mate(reduced: Reduced) -> bool:
    """Return whether an observation is of the pair or of the other half."""
    return reduced.of is not Of.THIS or FEATURES[reduced.feature].subject is Subject.PAIR


def shared_groups(own: Sequence[Reduced]) -> list[list[Reduced]]:
    """Return the groups of two or more values of this half that share an error; bounds never share."""
    names = {
        _shared(reduced).group: None for reduced in own if reduced.shared is not None and reduced.value is not None
    }
    members = [
        [r for r in own if r.value is not None and r.shared is not None and r.shared.group == name] for name in names
    ]
    return [group for group in members if len(group) >= 2]


def _shared(reduced: Reduced) -> SharedError:
    if reduced.shared is None:
        raise LookupError(f"{reduced.feature} shares no error")
    return reduced.shared


def counted_fittings(own: Sequence[Reduced]) -> list[Reduced]:
    """Return the exact counts of power contacts and of hold-downs if there is one of each, else nothing."""
    exact = [reduced for reduced in own if reduced.feature in FITTINGS and reduced.count is not None]
    return exact if sorted(reduced.feature for reduced in exact) == sorted(FITTINGS) else []


def log_shared_group(columns: Columns, half: int, members: Sequence[Reduced]) -> float:
    """Return the log-likelihood of readings that share one error, the error integrated out."""
    body = ListedHalf(columns, half)
    readings = [build_reading(reduced, body, folded=False) for reduced in members]
    fixed = [reading for reading in readings if not reading.pieces]
    moved = [reading for reading in readings if reading.pieces]
    constant = math.fsum(math.log(reading.background) for reading in fixed)
    if not moved:
        return constant
    shared = _shared(members[0])
    return constant + math.log(group_likelihood(moved, shared.kind, shared.sd))


def posterior(
    columns: Columns, observations: Sequence[Reduced], prior_absent: float, log_q: float
) -> tuple[list[float], float]:
    """Return the probability of each half and of absence, given the absent density's logarithm ``log_q``."""
    weights = [float(weight) for weight in columns.prior_weight]
    total = math.fsum(weights)
    logs = [
        _log((1.0 - prior_absent) * weight / total) + log_likelihood(columns, half, observations)
        for half, weight in enumerate(weights)
    ]
    logs.append(_log(prior_absent) + log_q)
    largest = max(logs)
    parts = [math.exp(value - largest) for value in logs]
    whole = math.fsum(parts)
    return [part / whole for part in parts[:-1]], parts[-1] / whole


def _log(value: float) -> float:
    return math.log(value) if value > 0.0 else -math.inf
