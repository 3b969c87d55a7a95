"""Names of a category's values as people give them."""

from __future__ import annotations

from matcher.features import Feature

YES_NO = ({"yes", "no"}, {True: "yes", False: "no"}, {"true": "yes", "y": "yes", "false": "no", "n": "no"})
"""A category that asks yes or no, and what truth values and other words mean there."""


def named_values(feature: Feature, value: object) -> tuple[str, ...]:
    """The names given for a category, in the table's spelling where that is plain; empty for what is no name.

    One name or several (tuple, list, set); case, spaces and hyphens do not matter; truth values answer yes or no.
    """
    given = value if isinstance(value, tuple | list | set | frozenset) else (value,)
    names = [_plain(feature, one) for one in given]
    return tuple(name for name in names if name is not None) if None not in names else ()


def _plain(feature: Feature, value: object) -> str | None:
    values, truths, words = YES_NO
    if set(feature.values) == values and isinstance(value, bool):
        return truths[value]
    if not isinstance(value, str) or not value.strip():
        return None
    name = "_".join(value.strip().lower().replace("-", " ").replace("_", " ").split())
    return words.get(name, name) if set(feature.values) == values else name
