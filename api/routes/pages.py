"""The few pages for people: the front page, the interface's documentation, and the kinds of problem."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path
from typing import Any

from fastapi import APIRouter, FastAPI
from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.responses import HTMLResponse
from starlette.staticfiles import StaticFiles

from api.problem_types import PROBLEMS
from api.problems import ApiError

PAGE_POLICY = (
    "default-src 'none'; style-src 'self'; img-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
"""Content-Security-Policy of the pages: a style sheet and pictures of this server, nothing else."""

DOCS_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
"""The same for /docs, whose script builds the page from this server's description of the interface."""

router = APIRouter(include_in_schema=False)

_pages = Environment(
    loader=PackageLoader("api"), autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
)


@router.get("/")
def front() -> HTMLResponse:
    """What this is, and one example with its result."""
    return _page("front.html", example=(files("api") / "templates" / "example.txt").read_text(encoding="utf-8"))


@router.get("/docs")
def docs() -> HTMLResponse:
    """The interface's documentation, to read and to try."""
    return _page("docs.html", policy=DOCS_POLICY)


@router.get("/problems")
def problems() -> HTMLResponse:
    """Every kind of problem."""
    return _page("problems.html", problems=list(PROBLEMS.values()), title="Kinds of problem")


@router.get("/problems/{name}")
def problem(name: str) -> HTMLResponse:
    """One kind of problem, and what to do about it."""
    if name not in PROBLEMS:
        raise ApiError("not-found", f"no kind of problem is called {name!r}")
    return _page("problems.html", problems=[PROBLEMS[name]], title=PROBLEMS[name].title)


def add_pages(app: FastAPI) -> None:
    """Add the pages and the files they need. The scripts of /docs come from an installed package, not from the net."""
    app.include_router(router)
    app.mount("/static", StaticFiles(packages=[("api", "static")]), name="static")
    app.mount("/docs-assets", StaticFiles(directory=Path(str(files("fastapi_offline") / "static"))), name="docs-assets")


def _page(template: str, *, policy: str = PAGE_POLICY, **values: Any) -> HTMLResponse:
    text = _pages.get_template(template).render(**values)
    return HTMLResponse(text, headers={"Content-Security-Policy": policy})
