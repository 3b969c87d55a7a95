"""The differences between two states of a record, field by field, in words."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

LONGEST_SHOWN = 120
"""Most characters of a value that are shown; the journal's JSON has the whole value."""

_NOTHING = object()


@dataclass(frozen=True, kw_only=True)
class Difference:
    """One changed field; None: it was, or is, missing."""

    field: str
    old: str | None
    new: str | None

    def __str__(self) -> str:
        if self.old is None:
            return f"{self.field}: {self.new}"
        return f"{self.field}: {self.old} → {self.new if self.new is not None else 'no longer stated'}"


def differences(old: Mapping[str, Any] | None, new: Mapping[str, Any]) -> list[Difference]:
    """The changed fields between two states from the journal, in the order of the new one."""
    return list(_differing("", _flat(old or {}), _flat(new)))


def _flat(kept: Mapping[str, Any]) -> dict[str, Any]:
    """The content's fields beside the state's own, so that paths do not begin with "content."."""
    content = kept.get("content")
    rest = {name: value for name, value in kept.items() if name != "content"}
    return {**content, **rest} if isinstance(content, Mapping) else dict(kept)


def _differing(path: str, old: Any, new: Any) -> Iterator[Difference]:
    if isinstance(old, Mapping) and isinstance(new, Mapping):
        for name in dict.fromkeys((*new, *old)):
            place = f"{path}.{name}" if path else str(name)
            yield from _differing(place, old.get(name, _NOTHING), new.get(name, _NOTHING))
    elif old != new:
        yield Difference(field=path, old=_shown(old), new=_shown(new))


def _shown(value: Any) -> str | None:
    if value is _NOTHING:
        return None
    text = value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
    return text if len(text) <= LONGEST_SHOWN else text[: LONGEST_SHOWN - 1] + "…"
