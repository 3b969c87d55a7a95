"""Settings of a server and limits of requests; importing this module reads nothing."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from catalog.history.pending import DELAY

MAX_BODY_BYTES = 1_048_576
"""Largest request body, bytes (1 MiB): a thousand times a usual list of observations."""

MAX_PICTURE_BYTES = 40_000_000
"""Largest body with a picture, bytes. An incompressible colour picture of 12 million pixels has 36 MB. In base64, which
takes a third more, 30 MB fit: any photo of that size, also as PNG."""

MAX_PICTURE_PIXELS = 24_000_000
"""Most pixels of a picture in a request: twice the 12 million of a usual crop, decoded within 100 MB."""

MAX_FILE_BYTES = 200_000_000
MAX_FILE_PIXELS = 80_000_000
"""The same limits for a local file, for which no one else has to wait: enough for an uncropped photo."""

DEFAULT_PAGE = 50
MAX_PAGE = 500
"""Entries on one page of a list: the default, and the largest allowed."""

MAX_HITS = 100
"""Most hits of one text search."""

LOOKED_EVERY_S = 30.0
"""Seconds between two checks for pending changes that are due: short compared with their delay of days."""

CASES_EVERY_S = 5.0
"""Seconds between two checks whether the catalogue has changed and open cases must be ranked again: a check reads one
number."""

KEPT_OBJECTS = 200_000
"""New objects after which Python collects garbage. A command or a server builds the whole catalogue and keeps it; with
Python's default of 700 objects, a third of the time would go into collecting."""

RETRY_AFTER_S = 2
"""Seconds to wait when the database is locked; writers lock it for a shorter time."""


@dataclass(frozen=True, kw_only=True)
class Settings:
    """Settings of one server.

    ``database_url`` is the catalogue; None: ``OTHERHALF_DATABASE``, or else the user's own. ``max_body_bytes`` limits
    request bodies, ``max_picture_bytes`` those of the one address that accepts pictures. ``pending_delay`` is how long
    changes that others may object to are pending. ``looked_every_s`` is the time between two checks for due changes,
    ``cases_every_s`` between two checks for cases to rank again, in seconds.
    """

    database_url: str | None = None
    max_body_bytes: int = MAX_BODY_BYTES
    max_picture_bytes: int = MAX_PICTURE_BYTES
    pending_delay: timedelta = DELAY
    looked_every_s: float = LOOKED_EVERY_S
    cases_every_s: float = CASES_EVERY_S
