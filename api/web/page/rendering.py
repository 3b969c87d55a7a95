"""Rendering pages: templates that escape everything, a strict Content-Security-Policy, and what every page shows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Annotated, Any

from fastapi import Depends, Request
from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined
from starlette.responses import HTMLResponse, Response

from api.schemas.problems import Problem
from api.service.access import WhoDep
from api.web.page.addresses import half_page, series_page
from api.web.page.figures import cited, day, headline, label, mm
from catalog.accounts.access import Permission, State, Who, allowed
from matcher import plus_minus

PAGE_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
"""Content-Security-Policy of the pages: scripts, styles and pictures of this server, and those opened in the browser;
nothing inline, nothing from elsewhere."""

PART = "X-Part"
"""Header by which a page's script asks for one part of the page."""

SAID = "said"
"""Parameter that tells the next page the result of a form: a key of `SAYINGS`."""

SAYINGS: Mapping[str, str] = MappingProxyType(
    {
        "added": "It is now in the catalogue, as reported. Anyone who has the part can confirm it.",
        "changed": "The change is saved.",
        "waits": "The change is pending, so that others can object. The note below says when it takes effect.",
        "confirmed": "Your evidence is saved with your name.",
        "disputed": "The dispute is open. The entry is shown as disputed until it is resolved.",
        "sighted": "Your sighting is saved.",
        "answered": "Your answer is saved.",
        "settled": "The dispute is resolved.",
        "saved": "The case is saved. It is ranked again whenever the catalogue changes.",
        "commented": "Your comment is saved.",
        "solved": "The case is solved.",
        "reopened": "The case is open again.",
        "withdrawn": "It is no longer listed. Anyone who has its address can still read it.",
        "decided": "The decision is carried out.",
        "person": "The list of contributors is updated.",
        "undone": "What could be undone is undone. The journal shows every change.",
        "revoked": "The token is revoked.",
    }
)
"""Results of forms in words. An address can only choose one of these, not bring text of its own."""

_SITES = (("/", "Bench"), ("/photo", "Photo"), ("/catalogue", "Catalogue"), ("/cases", "Open cases"))

WITH_TEMPLATES = (
    "page",
    "bench",
    "photo",
    "catalogue",
    "entries",
    "evidence",
    "contribute",
    "cases",
    "fitting",
    "people",
)
"""Packages of `api.web` with a folder ``templates``; no two templates have one name."""

WITH_STATIC = ("page", "bench", "photo", "entries", "contribute")
"""Packages of `api.web` with a folder ``static`` of styles, scripts and pictures."""

environment = Environment(
    loader=ChoiceLoader([PackageLoader(f"api.web.{name}") for name in WITH_TEMPLATES]),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)
environment.filters |= {"cited": cited, "day": day, "headline": headline, "label": label, "mm": mm}
environment.globals |= {"half_page": half_page, "series_page": series_page, "plus_minus": plus_minus}


@dataclass(frozen=True, kw_only=True)
class Visit:
    """A request for a page, and who makes it."""

    request: Request
    who: Who

    @property
    def signed_in(self) -> bool:
        """Whether the visitor is a contributor with a session that has not ended."""
        return bool(self.who.name) and self.who.state is State.ACTIVE

    @property
    def here(self) -> str:
        """The path of the page."""
        return self.request.url.path

    @property
    def address(self) -> str:
        """The path and the parameters of the page: where to come back to after signing in."""
        return self.here + (f"?{self.request.url.query}" if self.request.url.query else "")

    def may(self, permission: str) -> bool:
        """Whether the visitor has a permission in general, before the record is looked at."""
        return allowed(self.who, Permission(permission)) is None

    @property
    def said(self) -> str:
        """The result of the form that led here; empty without one."""
        return SAYINGS.get(self.request.query_params.get(SAID, ""), "")

    @property
    def part(self) -> str | None:
        """The part of the page that its script asks for; None: the whole page."""
        return self.request.headers.get(PART)

    def page(self, template: str, *, status: int = 200, **values: Any) -> Response:
        """A whole page."""
        return self._answer(template, status, values)

    def fragment(self, template: str, *, status: int = 200, **values: Any) -> Response:
        """One part of a page for its script; caches must not take it for the page."""
        return self._answer(template, status, values, {"Vary": PART, "Cache-Control": "no-store"})

    def _answer(
        self, template: str, status: int, values: Mapping[str, Any], headers: Mapping[str, str] | None = None
    ) -> Response:
        text = environment.get_template(template).render(visit=self, sites=_SITES, **values)
        sent = {"Content-Security-Policy": PAGE_POLICY, "Cache-Control": "no-cache", **(headers or {})}
        return HTMLResponse(text, status_code=status, headers=sent)


def _visit(request: Request, who: WhoDep) -> Visit:
    return Visit(request=request, who=who)


VisitDep = Annotated[Visit, Depends(_visit)]
"""The request for a page, and how to answer it."""


def problem_page(request: Request, problem: Problem) -> Response:
    """A problem as a page. Nobody is shown as signed in, since the session may be the problem."""
    visit = Visit(request=request, who=Who())
    return visit.page("problem.html", status=problem.status, problem=problem)
