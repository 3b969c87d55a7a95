"""The form of a mating: from fields to an entry. What was found out about a pair is added, not changed, here."""

from __future__ import annotations

import re
from typing import Any

from api.schemas.words import BASIS_WORDS, CONTACT_WORDS
from api.web.contribute import entry_fields as fields
from api.web.page.forms import Form
from matcher.features import PAIR_DIMENSIONS

WORDS = ("half", "other", "basis", "correspondence", "note")

BASES = tuple(BASIS_WORDS.items())
CORRESPONDENCES = tuple(CONTACT_WORDS.items())


def mating_of(form: Form) -> dict[str, Any]:
    """The typed values as an entry that is not checked yet."""
    found: dict[str, Any] = fields.given(form, WORDS) | fields.dimensions(form, "", PAIR_DIMENSIONS, form.one("unit"))
    if pairs := [re.split(r"[\s:=→]+", line, maxsplit=1) for line in fields.lines(form, "contact_map")]:
        found["contact_map"] = pairs
    if citation := fields.given(form, fields.SOURCE, "citation."):
        found["citation"] = citation
    return found
