"""A typed client of the JSON interface, for scripts.

>>> from api.client import Client
>>> with Client("http://127.0.0.1:8642") as client:  # doctest: +SKIP
...     answer = client.identify([{"feature": "contact_count", "value": 24}])
...     print(answer.verdict, answer.candidates[0].half.part_number)

Observations may be dictionaries in the JSON form, pieces of the short form such as ``"pitch=4.41/11"``, or what
`Client.measure` and `Client.measure_row` answered as ``observations``.
"""

from __future__ import annotations

import base64
from collections.abc import Iterator, Mapping, Sequence
from types import TracebackType
from typing import Any, Self, TypeVar
from urllib.parse import quote

import httpx2
from pydantic import BaseModel, ValidationError

from api.client.contributing import ContributingCalls
from api.client.evidence import EvidenceCalls
from api.observations.short_form import parse_pieces
from api.schemas.answers import Answer, ExplainAnswer, Health
from api.schemas.lists import FeatureList, InstrumentList, Page, SearchAnswer
from api.schemas.measured import MeasureAnswer, RowAnswer
from api.schemas.problems import Problem
from catalog.records.read_models import HalfRecord, MatingRecord, SeriesRecord

TIMEOUT_S = 30.0
"""Seconds to wait for an answer; the first one after a change of a large catalogue takes longest."""

R = TypeVar("R", bound=BaseModel)

Observation = Mapping[str, Any] | str | BaseModel
Observations = Sequence[Observation]

PNG_SIGNATURE = b"\x89PNG"
"""How every PNG file begins (W3C PNG, 5.2)."""


class ProblemError(Exception):
    """The server answered with a problem; ``problem`` is its document."""

    def __init__(self, problem: Problem) -> None:
        lines = [f"{problem.title}: {problem.detail}"]
        lines += [f"{error.field}: {error.message}. {error.remedy}" for error in problem.errors]
        super().__init__("\n".join(lines))
        self.problem = problem


class Client(ContributingCalls, EvidenceCalls):
    """One server. Use it as a context manager, or call `close`.

    ``base_url`` is the server's address, ``token`` what changes are made with; reading needs none. ``http`` replaces
    the HTTP client, for tests or own transports; it is then the caller's to close. Calls raise `ProblemError` for what
    the server refuses, and httpx2's errors where it cannot be reached.
    """

    def __init__(
        self,
        base_url: str = "",
        *,
        token: str | None = None,
        timeout_s: float = TIMEOUT_S,
        http: httpx2.Client | None = None,
    ) -> None:
        self._own = http is None
        self._headers = {} if token is None else {"Authorization": f"Bearer {token}"}
        self._http = http if http is not None else httpx2.Client(base_url=base_url, timeout=timeout_s)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the connections that this client opened."""
        if self._own:
            self._http.close()

    def identify(
        self,
        observations: Observations,
        *,
        prior_absent: float | None = None,
        limit: int | None = None,
        instruments: Mapping[str, Mapping[str, float]] | None = None,
        closed_jaws: Mapping[str, Sequence[float]] | None = None,
    ) -> Answer:
        """Rank the catalogue for a specimen."""
        body = _body(
            observations, prior_absent=prior_absent, limit=limit, instruments=instruments, closed_jaws=closed_jaws
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
    ) -> ExplainAnswer:
        """Why one half, named by its key, stands where it stands."""
        body = _body(
            observations, prior_absent=prior_absent, instruments=instruments, closed_jaws=closed_jaws, half=half
        )
        return self._ask(ExplainAnswer, "POST", "/v1/identify/explain", body=body)

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
        """Contacts found in a PNG or JPEG ``picture`` along each of ``lines`` (x0, y0, x1, y1 in pixels), or in a
        ``profile`` of grey levels. ``options`` are further fields of the JSON form: width, scale, row_count …"""
        body = {"lines": lines or None, "profile": profile, **options}
        if picture is not None:
            kind = "image/png" if picture.startswith(PNG_SIGNATURE) else "image/jpeg"
            body["image"] = {"media_type": kind, "data": base64.b64encode(picture).decode("ascii")}
        given = {name: value for name, value in body.items() if value is not None}
        return self._ask(RowAnswer, "POST", "/v1/measure/row", body=given)

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
        """All halves that pass the filters, page by page as they are needed."""
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
        return self._ask(HalfRecord, "GET", f"/v1/halves/{quote(key, safe='')}")

    def all_series(
        self, *, maker: str | None = None, text: str | None = None, page_size: int | None = None
    ) -> Iterator[SeriesRecord]:
        """All series that pass the filters, page by page as they are needed."""
        return self._pages(Page[SeriesRecord], "/v1/series", {"maker": maker, "text": text}, page_size)

    def series(self, key: str) -> SeriesRecord:
        """The series of this key."""
        return self._ask(SeriesRecord, "GET", f"/v1/series/{quote(key, safe='')}")

    def matings(
        self, *, half: str | None = None, basis: str | None = None, page_size: int | None = None
    ) -> Iterator[MatingRecord]:
        """All matings that pass the filters, page by page as they are needed; ``half`` is the key of either half."""
        return self._pages(Page[MatingRecord], "/v1/matings", {"half": half, "basis": basis}, page_size)

    def search(self, text: str, *, limit: int | None = None) -> SearchAnswer:
        """Halves, series and makers found by text."""
        return self._ask(SearchAnswer, "GET", "/v1/search", {"q": text, "limit": limit})

    def features(self) -> FeatureList:
        """What can be observed."""
        return self._ask(FeatureList, "GET", "/v1/features")

    def instruments(self) -> InstrumentList:
        """What it can be measured with."""
        return self._ask(InstrumentList, "GET", "/v1/instruments")

    def health(self) -> Health:
        """Whether the server can answer."""
        return self._ask(Health, "GET", "/health")

    def _pages(
        self, kind: type[Page[R]], path: str, filters: Mapping[str, object], page_size: int | None
    ) -> Iterator[R]:
        cursor: str | None = None
        while True:
            page = self._ask(kind, "GET", path, {**filters, "limit": page_size, "cursor": cursor})
            yield from page.items
            cursor = page.next
            if cursor is None:
                return

    def _ask(
        self,
        kind: type[R],
        method: str,
        path: str,
        query: Mapping[str, object] | None = None,
        body: Any = None,
    ) -> R:
        params = {name: str(value) for name, value in (query or {}).items() if value is not None}
        return self._read(kind, self._send(method, path, params=params, json=body))

    def _send(
        self, method: str, path: str, *, headers: Mapping[str, str] | None = None, **sent: Any
    ) -> httpx2.Response:
        return self._http.request(method, path, headers={**self._headers, **(headers or {})}, **sent)

    def _read(self, kind: type[R], response: httpx2.Response) -> R:
        if response.is_success:
            return kind.model_validate_json(response.content)
        raise _refusal(response)


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


def _refusal(response: httpx2.Response) -> Exception:
    try:
        return ProblemError(Problem.model_validate_json(response.content))
    except ValidationError:
        # Something between here and the server answered in its own words.
        return httpx2.HTTPStatusError(
            f"{response.status_code} from {response.url}", request=response.request, response=response
        )
