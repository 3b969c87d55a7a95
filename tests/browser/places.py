"""Every page of the server, by name: where it is, and who looks at it."""

from __future__ import annotations

from dataclasses import dataclass

from tests.browser.world import IDA

LISTED = "ouzelby:mossipet-p24"
INFERRED = "dunnocksward:brambikin-h10-3"
"""Keys in the demo catalogue: a half of a series' members, and one that nobody lists."""

MEASURED = "contact_count=24&rows=2&pitch=4.40/11&body_length=6.63&body_width=1.99"
"""A plug as in the README's worked session."""


@dataclass(frozen=True, kw_only=True)
class Place:
    """A page's address and who is signed in; ``status`` is what it answers with."""

    address: str
    who: str | None = None
    status: int = 200


PLACES = {
    "bench": Place(address="/"),
    "bench-answer": Place(address=f"/?{MEASURED}"),
    "bench-in-doubt": Place(address="/?contact_count=38&rows=2&pitch=7.522/19&body_length=0.2565in&height=six"),
    "bench-signed-in": Place(address=f"/?{MEASURED}", who=IDA),
    "photo": Place(address="/photo"),
    "half": Place(address=f"/halves/{LISTED}"),
    "half-signed-in": Place(address=f"/halves/{LISTED}", who=IDA),
    "half-inferred": Place(address=f"/halves/{INFERRED}"),
    "half-unknown": Place(address="/halves/ouzelby:mossipet-p25", status=404),
    "series": Place(address="/series/ouzelby:mossipet"),
    "series-unknown": Place(address="/series/ouzelby:mosipet", status=404),
    "sign-in": Place(address="/sign-in"),
    "about": Place(address="/about"),
    "docs": Place(address="/docs"),
    "problems": Place(address="/problems"),
    "no-such-page": Place(address="/nest", status=404),
}
