"""All pages of an app, and the files that they need."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from fastapi import FastAPI
from starlette.staticfiles import StaticFiles

from api.pages import (
    bench,
    cases,
    catalogue,
    compare,
    contribute,
    disputes,
    entry_state,
    evidence,
    halves,
    journal,
    maintain,
    own_tokens,
    photo,
    printing,
    reference,
    series,
    session,
)
from api.pages.rendering import problem_page

ROUTERS = (
    bench.router,
    session.router,
    reference.router,
    photo.router,
    halves.router,
    series.router,
    catalogue.router,
    contribute.router,
    evidence.router,
    disputes.router,
    compare.router,
    printing.router,
    cases.router,
    entry_state.router,
    journal.router,
    maintain.router,
    own_tokens.router,
)


def add_pages(app: FastAPI) -> None:
    """Add the pages and their files. The scripts of /docs come from an installed package, not from the net."""
    app.state.problem_page = problem_page
    for router in ROUTERS:
        app.include_router(router)
    app.mount("/static", StaticFiles(packages=[("api", "static")]), name="static")
    app.mount("/docs-assets", StaticFiles(directory=Path(str(files("fastapi_offline") / "static"))), name="docs-assets")
