"""How pages are rendered: templates that escape everything, a strict policy, and what every page shows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import Depends, Request
from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.responses import HTMLResponse, Response

from api.access import WhoDep
from api.schemas.problems import Problem
from catalog.accounts.access import Permission, allowed
from catalog.accounts.who import Who

PAGE_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
"""Content-Security-Policy of the pages: scripts, style sheets and pictures of this server, and pictures that the person
opened in the browser; nothing inline, nothing from elsewhere."""

PART = "X-Part"
"""Header by which a page's script asks for one part of the page."""

_SITES = (("/", "Bench"), ("/photo", "Photo"), ("/catalogue", "Catalogue"), ("/cases", "Open cases"))

environment = Environment(
    loader=PackageLoader("api"), autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
)


@dataclass(frozen=True, kw_only=True)
class Visit:
    """Somebody looking at a page: who they are, and where."""

    request: Request
    who: Who

    @property
    def signed_in(self) -> bool:
        """Whether a contributor looks."""
        return bool(self.who.name)

    def may(self, permission: str) -> bool:
        """Whether they have a permission in general; for what only some may do."""
        return allowed(self.who, Permission(permission)) is None

    @property
    def part(self) -> str | None:
        """The part of the page that its script asks for; None: the whole page."""
        return self.request.headers.get(PART)

    def page(self, template: str, *, status: int = 200, **values: Any) -> Response:
        """A whole page."""
        return self._answer(template, status, values)

    def fragment(self, template: str, *, status: int = 200, **values: Any) -> Response:
        """One part of a page, for its script; other answers than the page itself, so caches must tell them apart."""
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
"""Who looks at the page, and how to answer them."""


def problem_page(request: Request, problem: Problem) -> Response:
    """A refusal as a page; it shows nobody as signed in, since who asks may be what is wrong."""
    visit = Visit(request=request, who=Who())
    return visit.page("problem.html", status=problem.status, problem=problem)
