"""Densities of one number: rectangle convolved with a normal, and the log-uniform of a meaningless reading.

Written from the text of the likelihood alone, one number at a time. The fast code is compared with this, so it must
not import anything from the fast code beyond the agreed types.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

from matcher.features import FEATURES

W_MIN = 1e-6
"""Smallest standard uncertainty, mm."""

SERIES_BELOW = 1e-3
"""Ratio t/w below which the series in t/w replaces the difference of two normal integrals."""

BROAD_SHARE = 0.2
"""Share of boards whose lands keep less closely to a recommended size. Common practice, no source."""

WIDENING = 1e6
"""The plausible range of a feature is widened a thousandfold at both ends for the log-uniform."""

FAR = 39.0
"""Standard deviations beyond which a normal tail is below the smallest normal double."""

SQRT2 = math.sqrt(2.0)
SQRT2PI = math.sqrt(2.0 * math.pi)


@dataclass(frozen=True, kw_only=True)
class Interval:
    """Where a dimension lies: ``centre`` ± ``half`` (rectangular) with extra standard uncertainty ``extra``, mm.

    If ``broad`` is not 0, one part in five lies in ``centre`` ± ``broad`` instead.
    """

    centre: float
    half: float
    extra: float
    broad: float = 0.0

    @cached_property
    def rectangles(self) -> list[tuple[float, float]]:
        """Return the share and the half-width of each rectangle."""
        if self.broad == 0.0:
            return [(1.0, self.half)]
        return [(1.0 - BROAD_SHARE, self.half), (BROAD_SHARE, self.broad)]

    @property
    def known(self) -> bool:
        """Whether anything at all is known of the dimension."""
        return not math.isnan(self.centre)


NOTHING_KNOWN = Interval(centre=math.nan, half=0.0, extra=0.0)


def normal_density(z: float) -> float:
    """Return the standard normal density."""
    return math.exp(-0.5 * z * z) / SQRT2PI


def normal_cumulative(z: float) -> float:
    """Return the standard normal distribution function, exact in its lower tail."""
    return 0.5 * math.erfc(-z / SQRT2)


def normal_between(low: float, high: float) -> float:
    """Return Φ(high) − Φ(low) for low < high without cancellation in either tail or around zero."""
    if low < 0.0 < high:
        return 0.5 * (math.erf(high / SQRT2) + math.erf(-low / SQRT2))
    if high <= 0.0:
        return 0.5 * (math.erfc(-high / SQRT2) - math.erfc(-low / SQRT2))
    return 0.5 * (math.erfc(low / SQRT2) - math.erfc(high / SQRT2))


def rectangle_density(x: float, centre: float, half: float, w: float) -> float:
    """Return R(x; c, t, w): uniform on c ± t, blurred by a normal of standard deviation w, per mm."""
    distance = abs(x - centre)
    if distance - half > FAR * w:
        return 0.0
    if half / w < SERIES_BELOW:
        z = distance / w
        return max(0.0, normal_density(z) / w * (1.0 + half * half * (z * z - 1.0) / (6.0 * w * w)))
    return normal_between((-half - distance) / w, (half - distance) / w) / (2.0 * half)


def rectangle_cumulative(value: float, centre: float, half: float, w: float) -> float:
    """Return F(value), the distribution function of `rectangle_density`; value may be infinite.

    Above the centre it is one minus its mirror image: far away, differences of z Φ(z) would lose every digit.
    """
    if math.isinf(value):
        return 1.0 if value > 0.0 else 0.0
    if value > centre:
        return 1.0 - rectangle_cumulative(2.0 * centre - value, centre, half, w)
    if half / w < SERIES_BELOW:
        z = (value - centre) / w
        return normal_cumulative(z) - z * normal_density(z) * half * half / (6.0 * w * w)
    upper, lower = (value - centre + half) / w, (value - centre - half) / w
    return (_ramp(upper) - _ramp(lower)) * w / (2.0 * half)


def _ramp(z: float) -> float:
    """Return the integral of Φ up to z, without loss for large |z|."""
    if z > 0.0:
        return z + _ramp(-z)
    return 0.0 if z < -FAR else max(0.0, z * normal_cumulative(z) + normal_density(z))


def log_uniform_density(feature: str, x: float) -> float:
    """Return L(x), the density of a reading that has nothing to do with the part, per mm."""
    row = FEATURES[feature]
    return 1.0 / (x * math.log(WIDENING * row.high / row.low))


def meaningless_density(feature: str, x: float, where: Interval) -> float:
    """Return the density of a reading in mm that may be anything, where the dimension itself lies in ``where``.

    Half of such readings are within a factor e of the size, if it is known. Of the rest nine in ten are plausible for
    the feature.
    """
    row = FEATURES[feature]
    plausible = 1.0 / (x * math.log(row.high / row.low)) if row.low <= x <= row.high else 0.0
    anywhere = 0.9 * plausible + 0.1 * log_uniform_density(feature, x)
    if not where.known:
        return anywhere
    same_order = 0.5 / x if abs(math.log(x / where.centre)) < 1.0 else 0.0
    return 0.5 * same_order + 0.5 * anywhere
