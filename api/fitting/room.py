"""Whether a mated pair goes into the room that there is: in the worst case over the tolerances, or only as a rule."""

from __future__ import annotations

from collections.abc import Iterator

from api.schemas.fitting.needed import Extent, Fits, NeededRequest, Room
from catalog.model.entries import Half, Mating
from catalog.review.dimensions import interval
from matcher.columns.process_tolerance import process_interval

WORST_FIRST: tuple[Fits, ...] = ("no", "unknown", "tight", "yes")

ALONG, ACROSS = ("overall_length", "body_length"), ("tail_span", "body_width")
"""Sizes of a half along and across its rows, of which the largest stated one counts."""

DIGITS_MM = 6
"""Decimals of a sum: a nanometre, so that 0.8 + 0.2 is 1."""


def rooms(half: Half, mate: Half, mating: Mating, asked: NeededRequest) -> tuple[Room, ...]:
    """Every direction that was asked about."""
    return tuple(_rooms(half, mate, mating, asked))


def worst(found: tuple[Room, ...]) -> Fits:
    """The worst of several directions; yes if none was asked about."""
    return min((each.fits for each in found), key=WORST_FIRST.index, default="yes")


def _rooms(half: Half, mate: Half, mating: Mating, asked: NeededRequest) -> Iterator[Room]:
    if asked.gap is not None:
        taken = stack(mating, sum(asked.added.values()))
        yield _room("height", taken, asked.gap.least, asked.gap.most)
    if asked.width_most is not None:
        pair = _of_pair("mated_width", mating)
        yield _room("width", pair or _largest(half, mate, ACROSS), None, asked.width_most)
    if asked.length_most is not None:
        yield _room("length", _largest(half, mate, ALONG), None, asked.length_most)


def stack(mating: Mating, added: float = 0.0) -> Extent | None:
    """The stack height with what is added to it; None if it is not stated."""
    found = _of_pair("stack_height", mating)
    return found and _extent(found.nominal + added, found.least + added, found.most + added)


def _of_pair(feature: str, mating: Mating) -> Extent | None:
    stated = mating.dimensions.get(feature)
    if stated is None:
        return None
    centre, reach = process_interval(feature, stated.dim, None)
    return _extent(stated.value, centre - reach, centre + reach)


def _largest(half: Half, mate: Half, names: tuple[str, ...]) -> Extent | None:
    """The larger one of both halves; None unless both state one of the sizes."""
    sizes = [[_size(each, name) for name in names if name in each.dimensions] for each in (half, mate)]
    if not all(sizes):
        return None
    every = [size for of_half in sizes for size in of_half]
    return _extent(*(max(values) for values in zip(*((e.nominal, e.least, e.most) for e in every), strict=True)))


def _size(half: Half, feature: str) -> Extent:
    centre, reach = interval(half, feature)
    return _extent(half.dimensions[feature].value, centre - reach, centre + reach)


def _extent(nominal: float, least: float, most: float) -> Extent:
    return Extent(nominal=round(nominal, DIGITS_MM), least=round(least, DIGITS_MM), most=round(most, DIGITS_MM))


def _room(direction: str, taken: Extent | None, least: float | None, most: float | None) -> Room:
    if taken is None:
        return Room.model_validate({"direction": direction, "fits": "unknown", "taken": None, "margin": None})
    over = [] if most is None else [most - taken.most]
    under = [] if least is None else [taken.least - least]
    middle = (most is None or taken.nominal <= most) and (least is None or taken.nominal >= least)
    margin = round(min(over + under), DIGITS_MM)
    fits = "yes" if margin >= 0 else "tight" if middle else "no"
    return Room.model_validate({"direction": direction, "fits": fits, "taken": taken, "margin": margin})
