"""What was found of a row of contacts: `FoundRow` and its `FoundContact`s."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class FoundContact:
    """One contact: ``position`` of its centre along the line, px from the line's start, with standard uncertainty
    ``u`` (px); ``index`` its place in the row (0: the first); ``doubtful`` says why it may be none, None where it is
    clear."""

    position: float
    u: float
    index: int
    doubtful: str | None = None


@dataclass(frozen=True, kw_only=True)
class FoundRow:
    """A row of contacts along a line; lengths are px along the line.

    ``count`` is the number of places from the first contact to the last, empty places among them included;
    ``missing`` holds the indices of empty places. ``count_probability`` is how likely that count is;
    ``alternatives`` are other counts with theirs, likeliest first; what is left is for none of these. ``sure`` is True
    where the count can be used unseen; else ``reasons`` says, in sentences, why not. ``pitch_u`` is the standard
    uncertainty of ``pitch_px`` with ``degrees_of_freedom``, ``pitch_u95`` the half-width of its 95 % interval by
    Student's t. ``dark`` says that the contacts are darker than what is between them. ``contrast`` is the height of
    a typical contact over what is between, as a part of the profile's range of levels (0..1).
    """

    pitch_px: float
    pitch_u: float
    pitch_u95: float
    degrees_of_freedom: float
    centres: tuple[FoundContact, ...]
    count: int
    count_probability: float
    alternatives: tuple[tuple[int, float], ...]
    sure: bool
    missing: tuple[int, ...]
    reasons: tuple[str, ...]
    dark: bool
    contrast: float
