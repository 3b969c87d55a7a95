"""Laws of miscounting, one number at a time."""

from __future__ import annotations

import math
from functools import cache

from matcher.features import FEATURES
from matcher.observations import Reduced
from tests.matcher.reference_model.bodies import Body

LARGEST = 2000
HARMONIC = math.fsum(1.0 / k for k in range(1, LARGEST + 2))
TAIL_RATIO = 0.75
FITTING = 0.25
"""Share of parts whose end fittings may be counted as power contacts or as hold-downs."""

FITTING_GROSS = 0.08


def miscount_share(contacts: int) -> float:
    """Return the probability that a person miscounts this many contacts."""
    return min(0.02 + 0.0004 * contacts, 0.15)


@cache
def any_count(n: int) -> float:
    """Return Lc(n), the law of a count that means nothing."""
    return 1.0 / ((n + 1) * HARMONIC)


def _is(n: int, other: int) -> float:
    return 1.0 if n == other else 0.0


def _both_sides(n: int, stated: int, step: int) -> float:
    return 0.5 * (_is(n, stated - step) + _is(n, stated + step))


def counted_besides(hold_downs: int, power: int) -> list[int]:
    """Return the distinct positive numbers of fittings that may be counted too; −1 means unknown."""
    both = hold_downs + power if hold_downs >= 0 and power >= 0 else -1
    return sorted({number for number in (hold_downs, power, both) if number > 0})


def contact_miscount(n: int, stated: int, rows: int, hold_downs: int, power: int) -> float:
    """Return Q(n), the law of a wrong contact count."""
    rest = 0.05
    q = 0.15 * _both_sides(n, stated, 1)
    if rows >= 0:
        q += 0.40 * _both_sides(n, stated, rows)
    else:
        rest += 0.40
    besides = counted_besides(hold_downs, power)
    if besides:
        q += 0.20 * sum(_is(n, stated + number) for number in besides) / len(besides)
    else:
        rest += 0.20
    if rows >= 2 and stated % rows == 0:
        q += 0.10 * _is(n, stated // rows)
    else:
        rest += 0.10
    if n != stated:
        q += 0.10 * 0.5 * (1.0 - TAIL_RATIO) * TAIL_RATIO ** (abs(n - stated) - 1)
    return q + rest * any_count(n)


@cache
def contact_law(n: int, stated: int, rows: int, hold_downs: int, power: int) -> float:
    """Return P(n contacts counted | stated)."""
    wrong = miscount_share(stated)
    return (1.0 - wrong) * _is(n, stated) + wrong * contact_miscount(n, stated, rows, hold_downs, power)


@cache
def other_law(n: int, stated: int, gross: float) -> float:
    """Return P(n counted | stated) of rows, groups, power contacts and hold-downs."""
    return (1.0 - gross) * _is(n, stated) + gross * (0.8 * _both_sides(n, stated, 1) + 0.2 * any_count(n))


def exact_count(feature: str, n: int, body: Body) -> float:
    """Return P(n counted | body), mixed over the body's possible counts where none is stated.

    The text states the mixture after the smaller counts; it is taken to hold for contacts as well, with the body's own
    rows, hold-downs and power contacts.
    """
    return _mixed(feature, n, body.possible_counts(feature), body)


def _mixed(feature: str, n: int, possible: dict[int, float], body: Body) -> float:
    if not possible:
        return any_count(n)
    return math.fsum(share * _law(feature, n, stated, body) for stated, share in possible.items())


def _law(feature: str, n: int, stated: int, body: Body) -> float:
    if feature != "contact_count":
        return other_law(n, stated, FEATURES[feature].gross_share)
    rows, hold_downs = body.known_count("rows"), body.known_count("hold_down_count")
    return contact_law(n, stated, rows, hold_downs, body.known_count("power_contact_count"))


def count(reduced: Reduced, body: Body) -> float:
    """Return the probability of an exact count or of a range of counts."""
    if reduced.count is not None:
        return exact_count(reduced.feature, reduced.count, body)
    low = 0 if reduced.at_least is None else max(0, math.ceil(reduced.at_least))
    high = LARGEST if reduced.at_most is None else min(LARGEST, math.floor(reduced.at_most))
    possible = body.possible_counts(reduced.feature)
    return min(1.0, math.fsum(_mixed(reduced.feature, n, possible, body) for n in range(low, high + 1)))


def power_and_hold_downs(power: int, hold_downs: int, body: Body) -> float:
    """Return the probability of both counts; end fittings may belong to either."""
    apart = exact_count("power_contact_count", power, body) * exact_count("hold_down_count", hold_downs, body)
    stated_power, stated_hold_downs = body.known_count("power_contact_count"), body.known_count("hold_down_count")
    if stated_power < 0 or stated_hold_downs < 0:
        return apart
    total = power + hold_downs
    either = other_law(total, stated_power + stated_hold_downs, FITTING_GROSS)
    twice_named = other_law(total, max(stated_power, stated_hold_downs), FITTING_GROSS)
    together = 0.5 * (either + twice_named) / (total + 1)
    return (1.0 - FITTING) * apart + FITTING * together
