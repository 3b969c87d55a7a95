"""An answer's numbers and names in words, for the terminal and the bench page."""

from __future__ import annotations

import math
from collections.abc import Sequence

from api.identification.advising import worth_taking
from api.schemas.answers import (
    Answer,
    Candidate,
    CouldFit,
    Difference,
    EvidenceLine,
    HalfRef,
    Mate,
    NextMeasurement,
    OrderedMate,
    OrderSet,
    Ranking,
    Recheck,
    RequiredMate,
    Requirement,
)
from api.schemas.fitting.needed import Room
from api.schemas.words import BASIS_WORDS, CONTACT_WORDS, FITS_WORDS, NOT_HERE, WORST_CONTACTS
from matcher.decision.verdict import IDENTIFIED_FROM
from matcher.features import FEATURES, PITCHES, Kind, Remains
from matcher.observations import Of
from matcher.plus_minus import PROCESS
from matcher.results import Verdict

LARGEST_FACTOR = 1000.0
"""Larger factors are printed as "more than" this one: they make no further difference."""

AS_SAFE = ("fits_observed", "suits_all", "correspondence", "basis", "beware")
"""In what mates agree that are as safe to order as each other."""

COULD_FIT = "Could fit by size. Nobody says that they mate: try one with the power off, before you solder."
"""What is said of halves whose figures would allow a mating."""

NOTHING_FITS = "No listed half could fit by size. "

UNLIKE = ("strains", "off", "likely slip")
"""Readings of the evidence that speak against a half."""

PARTS = {2: "both parts", 3: "all three parts", 4: "all four parts"}
"""A set of parts in words, by their number."""

SHARES = (
    (0.9, "nearly all"),
    (0.7, "three quarters"),
    (0.58, "two thirds"),
    (0.42, "half"),
    (0.29, "a third"),
    (0.2, "a quarter"),
    (0.07, "a tenth"),
    (0.0, "very little"),
)
"""Shares of the missing information in words, each from the least share on."""

SHOWN_LEADERS = 3
"""Halves that the verdict names; the others are counted."""

SHOWN_ALIKE = 5
"""Halves of one geometry that are named; the others are counted, and the JSON answer has all."""


def percent(probability: float) -> str:
    """A probability in per cent with one decimal; 0 and 100 only where they are exact."""
    if 0.0 < probability < 0.001:
        return "<0.1 %"
    if 0.999 < probability < 1.0:
        return ">99.9 %"
    return f"{100 * probability:.1f} %"


def feature_label(line_feature: str, of: Of) -> str:
    """The feature's label, and "of the other" for the other half."""
    if line_feature not in FEATURES:
        return "before measuring"
    label = FEATURES[line_feature].label
    return f"{label} of the other" if of is Of.OTHER else label


def length(value: float, feature: str) -> str:
    """A length in mm with three decimals; pitches with four."""
    return f"{value:.4f}" if feature in PITCHES else f"{value:.3f}"


def measured(line: EvidenceLine) -> str:
    """What was observed."""
    if line.measured is None:
        return ""
    if not _is_length(line) or not isinstance(line.measured, float):
        return str(line.measured)
    return length(line.measured, line.feature) if line.unit == "mm" else f"{line.measured:.4g} {line.unit}"


def uncertainty(line: EvidenceLine) -> str:
    """The reading's standard uncertainty, in the reading's unit."""
    if line.u is None:
        return ""
    return f"{line.u:.3f}" if line.unit == "mm" else f"{line.u:.2g}"


def expected(line: EvidenceLine) -> str:
    """The catalogue's value, with its process tolerance if it has one."""
    if line.expected is None:
        return "–" if line.index is not None else ""
    if not _is_length(line) or not isinstance(line.expected, float):
        return str(line.expected)
    return f"{length(line.expected, line.feature)} ±{line.tolerance or 0.0:.3f}"


def off_by(line: EvidenceLine) -> str:
    """Measured minus expected, if both are lengths in mm or counts."""
    if not isinstance(line.measured, int | float) or not isinstance(line.expected, int | float):
        return ""
    difference = line.measured - line.expected
    if isinstance(line.measured, int) and isinstance(line.expected, int):
        return f"{difference:+d}" if difference else "0"
    return f"{difference:+.3f}" if line.unit == "mm" else ""


def strain(line: EvidenceLine) -> tuple[str, str]:
    """What does not fit: how badly, by how much, and which slip may explain it."""
    by, seen = off_by(line), measured(line)
    how = f"off by {by}{' mm' if line.unit == 'mm' else ''}" if by else f"{seen} was seen"
    within = f" ({PROCESS})" if isinstance(line.expected, float) else ""
    stated = f", {expected(line)}{within} is stated" if not by and line.expected is not None else ""
    return line.reading, f"{feature_label(line.feature, line.of)} {how}{stated}{f': {line.slip}' if line.slip else ''}"


def weight(log_odds: float) -> str:
    """Strength of evidence: ×2 makes the half twice as probable relative to the next answer, ÷2 half as probable."""
    factor = math.exp(min(abs(log_odds), 700.0))
    if factor < 1.05:
        return "–"
    return (
        f"{'×' if log_odds > 0 else '÷'}{factor:.2g}" if factor < 10 else _large("×" if log_odds > 0 else "÷", factor)
    )


def _large(sign: str, factor: float) -> str:
    return f"{sign}{factor:.0f}" if factor <= LARGEST_FACTOR else f">{sign}{LARGEST_FACTOR:.0f}"


def verdict(answer: Ranking) -> str:
    """The verdict in one sentence; "not in this catalogue" is told apart, never counted as one of the halves."""
    if answer.verdict is Verdict.NO_MATCH or not answer.candidates:
        return "No match: the half is probably not in this catalogue."
    first, within = answer.candidates[0], answer.credible_set
    if answer.verdict is Verdict.IDENTIFIED:
        return f"Identified: {half_name(first.half)}, {percent(first.probability)}"
    halves, absent = within.members - within.includes_absent, f"{NOT_HERE} {percent(answer.probability_absent)}"
    shown = answer.candidates[: min(halves, SHOWN_LEADERS)]
    named = ", ".join(f"{each.half.part_number} {percent(each.probability)}" for each in shown)
    named += f" and {halves - len(shown)} more" if halves > len(shown) else ""
    if not within.includes_absent:
        doubt = ", but not everything fits it" if halves == 1 else ""
        return f"Not settled: {named}{doubt}."
    if answer.probability_absent > first.probability:
        return f"Not settled: {absent}{f'; or {named}' if named else ''}."
    return f"Not settled: {named}; or {absent}."


def order_line(answer: Ranking) -> str:
    """What to order, its stack height and how probable the half is; empty where that is not settled."""
    if answer.verdict is not Verdict.IDENTIFIED:
        return ""
    (first, *_) = answer.candidates
    chosen = to_order(first)
    if not chosen:
        return ""
    height = "" if len(chosen) > 1 or chosen[0].stack_height is None else f" · stack {stack(chosen[0])}"
    said = f"Order {warned(chosen[0])}" if len(chosen) == 1 else order(first).capitalize()
    return f"{said}{height} · {percent(first.probability)}"


def doubt_removed(advised: NextMeasurement, open_bits: float) -> str:
    """How much of the doubt a measurement is expected to remove, alone or together with the one it goes with."""
    together = advised.together_with is not None and advised.together_bits is not None
    bits = advised.together_bits if together and advised.together_bits is not None else advised.bits
    share = bits / open_bits if open_bits > 0 else 0.0
    part = next(words for least, words in SHARES if share >= least)
    other = f"together with {FEATURES[advised.together_with].label}, " if together and advised.together_with else ""
    return f"{other}removes {part} of the doubt"


def shifted(found: Recheck) -> str:
    """How far the answer would move without an observation, in points of a hundred."""
    return f"the result would shift by {100 * found.shift:.0f} points"


def next_step(answer: Answer) -> str:
    """What to do next while it is not settled; empty where nothing more is worth the work."""
    worth = [each for each in answer.next_measurements if worth_taking(each)]
    if answer.verdict is not Verdict.SHORTLIST or answer.further_measuring.settled or not worth:
        return ""
    feature = FEATURES[worth[0].feature]
    verb = {Kind.COUNT: "Count the", Kind.DIMENSION: "Measure the"}.get(feature.kind, "Look at the")
    return f"{verb} {feature.label} {'once more' if worth[0].again else 'next'}."


def series(answer: Ranking) -> str:
    """The likeliest series in one sentence; empty where the half itself is identified, or nothing matches."""
    piece = answer.remains is Remains.ONE_END_MISSING
    if answer.verdict is Verdict.NO_MATCH or not answer.series or (answer.verdict is Verdict.IDENTIFIED and not piece):
        return ""
    named = [f"{each.maker} {each.series} ({percent(each.probability)})" for each in answer.series]
    if answer.series[0].probability >= IDENTIFIED_FROM:
        return f"Its series is settled: {named[0]}."
    return f"By series: {', '.join(named)}." if piece else ""


def half_name(half: HalfRef | Mate) -> str:
    """Maker and part number."""
    return f"{half.maker} {half.part_number}"


def alike(names: Sequence[str], total: int) -> str:
    """Halves of the same geometry as the first one; ``names`` are some of them, or all."""
    shown = names[:SHOWN_ALIKE]
    more = f" and {total - len(shown)} more" if total > len(shown) else ""
    return f"The measurements cannot distinguish it from {', '.join(shown)}{more}."


def stack(mate: Mate) -> str:
    """The mated pair's stack height."""
    return "not stated" if mate.stack_height is None else f"{mate.stack_height:.2f} mm"


def warned(mate: Mate) -> str:
    """The mate's part number with what must be said of it."""
    return f"{mate.part_number} ({'; '.join(mate.beware)})" if mate.beware else mate.part_number


def to_order(candidate: Candidate) -> tuple[Mate, ...]:
    """The mates to choose from: the safest one and, at other stack heights, those that are as safe.

    Empty where no listed mate suits whichever of the candidate's halves it is.
    """
    safest = next(iter(candidate.mates), None)
    if safest is None or not safest.suits_all:
        return ()
    chosen: dict[float | None, Mate] = {}
    for mate in candidate.mates:
        same = all(getattr(mate, name) == getattr(safest, name) for name in AS_SAFE)
        if same and (mate.stack_height is not None or mate is safest):
            chosen.setdefault(mate.stack_height, mate)
    return tuple(sorted(chosen.values(), key=lambda mate: mate.stack_height or 0.0))


def order(candidate: Candidate) -> str:
    """What to order, in few words; where several stack heights are listed, which there are to choose from."""
    if not candidate.mates:
        return "none listed"
    chosen = to_order(candidate)
    if len(chosen) > 1:
        heights = ", ".join(f"{mate.stack_height:.2f}" for mate in chosen if mate.stack_height is not None)
        return f"choose the stack: {heights} mm"
    return warned(chosen[0]) if chosen else "it depends, see below"


def stack_to_order(candidate: Candidate) -> str:
    """The stack height of what to order; empty where it has to be chosen."""
    chosen = to_order(candidate)
    return stack(chosen[0]) if len(chosen) == 1 else ""


def order_set(answer: Ranking) -> tuple[str, ...]:
    """The parts to order so that one of them fits, while it is open which half it is, and what tells them apart; empty
    where there is no such set, or one half and its mate are all that is left."""
    found = answer.order
    if found is None or (answer.verdict is Verdict.IDENTIFIED and len(found.parts) == 1):
        return ()
    chance = f"{percent(found.probability)}, if the half is in this catalogue"
    named = ", ".join(_ordered(part) for part in found.parts)
    if len(found.parts) == 1:
        return (f"One part fits whichever of them it is ({chance}): {named}.",)
    return (
        f"Order {PARTS[len(found.parts)]}, and one of them fits ({chance}): {named}.",
        f"On arrival, {_apart(found)}."
        if found.tell_apart
        else "On arrival, keep them apart by their labels: no size tells all of them apart.",
    )


def _ordered(part: OrderedMate) -> str:
    heights = " or ".join(f"{height:.2f}" for height in part.stack_heights)
    said = [f"stack {heights} mm" if heights else "", *part.beware]
    return (
        f"{part.mate.part_number} ({'; '.join(each for each in said if each)})" if any(said) else part.mate.part_number
    )


def _apart(found: OrderSet) -> str:
    """What tells the parts of a set apart, with the value of each in their order."""
    values = [
        f"{FEATURES[each.feature].label} {' / '.join(map(_value, each.values))}{' mm' if _sized(each) else ''}"
        for each in found.tell_apart
    ]
    return f"tell them apart by {' or '.join(values)}"


def _sized(difference: Difference) -> bool:
    return FEATURES[difference.feature].kind is Kind.DIMENSION


def _value(value: float | int | None) -> str:
    return "not stated" if value is None else f"{value:.2f}" if isinstance(value, float) else str(value)


def requirement(required: Requirement) -> str:
    """One figure that a mate must have, and why."""
    label, sized = FEATURES[required.feature].label, FEATURES[required.feature].kind is Kind.DIMENSION
    least, most = (None if each is None else f"{each:.3f}" for each in (required.least, required.most))
    value = (
        "open"
        if required.value is None
        else str(FEATURES[required.feature].values.get(str(required.value), required.value))
    )
    if sized and least and most:
        value = f"{length(float(required.value or 0.0), required.feature)} mm, from {least} to {most}"
    elif sized:
        value = f"at least {least} mm" if least else f"at most {most} mm"
    return f"{label}: {value}; {required.why}"


def could_fit(mate: CouldFit) -> str:
    """What speaks for a half that could be the mate."""
    room = "" if mate.clearance is None else f"; room in the opening {mate.clearance:.2f} mm"
    return f"{', '.join(FEATURES[name].label for name in mate.checked)} agree{room}"


def found_in_all(required: RequiredMate) -> str:
    """How many halves could fit by size, and what to do with what is found out."""
    more = required.could_fit_in_all - len(required.could_fit)
    counted = f"{more} more could fit by size. " if more else "" if required.could_fit else NOTHING_FITS
    return f"{counted}When you know which one mates, add it, so that the next person is told."


def room(found: Room) -> str:
    """Whether a pair goes into one direction of the room, and by how much."""
    said = f"{found.direction}: {FITS_WORDS[found.fits]}"
    if found.taken is None or found.margin is None:
        return said
    left = f"{abs(found.margin):.2f} mm {'left' if found.margin >= 0 else 'too much'} at worst"
    return f"{said}, {left} (takes {found.taken.least:.2f} to {found.taken.most:.2f})"


def differing_mates(candidate: Candidate) -> str:
    """A sentence where halves that no measurement tells apart take different mates; empty elsewhere."""
    if not candidate.same_geometry or all(mate.suits_all for mate in candidate.mates):
        return ""
    if any(mate.suits_all for mate in candidate.mates):
        return "They do not all take the same mates: order one that suits whichever it is."
    return "No listed mate suits all of them: what to order stays open until something else tells which half it is."


def suited(mate: Mate, candidate: Candidate) -> str:
    """Which of the halves that cannot be told apart the mate suits; empty where there is only one."""
    if not candidate.same_geometry:
        return ""
    if mate.suits_all:
        listed = len(mate.suits) > len(candidate.same_geometry)
        return "suits whichever it is" if listed else "suits whichever it is, by its sizes"
    names = {half.id: half.part_number for half in (candidate.half, *candidate.same_geometry)}
    return f"only for {', '.join(names[key] for key in mate.suits)}"


def basis(mate: Mate) -> str:
    """Who says that it mates."""
    return BASIS_WORDS[mate.basis]


def contacts(mate: Mate) -> str:
    """Which contact meets which; in capitals if it is not one to one, so that it stands out without colour."""
    wording = CONTACT_WORDS[mate.correspondence]
    return wording.upper() if mate.correspondence in WORST_CONTACTS else wording


def _is_length(line: EvidenceLine) -> bool:
    return line.feature in FEATURES and FEATURES[line.feature].kind is Kind.DIMENSION
