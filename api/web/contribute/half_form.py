"""The form of a half: from fields to an entry and back."""

from __future__ import annotations

from typing import Any

from api.web.contribute import entry_fields as fields
from api.web.page.forms import Form
from catalog.model.entries import Half
from matcher.features import DIMENSIONS

WORDS = ("maker", "series", "part_number", "half_kind", "rows", "contact_count", "positions")


def half_of(form: Form) -> dict[str, Any]:
    """The typed values as an entry that is not checked yet."""
    found: dict[str, Any] = fields.given(form, WORDS) | fields.common(form) | fields.seen(form)
    found["dimensions"] = fields.dimensions(form, "dimensions.", DIMENSIONS, form.one("unit"))
    if row_contacts := fields.numbers(form, "row_contacts"):
        found["row_contacts"] = row_contacts
    return found


def half_pairs(half: Half) -> fields.Pairs:
    """The fields of a half."""
    found: fields.Pairs = [(name, str(getattr(half, name) or "")) for name in WORDS]
    found.append(("row_contacts", " ".join(map(str, half.row_contacts))))
    for name, stated in half.dimensions.items():
        found += fields.dimension_pairs(f"dimensions.{name}.", stated)
    texts = {name: getattr(half, name) for name in ("markings", "aliases", "order_codes")}
    found += fields.seen_pairs("", half.counts, half.categories, half.blocked, half.numbering, texts)
    found += fields.common_pairs(half.lifecycle, half.mating_cycles, half.ratings, half.datasheet, half.note)
    return found
