"""Drawings on the pages about entries: the views of `api.drawing`, as markup that its writer has escaped."""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from api.drawing.mating import mated
from api.drawing.size_sources import sizes_of
from api.drawing.sizes import Length, Sizes, Source
from api.drawing.views import Look, View, mated_view, side_view, top_view
from catalog.model.entry_parts import Dimension
from catalog.records.read_models import HalfRecord, MatingRecord

TOP_PX, SIDE = 560.0, Look(width_px=250.0, tallest_px=300.0)
"""Width of the view from above, px, and the size of a cut: a tall half would fill the page."""


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """One view: its name and its markup."""

    name: str
    svg: Markup


def drawings_of(record: HalfRecord, mating: MatingRecord | None, other: HalfRecord | None) -> tuple[Drawn, ...]:
    """The half from above, cut, and mated where a mate is chosen."""
    sizes = sizes_of(record.half)
    views = views_alone(sizes, TOP_PX, SIDE)
    return views if mating is None or other is None else (*views, _mated(sizes, mating, other))


def views_alone(sizes: Sizes, top_px: float, side: Look) -> tuple[Drawn, Drawn]:
    """The half from above, so wide on screen, and cut."""
    marked = "" if sizes.first is None else "; the arrowhead points at contact 1"
    return (
        _drawn(f"From above, seen from the mating face{marked}", top_view(sizes, Look(width_px=top_px))),
        _drawn("Cut across the rows, on its board", side_view(sizes, side)),
    )


def _mated(sizes: Sizes, mating: MatingRecord, other: HalfRecord) -> Drawn:
    pair = mated(
        sizes,
        sizes_of(other.half),
        stack_height=_length(mating.mating.stack_height),
        mated_width=_length(mating.mating.mated_width),
    )
    view = mated_view(pair, SIDE)
    return _drawn(f"Mated with {other.half.part_number}", view)


def _length(stated: Dimension | None) -> Length | None:
    if stated is None:
        return None
    return Length(value=stated.value, source=Source.STATED, tolerance=stated.tolerance, bound=stated.bound)


def _drawn(name: str, view: View) -> Drawn:
    return Drawn(name=name, svg=Markup(view.svg))
