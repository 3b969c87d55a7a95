"""What a running server or command needs to know; nothing is read when modules are imported."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from catalog.history.pending import DELAY

MAX_BODY_BYTES = 1_048_576
"""Largest request body that is read, bytes (1 MiB): a thousand times a usual list of observations."""

MAX_PICTURE_BYTES = 40_000_000
"""Largest body with a picture in it, bytes. A colour picture of 12 million pixels that cannot be compressed at all has
36 MB; as base64 in JSON, which takes a third more, there is room for 30 MB: any photo of that size, as PNG too."""

MAX_PICTURE_PIXELS = 24_000_000
"""Most pixels of a picture that is sent: twice the 12 million of a usual crop, decoded within 100 MB."""

MAX_FILE_BYTES = 200_000_000
MAX_FILE_PIXELS = 80_000_000
"""The same for a file on one's own machine, where nobody else waits: a whole photo of the finest cameras."""

DEFAULT_PAGE = 50
MAX_PAGE = 500
"""Entries on one page of a list: the default, and the most that may be asked for."""

MAX_HITS = 100
"""Most hits of one text search."""

LOOKED_EVERY_S = 30.0
"""Seconds between two looks for pending changes that are due: nothing to a delay of days."""

CASES_EVERY_S = 5.0
"""Seconds between two looks whether the catalogue changed, so that open cases have to be ranked again: a look reads one
number."""

KEPT_OBJECTS = 200_000
"""New objects after which Python looks for rubbish. A command or a server builds the whole catalogue and keeps it;
looking through it every 700 objects, Python's default, takes a third of the time."""

RETRY_AFTER_S = 2
"""Seconds to wait when the database is locked; writers hold it for less."""


@dataclass(frozen=True, kw_only=True)
class Settings:
    """Settings of one server.

    ``database_url`` chooses the catalogue; None: ``OTHERHALF_DATABASE``, else the user's own. ``max_body_bytes``
    bounds request bodies, ``max_picture_bytes`` those of the one address that takes pictures.
    ``pending_delay`` is how long destroying changes wait for objections, ``looked_every_s`` how often, in seconds, is
    looked for those that are due, and ``cases_every_s`` whether open cases have to be ranked again.
    """

    database_url: str | None = None
    max_body_bytes: int = MAX_BODY_BYTES
    max_picture_bytes: int = MAX_PICTURE_BYTES
    pending_delay: timedelta = DELAY
    looked_every_s: float = LOOKED_EVERY_S
    cases_every_s: float = CASES_EVERY_S
