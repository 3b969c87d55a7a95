"""A contact map as a CSV table: one line for each contact of the half, then for what else the mate has."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping
from typing import get_args

from api.schemas.fitting.contact_map import ContactMapAnswer, MapView, ViewName
from catalog.exchange.columns import guarded

HEADER = (
    "half_contact",
    "net",
    "role",
    "reading",
    "note",
    "mate_contact",
    "mate_net",
    "mate_from_mating_face",
    "mate_from_board_side",
    "mate_in_place",
)
"""The columns; the last three are row/position of the mate's contact as that view shows it, rows from above, positions
from the left, sites left out included."""

NOT_SURE = "verify by continuity"
"""Instead of the mate's net where the wiring is not sure."""


def csv_of(answer: ContactMapAnswer) -> str:
    """The table."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(HEADER)
    writer.writerows([guarded(cell) for cell in line] for line in _lines(answer))
    return stream.getvalue()


def _lines(answer: ContactMapAnswer) -> Iterator[list[str]]:
    views = {view.name: _places(view) for view in answer.views if view.whose == "mate"}
    for each in answer.contacts:
        mate = each.mate_contact or ""
        net = each.net if answer.sure and mate else NOT_SURE if answer.mate and not answer.sure else ""
        yield [each.contact, each.net, each.role or "", each.reading, each.note, mate, net, *_seen(mate, views)]
    for name in answer.unmet:
        net = "" if answer.sure else NOT_SURE
        yield ["", "", "", "", "", name, net, *_seen(name, views)]


def _seen(contact: str, views: Mapping[ViewName, Mapping[str, str]]) -> list[str]:
    """Where each view of the mate shows a contact."""
    return [views.get(name, {}).get(contact, "") for name in get_args(ViewName)]


def _places(view: MapView) -> dict[str, str]:
    return {
        cell.contact: f"{row}/{position}"
        for row, cells in enumerate(view.rows, 1)
        for position, cell in enumerate(cells, 1)
        if cell is not None
    }
