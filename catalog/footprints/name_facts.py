"""Facts stated in a footprint's name: rows, positions, pitch, direction, kind. The rest of a name is ignored."""

from __future__ import annotations

import re
from dataclasses import dataclass

_GRID = re.compile(r"(?<![\d.])(\d{1,2})x(\d{1,3})(?![\d.])")
_PITCH = re.compile(r"_P(\d{1,2}(?:\.\d+)?)mm")
_PIN_HEADER = re.compile(r"pin[\s_-]?header", re.IGNORECASE)
_WORDS = re.compile(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+")

ORIENTATION_WORDS = {
    "vertical": "vertical",
    "straight": "vertical",
    "upright": "vertical",
    "horizontal": "right_angle",
    "angled": "right_angle",
    "sideways": "right_angle",
}
KIND_WORDS = {
    "plug": "plug",
    "male": "plug",
    "pinheader": "plug",
    "receptacle": "receptacle",
    "female": "receptacle",
    "socket": "receptacle",
}
"""The usual meaning of the trade's words; a name with words for both kinds states no kind.

"Header" alone states none either: a shrouded header surrounds its mate.
"""

MOUNTING_WORDS = ("smd", "smt", "tht", "pin")
"""Words that may differ between mates of one family."""

KIND_LETTERS = re.compile(r"(?<!\d)(\d+)(D?)([PS])(?![A-Za-z])")
"""A count followed by P or S (plug, socket), doubled rows by D: states a kind only if the counterpart exists."""


@dataclass(frozen=True, kw_only=True)
class NameFacts:
    """Facts that a name states; None if it states nothing or contradicts itself."""

    rows: int | None = None
    positions: int | None = None
    pitch: float | None = None
    orientation: str | None = None
    half_kind: str | None = None
    maker: str = "-"

    def agrees(self, contacts: int) -> bool:
        """Whether the stated rows and positions can hold that many contacts, with at most a quarter left out."""
        if self.rows is None or self.positions is None:
            return False
        sites = self.rows * self.positions
        return contacts <= sites <= contacts + max(1, contacts // 3)


def words(name: str) -> tuple[str, ...]:
    """Words, lower case: runs of letters, split where a capital begins a new word; "pin header" is one word."""
    return tuple(word.lower() for word in _WORDS.findall(_PIN_HEADER.sub("Pinheader", name)))


def _only(found: set[str]) -> str | None:
    return next(iter(found)) if len(found) == 1 else None


def name_facts(name: str) -> NameFacts:
    """Read a name. A grid like 2x10 counts only if it occurs once."""
    grids = _GRID.findall(name)
    pitch = _PITCH.search(name)
    spoken = words(name)
    rows, positions = (int(grids[0][0]), int(grids[0][1])) if len(grids) == 1 else (None, None)
    return NameFacts(
        rows=rows or None,
        positions=positions or None,
        pitch=float(pitch[1]) or None if pitch else None,
        orientation=_only({ORIENTATION_WORDS[word] for word in spoken if word in ORIENTATION_WORDS}),
        half_kind=_only({KIND_WORDS[word] for word in spoken if word in KIND_WORDS}),
        maker=re.split(r"[_\-\s]", name.strip("_- "), maxsplit=1)[0] or "-",
    )


def family(name: str) -> tuple[str, ...]:
    """A name without the words (and letters) that tell kind, direction or mounting, split at signs.

    Sizes may stay in: mates have the same.
    """
    plain = KIND_LETTERS.sub(r"\1\2", name)
    spoken = {*KIND_WORDS, *ORIENTATION_WORDS, *MOUNTING_WORDS}
    kept = _WORDS.sub(lambda m: "" if m[0].lower() in spoken else m[0], _PIN_HEADER.sub("Pinheader", plain))
    return tuple(token for token in re.split(r"[^\w.]+|_", kept.lower()) if token)
