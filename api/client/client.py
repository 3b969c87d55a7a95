"""A typed client of the JSON interface, for scripts.

>>> from api.client import Client
>>> with Client("http://127.0.0.1:8642") as client:  # doctest: +SKIP
...     answer = client.identify([{"feature": "contact_count", "value": 24}])
...     print(answer.verdict, answer.candidates[0].half.part_number)

Observations may be dictionaries in the JSON form, pieces of the short form such as ``"pitch=4.41/11"``, or the
``observations`` of an answer of `Client.measure` or `Client.measure_row`.
"""

from __future__ import annotations

import base64
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from pydantic import BaseModel

from api.client.connection import at
from api.client.contributing import ContributingCalls
from api.client.evidence import EvidenceCalls
from api.observations.short_form import parse_pieces
from api.schemas.answers import Answer, ExplainAnswer, Health
from api.schemas.fitting.contact_map import ContactMapAnswer
from api.schemas.fitting.current import CurrentAnswer
from api.schemas.fitting.inquiry import Inquiry
from api.schemas.fitting.lands import LandsAnswer
from api.schemas.fitting.needed import NeededAnswer
from api.schemas.fitting.order_note import OrderNote
from api.schemas.lists import FeatureList, InstrumentList, Page, SearchAnswer
from api.schemas.measured import MeasureAnswer, RowAnswer
from catalog.records.read_models import HalfRecord, MatingRecord, SeriesRecord

Observation = Mapping[str, Any] | str | BaseModel
Observations = Sequence[Observation]

PNG_SIGNATURE = b"\x89PNG"
"""First bytes of every PNG file (W3C PNG, 5.2)."""


class Client(ContributingCalls, EvidenceCalls):
    """A client of one server."""

    def identify(
        self,
        observations: Observations,
        *,
        prior_absent: float | None = None,
        limit: int | None = None,
        instruments: Mapping[str, Mapping[str, float]] | None = None,
        closed_jaws: Mapping[str, Sequence[float]] | None = None,
        remains: str | None = None,
    ) -> Answer:
        """Rank the catalogue for a specimen."""
        body = _body(
            observations,
            prior_absent=prior_absent,
            limit=limit,
            instruments=instruments,
            closed_jaws=closed_jaws,
            remains=remains,
        )
        return self._ask(Answer, "POST", "/v1/identify", body=body)

    def explain(
        self,
        half: str,
        observations: Observations,
        *,
        prior_absent: float | None = None,
        instruments: Mapping[str, Mapping[str, float]] | None = None,
        closed_jaws: Mapping[str, Sequence[float]] | None = None,
        remains: str | None = None,
    ) -> ExplainAnswer:
        """Why one half, named by its key, has its rank."""
        body = _body(
            observations,
            prior_absent=prior_absent,
            instruments=instruments,
            closed_jaws=closed_jaws,
            remains=remains,
            half=half,
        )
        return self._ask(ExplainAnswer, "POST", "/v1/identify/explain", body=body)

    def inquiry(
        self,
        observations: Observations,
        *,
        pictures: Sequence[Mapping[str, Any]] | None = None,
        remains: str | None = None,
    ) -> Inquiry:
        """An inquiry about a half that is not in the catalogue: figures, marks in ``pictures``, text and drawing."""
        body = _body(observations, pictures=pictures, remains=remains)
        return self._ask(Inquiry, "POST", "/v1/inquiry", body=body)

    def order_note(self, half: str, observations: Observations = (), **options: Any) -> OrderNote:
        """What to order for a half, and the checks. ``options``: mate, quantity, tools, as in the JSON form."""
        return self._ask(OrderNote, "POST", "/v1/order-note", body=_body(observations, half=half, **options))

    def mates(self, *halves: str, **options: Any) -> NeededAnswer:
        """What is needed to connect to a half, or to each of a shortlist. ``options`` are other fields of the JSON
        form: need, gap, width_most, length_most, added."""
        return self._ask(NeededAnswer, "POST", "/v1/mates", body={"halves": list(halves), **options})

    def measure(
        self,
        *,
        pictures: Sequence[Mapping[str, Any]] = (),
        readings: Observations = (),
        closed_jaws: Mapping[str, Sequence[float]] | None = None,
        instruments: Mapping[str, Mapping[str, float]] | None = None,
    ) -> MeasureAnswer:
        """Lengths with their uncertainty from points clicked in pictures (in the JSON form) and from readings."""
        given = {"closed_jaws": closed_jaws, "instruments": instruments}
        body: dict[str, object] = {name: value for name, value in given.items() if value is not None}
        body |= {"pictures": [dict(picture) for picture in pictures], "readings": [_plain(each) for each in readings]}
        return self._ask(MeasureAnswer, "POST", "/v1/measure", body=body)

    def measure_row(
        self,
        picture: bytes | None = None,
        *lines: tuple[float, float, float, float],
        profile: Sequence[float] | None = None,
        **options: Any,
    ) -> RowAnswer:
        """Find contacts in a PNG or JPEG ``picture`` along each of ``lines`` (x0, y0, x1, y1 in pixels), or in a
        ``profile`` of grey levels. ``options`` are other fields of the JSON form: width, scale, taken …"""
        body = {"lines": lines or None, "profile": profile, **options}
        if picture is not None:
            kind = "image/png" if picture.startswith(PNG_SIGNATURE) else "image/jpeg"
            body["image"] = {"media_type": kind, "data": base64.b64encode(picture).decode("ascii")}
        given = {name: value for name, value in body.items() if value is not None}
        return self._ask(RowAnswer, "POST", "/v1/measure/row", body=given)

    def current(
        self,
        half: str,
        *,
        current_a: float,
        supply_contacts: int,
        return_contacts: int,
        ambient_c: float,
        mate: str | None = None,
        power_contacts: bool = False,
    ) -> CurrentAnswer:
        """Whether a half and its mate, or all its listed mates, carry a current by the stated ratings."""
        body = {
            "half": half,
            "mate": mate,
            "current_a": current_a,
            "supply_contacts": supply_contacts,
            "return_contacts": return_contacts,
            "ambient_c": ambient_c,
            "power_contacts": power_contacts,
        }
        return self._ask(CurrentAnswer, "POST", "/v1/current", body=body)

    def contact_map(self, half: str, mate: str | None = None, **options: Any) -> ContactMapAnswer:
        """Which contact of the mate has which net. ``options`` are other fields of the JSON form: contacts, seen_from,
        mate_on, fold, mating."""
        given = {"half": half, "mate": mate, **options}
        body = {name: value for name, value in given.items() if value is not None}
        return self._ask(ContactMapAnswer, "POST", "/v1/contact-map", body=body)

    def lands(self, half: str, *, dummy: bool = False) -> LandsAnswer:
        """The lands of a half pad by pad; ``dummy`` allows calculated ones where they are not known."""
        return self._ask(LandsAnswer, "GET", f"{at('half', half)}/lands", {"dummy": dummy})

    def halves(
        self,
        *,
        maker: str | None = None,
        series: str | None = None,
        half_kind: str | None = None,
        contact_count: int | None = None,
        text: str | None = None,
        page_size: int | None = None,
    ) -> Iterator[HalfRecord]:
        """All halves that match the filters, read page by page as needed."""
        filters = {
            "maker": maker,
            "series": series,
            "half_kind": half_kind,
            "contact_count": contact_count,
            "text": text,
        }
        return self._pages(Page[HalfRecord], "/v1/halves", filters, page_size)

    def half(self, key: str) -> HalfRecord:
        """The half of this key."""
        return self._ask(HalfRecord, "GET", at("half", key))

    def all_series(
        self, *, maker: str | None = None, text: str | None = None, page_size: int | None = None
    ) -> Iterator[SeriesRecord]:
        """All series that match the filters, read page by page as needed."""
        return self._pages(Page[SeriesRecord], "/v1/series", {"maker": maker, "text": text}, page_size)

    def series(self, key: str) -> SeriesRecord:
        """The series of this key."""
        return self._ask(SeriesRecord, "GET", at("series", key))

    def matings(
        self, *, half: str | None = None, basis: str | None = None, page_size: int | None = None
    ) -> Iterator[MatingRecord]:
        """All matings that match the filters, read page by page as needed; ``half`` is the key of either half."""
        return self._pages(Page[MatingRecord], "/v1/matings", {"half": half, "basis": basis}, page_size)

    def search(self, text: str, *, limit: int | None = None) -> SearchAnswer:
        """Find halves, series and makers by text."""
        return self._ask(SearchAnswer, "GET", "/v1/search", {"q": text, "limit": limit})

    def features(self) -> FeatureList:
        """The features that can be observed."""
        return self._ask(FeatureList, "GET", "/v1/features")

    def instruments(self) -> InstrumentList:
        """The built-in instruments."""
        return self._ask(InstrumentList, "GET", "/v1/instruments")

    def health(self) -> Health:
        """The state of the server."""
        return self._ask(Health, "GET", "/health")


def _plain(observation: Observation) -> dict[str, Any]:
    """An observation in its JSON form."""
    if isinstance(observation, str):
        return parse_pieces([observation])[0]
    if isinstance(observation, BaseModel):
        return observation.model_dump(mode="json", exclude_unset=True)
    return dict(observation)


def _body(observations: Observations, **options: object) -> dict[str, object]:
    listed = [_plain(each) for each in observations]
    return {"observations": listed, **{name: value for name, value in options.items() if value is not None}}
