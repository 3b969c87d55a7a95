"""Every page of the server by name: its address and the person who opens it."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import quote

from tests.browser.world import IDA, MIA, PER, World

LISTED = "ouzelby:mossipet-p24"
NEIGHBOUR = "pipitholt:seeplet-p24"
INFERRED = "dunnocksward:brambikin-h10-3"
"""Keys in the demo catalogue: a listed half, one that is nearly the same, and an inferred half."""

RATED = "ouzelby:mossipet-p40"
FLOWS = "current_a=0.8&supply_contacts=4&return_contacts=4&ambient_c=40"
"""A half whose ratings cover a current, and that current."""

MEASURED = "contact_count=24&rows=2&pitch=4.40/11&body_length=6.63&body_width=1.99"
"""Observations of the plug in the README's example."""

MATED = f"{LISTED}~ouzelby:mossipet-r24~maker~0.8"
NETS = "contact,net%0A1,BAT%2B%0A24,GND" + "".join(f"%0A{number},S{number}" for number in range(2, 24))
"""Its mating, and what its contacts carry, as in an address."""


@dataclass(frozen=True, kw_only=True)
class Place:
    """A page's address and the person signed in; ``status`` is the expected status code."""

    address: str
    who: str | None = None
    status: int = 200

    def at(self, world: World) -> str:
        """The full address on this server."""
        return self.address.format_map({name: quote(key, safe=":~") for name, key in world.keys.items()})


PLACES = {
    "bench": Place(address="/"),
    "bench-answer": Place(address=f"/?{MEASURED}"),
    "bench-in-doubt": Place(address="/?contact_count=38&rows=2&pitch=7.522/19&body_length=0.2565in&height=six"),
    "inquiry": Place(address=f"/inquiry?{MEASURED}"),
    "inquiry-empty": Place(address="/inquiry?height=six"),
    "photo": Place(address="/photo"),
    "half": Place(address=f"/halves/{LISTED}"),
    "half-inferred": Place(address=f"/halves/{INFERRED}"),
    "half-disputed": Place(address="/halves/{hostile_half}", who=PER),
    "half-unknown": Place(address="/halves/ouzelby:mossipet-p25", status=404),
    "current": Place(address=f"/halves/{RATED}/current"),
    "current-answer": Place(address=f"/halves/{RATED}/current?{FLOWS}"),
    "current-refused": Place(
        address=f"/halves/{RATED}/current?current_a=0&supply_contacts=x&return_contacts=4&ambient_c=-300", status=422
    ),
    "mates": Place(address=f"/halves/{LISTED}/mates"),
    "mates-room": Place(address=f"/halves/{LISTED}/mates?need=both&gap.most=1.7&width_most=3&added.board=0.8"),
    "mates-refused": Place(address=f"/halves/{LISTED}/mates?gap.most=x&need=all", status=422),
    "order": Place(address=f"/halves/{LISTED}/order?{MEASURED}"),
    "order-refused": Place(address=f"/halves/{LISTED}/order?quantity=none&mate=nobody:x", status=422),
    "mates-inferred": Place(address=f"/halves/{INFERRED}/mates"),
    "series": Place(address="/series/ouzelby:mossipet"),
    "series-hostile": Place(address="/series/{hostile_series}", who=PER),
    "series-unknown": Place(address="/series/ouzelby:mosipet", status=404),
    "catalogue": Place(address="/catalogue"),
    "catalogue-search": Place(address="/catalogue?q=mosipet+p24"),
    "compare": Place(address=f"/compare?half={LISTED}&half={NEIGHBOUR}"),
    "print": Place(address=f"/print?half={LISTED}&half={NEIGHBOUR}"),
    "contact-map": Place(address=f"/contact-map?half={LISTED}&mating={MATED}&nets={NETS}"),
    "contact-map-empty": Place(address=f"/contact-map?half={LISTED}"),
    "contact-map-refused": Place(address=f"/contact-map?half={LISTED}&nets=contact,net%0A25,GND", status=422),
    "contribute": Place(address="/contribute"),
    "contribute-half": Place(address="/contribute/half", who=IDA),
    "contribute-mating": Place(address=f"/contribute/mating?half={LISTED}", who=IDA),
    "contribute-series": Place(address="/contribute/series", who=IDA),
    "revise": Place(address="/halves/{hostile_half}/revise", who=IDA),
    "state": Place(address="/halves/{hostile_half}/state", who=IDA),
    "confirm": Place(address=f"/halves/{LISTED}/confirm", who=PER),
    "confirm-by-document": Place(address=f"/halves/{LISTED}/confirm?by=document", who=PER),
    "confirm-by-fit": Place(address=f"/halves/{LISTED}/confirm?by=trial_fit", who=PER),
    "dispute-it": Place(address="/halves/{hostile_half}/dispute", who=PER),
    "dispute": Place(address="/disputes/{dispute}", who=MIA),
    "sighting": Place(address="/halves/{hostile_half}/sighting", who=PER),
    "cases": Place(address="/cases", who=IDA),
    "case": Place(address="/cases/{case}", who=IDA),
    "case-new": Place(address=f"/cases/new?{MEASURED}", who=IDA),
    "journal": Place(address="/journal"),
    "pending": Place(address="/pending", who=MIA),
    "maintain": Place(address="/maintain", who=MIA),
    "tokens": Place(address="/tokens", who=IDA),
    "sign-in": Place(address="/sign-in"),
    "about": Place(address="/about"),
    "docs": Place(address="/docs"),
    "problems": Place(address="/problems"),
    "no-such-page": Place(address="/nest", status=404),
}
