"""Find a row of contacts in a profile of grey levels."""

from __future__ import annotations

from matcher.columns import Floats
from matcher.contacts.found import FoundRow


def find_contacts(profile: Floats, *, step: float = 1.0) -> FoundRow:
    """The row of contacts in ``profile``: grey levels every ``step`` px along a line.

    Raises `ObservationError`: field ``profile`` for a profile that is too short, constant, not finite or without
    contacts; ``step`` for a step that is no positive number.
    """
    raise NotImplementedError
