"""A typed client of the JSON interface, for scripts.

>>> from api.client import Client
>>> with Client("http://127.0.0.1:8642") as client:  # doctest: +SKIP
...     answer = client.identify([{"feature": "contact_count", "value": 24}])
...     print(answer.verdict, answer.candidates[0].half.part_number)

Observations may be dictionaries in the JSON form, or pieces of the short form such as ``"pitch=4.41/11"``.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from types import TracebackType
from typing import Any, Self, TypeVar
from urllib.parse import quote

import httpx2
from pydantic import BaseModel, ValidationError

from api.schemas.answers import Answer, ExplainAnswer, Health
from api.schemas.lists import FeatureList, InstrumentList, Page, SearchAnswer
from api.schemas.problems import Problem
from api.shortform import parse_pieces
from catalog.records import HalfRecord, MatingRecord, SeriesRecord

TIMEOUT_S = 30.0
"""Seconds to wait for an answer; the first one after a change of a large catalogue takes longest."""

R = TypeVar("R", bound=BaseModel)

Observations = Sequence[Mapping[str, Any] | str]


class ProblemError(Exception):
    """The server answered with a problem; ``problem`` is its document."""

    def __init__(self, problem: Problem) -> None:
        lines = [f"{problem.title}: {problem.detail}"]
        lines += [f"{error.field}: {error.message}. {error.remedy}" for error in problem.errors]
        super().__init__("\n".join(lines))
        self.problem = problem


class Client:
    """One server. Use it as a context manager, or call `close`.

    ``base_url`` is the server's address. ``http`` replaces the HTTP client, for tests or own transports; it is then
    the caller's to close. Calls raise `ProblemError` for what the server refuses, and httpx2's errors where it cannot
    be reached.
    """

    def __init__(self, base_url: str = "", *, timeout_s: float = TIMEOUT_S, http: httpx2.Client | None = None) -> None:
        self._own = http is None
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
    ) -> Answer:
        """Rank the catalogue for a specimen."""
        body = _body(observations, prior_absent=prior_absent, limit=limit, instruments=instruments)
        return self._ask(Answer, "POST", "/v1/identify", body=body)

    def explain(
        self,
        half: str,
        observations: Observations,
        *,
        prior_absent: float | None = None,
        instruments: Mapping[str, Mapping[str, float]] | None = None,
    ) -> ExplainAnswer:
        """Why one half, named by its key, stands where it stands."""
        body = _body(observations, prior_absent=prior_absent, instruments=instruments, half=half)
        return self._ask(ExplainAnswer, "POST", "/v1/identify/explain", body=body)

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
        body: Mapping[str, object] | None = None,
    ) -> R:
        params = {name: str(value) for name, value in (query or {}).items() if value is not None}
        response = self._http.request(method, path, params=params, json=body)
        if response.is_success:
            return kind.model_validate_json(response.content)
        raise _refusal(response)


def _body(observations: Observations, **options: object) -> dict[str, object]:
    listed = [parse_pieces([each])[0] if isinstance(each, str) else dict(each) for each in observations]
    return {"observations": listed, **{name: value for name, value in options.items() if value is not None}}


def _refusal(response: httpx2.Response) -> Exception:
    try:
        return ProblemError(Problem.model_validate_json(response.content))
    except ValidationError:
        # Something between here and the server answered in its own words.
        return httpx2.HTTPStatusError(
            f"{response.status_code} from {response.url}", request=response.request, response=response
        )
