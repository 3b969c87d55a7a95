"""Reference pages: about, the documentation of the interface, and the kinds of problem."""

from __future__ import annotations

from importlib.resources import files

from fastapi import APIRouter
from starlette.responses import HTMLResponse, Response

from api.service.problem_types import PROBLEMS
from api.service.problems import ApiError
from api.web.page.rendering import VisitDep, environment

DOCS_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
"""Content-Security-Policy of /docs, whose script builds the page from this server's OpenAPI description."""

router = APIRouter(include_in_schema=False)


@router.get("/about")
def about(visit: VisitDep) -> Response:
    """What this is, and one example with its result."""
    example = (files("api.web.page") / "templates" / "example.txt").read_text(encoding="utf-8")
    return visit.page("about.html", example=example)


@router.get("/docs")
def docs() -> Response:
    """The documentation of the interface, to read and to try."""
    text = environment.get_template("docs.html").render()
    return HTMLResponse(text, headers={"Content-Security-Policy": DOCS_POLICY})


@router.get("/problems")
def problems(visit: VisitDep) -> Response:
    """Every kind of problem."""
    return visit.page("problems.html", problems=list(PROBLEMS.values()), title="Kinds of problem")


@router.get("/problems/{name}")
def problem(name: str, visit: VisitDep) -> Response:
    """One kind of problem, and what to do about it."""
    if name not in PROBLEMS:
        raise ApiError("not-found", f"no kind of problem is called {name!r}")
    return visit.page("problems.html", problems=[PROBLEMS[name]], title=PROBLEMS[name].title)
