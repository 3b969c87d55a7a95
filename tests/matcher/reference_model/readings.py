"""One reading of a dimension as a list of weighted pieces: right, a slip, in wrong units, or meaningless."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

from matcher.features import FEATURES
from matcher.observations import Reduced, SharedKind
from tests.matcher.reference_model.bodies import Body
from tests.matcher.reference_model.intervals import (
    FAR,
    W_MIN,
    Interval,
    log_uniform_density,
    meaningless_density,
    rectangle_cumulative,
    rectangle_density,
)

SLIP_SHARE = 0.4
UNIT_SHARE = 0.1
MISREAD_SHARE = 0.2
MISREAD_FREELY, MISREAD_BY = 0.4, 1.1
MISREAD_STEP_SHARE, MISREAD_STEPS = 0.15, (-1.0, -0.5, 0.5, 1.0)
NOTHING_SHARE = 0.3
UNIT_FACTORS = ((1 / 25.4, 0.4), (25.4, 0.2), (1 / 0.0254, 0.2), (0.0254, 0.1), (1000.0, 0.05), (1 / 1000.0, 0.05))
PITCHES = ("pitch", "tail_pitch")
LEAST_PITCH_HALF = 0.002
TAIL_PITCH_FACTORS_SHARE = 0.5
NAMED_HEIGHT_SHARE = 0.6
BOARD_SHARE = 0.4
BOARD_CENTRE = 1.4
BOARD_HALF = 1.0
"""A board whose thickness was not subtracted is 0.4 to 2.4 mm thick."""


@dataclass(frozen=True, kw_only=True)
class Folded:
    """A shared error that no other reading shares, as a standard deviation of this reading alone, mm.

    The text gives the sum of squares for the right value only. For wrong units, the sum used here agrees with
    the text's own integral over the hidden error: a zero error is read in the same wrong units and grows with them
    (exactly so); a scale error acts on the number read, whatever its units.
    """

    scale: float = 0.0
    zero: float = 0.0


NOT_FOLDED = Folded()


@dataclass(frozen=True, kw_only=True)
class Piece:
    """One explanation of a reading: ``factor`` times the interval; wrong units enlarge the reading's error too, but not
    ``corrected``, which was subtracted from it in mm."""

    weight: float
    where: Interval
    factor: float = 1.0
    wrong_units: bool = False
    corrected: float = 0.0

    def blur(self, u: float, scale: float, folded: Folded) -> float:
        """Return the standard deviation of a reading around the piece, mm."""
        if self.wrong_units:
            inner = max(W_MIN, math.hypot(u, self.where.extra * scale, folded.zero))
            return max(W_MIN, math.hypot(self.factor * inner, folded.scale))
        return max(W_MIN, math.hypot(u, self.factor * self.where.extra * scale, folded.zero, folded.scale))

    def middle(self, scale: float, shift: float) -> float:
        """Return the centre under a shared scale error (a factor) and a shared zero error (mm)."""
        if self.wrong_units:
            return self.factor * (self.where.centre * scale + shift + self.corrected) - self.corrected
        return self.factor * self.where.centre * scale + shift

    def density(self, x: float, blur: float, scale: float, shift: float) -> float:
        """Return the piece's density at x, unweighted."""
        middle, found = self.middle(scale, shift), 0.0
        for share, half in self.where.rectangles:
            found += share * rectangle_density(x, middle, self.factor * half * scale, blur)
        return found


@dataclass(frozen=True, kw_only=True)
class Reading:
    """A reading with the pieces of one body and a background that shared errors do not move."""

    x: float
    u: float
    coefficient: float
    pieces: tuple[Piece, ...]
    background: float
    folded: Folded = NOT_FOLDED

    @cached_property
    def pieces_with_reach(self) -> list[tuple[Piece, float, float, float, float, float]]:
        """Return each piece with its centre as a part that grows with the scale, what a zero error and a correction add
        to it, and how far from it a reading can lie and still have a density, likewise in two parts.

        A standard deviation of several causes is at most their sum.
        """
        found = []
        for piece in self.pieces:
            gain = piece.factor if piece.wrong_units else 1.0
            added = (piece.factor - 1.0) * piece.corrected if piece.wrong_units else 0.0
            widest = max(half for _, half in piece.where.rectangles)
            growing = piece.factor * (widest + FAR * piece.where.extra)
            fixed = FAR * (gain * (self.u + self.folded.zero + W_MIN) + self.folded.scale + W_MIN)
            found.append((piece, piece.factor * piece.where.centre, gain, added, growing, fixed))
        return found

    def density(self, scale: float = 1.0, zero: float = 0.0) -> float:
        """Return p(x | body, shared error), per mm; ``zero`` is the hidden zero error before its coefficient.

        Pieces out of reach have no density; leaving them out saves most of the time.
        """
        x, shift = self.x, self.coefficient * zero
        found = self.background
        for piece, centre, gain, added, growing, fixed in self.pieces_with_reach:
            if abs(x - centre * scale - gain * shift - added) <= growing * scale + fixed:
                blur = piece.blur(self.u, scale, self.folded)
                found += piece.weight * piece.density(x, blur, scale, shift)
        return found


def own_interval(body: Body, feature: str, spans: int) -> Interval:
    """Return a dimension's interval; a pitch's tolerance is that of one pitch averaged over the spans.

    The text states the rule for pitch readings; it is taken to hold as well where a pitch was really measured
    in place of a tail pitch, because that reading was divided by the spans too.
    """
    where = body.interval(feature)
    if feature not in PITCHES:
        return where
    return replace(where, half=max(where.half / spans, LEAST_PITCH_HALF))


def _pitch_factors(where: Interval, spans: int) -> tuple[list[Piece], float]:
    pieces = [
        Piece(weight=0.25, where=where, factor=(spans + 1) / spans),
        Piece(weight=0.2, where=where, factor=2.0),
        Piece(weight=0.2, where=where, factor=0.5),
    ]
    if spans == 1:
        return pieces, 0.35
    return [*pieces, Piece(weight=0.35, where=where, factor=(spans - 1) / spans)], 0.0


def _scaled(pieces: list[Piece], share: float) -> list[Piece]:
    return [replace(piece, weight=piece.weight * share) for piece in pieces]


def _wider(where: Interval, by: float) -> Interval:
    return replace(where, half=where.half + by, broad=where.broad + by if where.broad else 0.0)


def _named(body: Body, reduced: Reduced, this: Body) -> tuple[list[Piece], float]:
    """Return the slips the feature table names, weights adding to 1 with the unresolved share."""
    slips = FEATURES[reduced.feature].slips
    pieces: list[Piece] = []
    unresolved = 1.0 - math.fsum(slip.share for slip in slips)
    for slip in slips:
        if slip.instead == "stack_height":
            found = body.stack_heights()
        else:
            found = [where for where in [own_interval(this, slip.instead, reduced.spans)] if where.known]
            if reduced.unscaled and not this.states(slip.instead):
                found = []
        if not found:
            unresolved += slip.share
        pieces += [Piece(weight=slip.share / len(found), where=where) for where in found]
    return pieces, unresolved


def _slips(body: Body, reduced: Reduced, where: Interval, this: Body) -> tuple[list[Piece], float]:
    """Return the pieces of S, weights adding to 1 with the unresolved share."""
    if reduced.feature == "pitch":
        return _pitch_factors(where, reduced.spans)
    named, unresolved = _named(body, reduced, this)
    if reduced.feature == "tail_pitch":
        factors, lost = _pitch_factors(where, reduced.spans)
        share = TAIL_PITCH_FACTORS_SHARE
        return _scaled(factors, share) + _scaled(named, 1 - share), lost * share + unresolved * (1 - share)
    if reduced.feature in ("height", "stack_height"):
        on_board = Interval(centre=where.centre + BOARD_CENTRE, half=BOARD_HALF, extra=where.extra)
        board = Piece(weight=BOARD_SHARE, where=on_board)
        return [*_scaled(named, NAMED_HEIGHT_SHARE), board], unresolved * NAMED_HEIGHT_SHARE
    return named, unresolved


def build_reading(reduced: Reduced, body: Body, *, this: Body | None = None, folded: bool) -> Reading:
    """Return the reading as pieces.

    ``this`` is the body whose dimensions are measured by mistake: the body itself, or for a feature of the pair the
    half in hand. ``folded`` adds the shared error, if any, to the reading's own uncertainty.
    """
    x, feature = reduced.number, reduced.feature
    u, alone = reduced.u, _folded(reduced) if folded else NOT_FOLDED
    coefficient = reduced.shared.coefficient if reduced.shared else 1.0
    where = own_interval(body, feature, reduced.spans)
    unscaled = reduced.shared is not None and reduced.shared.unscaled
    figures = not unscaled and feature not in PITCHES
    nothing = meaningless_density(feature, x, where) if figures else log_uniform_density(feature, x)
    slip_share = SLIP_SHARE if figures else SLIP_SHARE + MISREAD_SHARE
    gross = FEATURES[feature].gross_share
    slips, unresolved = _slips(body, reduced, where, this or body)
    share = NOTHING_SHARE + unresolved * slip_share
    in_units = Piece(weight=UNIT_SHARE, where=where, wrong_units=True, corrected=reduced.corrected)
    units = [replace(in_units, weight=UNIT_SHARE * w, factor=k) for k, w in UNIT_FACTORS]
    misread = [
        Piece(weight=MISREAD_SHARE * MISREAD_FREELY, where=_wider(where, MISREAD_BY / reduced.spans)),
        *(
            Piece(
                weight=MISREAD_SHARE * MISREAD_STEP_SHARE,
                where=replace(where, centre=where.centre + step / reduced.spans, broad=0.0),
            )
            for step in MISREAD_STEPS
        ),
    ]
    if unscaled:
        units, share = [], share + UNIT_SHARE
    if not figures:
        misread = []
    wrong = _scaled(_scaled(slips, slip_share) + misread + units, gross)
    gaps = _gaps_if_miscounted(reduced, body)
    once = 0.8 if gaps else 0.0
    pieces = (Piece(weight=(1.0 - gross) * (1.0 - once), where=where), *wrong)
    if gaps:
        pieces = (*pieces, Piece(weight=(1.0 - gross) * once, where=where, factor=gaps / reduced.spans))
    background = gross * share
    if not where.known:
        pieces = tuple(piece for piece in wrong if piece.where.known)
        background = 1.0 - math.fsum(piece.weight for piece in pieces)
    return Reading(x=x, u=u, coefficient=coefficient, pieces=pieces, background=background * nothing, folded=alone)


def _gaps_if_miscounted(reduced: Reduced, body: Body) -> int:
    """Return the gaps of a body's row if its contacts were miscounted by one in every row; 0 if they were not."""
    if reduced.counted is None:
        return 0
    in_row, rows = reduced.counted
    true_rows = body.known_count("rows")
    if true_rows != rows:
        return 0
    true_in_row = math.ceil(body.known_count("contact_count") / true_rows)
    return true_in_row - 1 if abs(true_in_row - in_row) == 1 else 0


def _folded(reduced: Reduced) -> Folded:
    if reduced.shared is None:
        return NOT_FOLDED
    if reduced.shared.kind is SharedKind.SCALE:
        return Folded(scale=reduced.number * reduced.shared.sd)
    return Folded(zero=reduced.shared.coefficient * reduced.shared.sd)


def lone_reading(reduced: Reduced, body: Body, *, this: Body | None = None) -> float:
    """Return p(x | body) of a reading that shares no error; alone and unscaled it gives no information."""
    if reduced.shared is not None and reduced.shared.unscaled:
        return 1.0 / reduced.number
    return build_reading(reduced, body, this=this, folded=True).density()


def bound(reduced: Reduced, body: Body) -> float:
    """Return the probability that a dimension observed only as a bound lies within it."""
    where = own_interval(body, reduced.feature, reduced.spans)
    if not where.known:
        return 0.5
    w = max(W_MIN, math.hypot(reduced.total_u, where.extra))
    low = -math.inf if reduced.at_least is None else reduced.at_least
    high = math.inf if reduced.at_most is None else reduced.at_most
    inside = math.fsum(
        share * (rectangle_cumulative(high, where.centre, half, w) - rectangle_cumulative(low, where.centre, half, w))
        for share, half in where.rectangles
    )
    gross = FEATURES[reduced.feature].gross_share
    return (1.0 - gross) * inside + gross * 0.5
