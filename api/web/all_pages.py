"""All pages of an app, and the files that they need."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from fastapi import FastAPI
from starlette.staticfiles import StaticFiles

from api.web.bench import bench
from api.web.cases import cases
from api.web.catalogue import catalogue, compare
from api.web.contribute import contribute, entry_state
from api.web.entries import halves, printing, series
from api.web.evidence import evidence
from api.web.fitting import current, inquiry, needed, order, wiring
from api.web.page import reference
from api.web.page.rendering import WITH_STATIC, problem_page
from api.web.people import account, journal, maintain
from api.web.photo import photo

ROUTERS = (
    bench.router,
    account.router,
    reference.router,
    photo.router,
    halves.router,
    current.router,
    needed.router,
    series.router,
    catalogue.router,
    contribute.router,
    evidence.router,
    compare.router,
    printing.router,
    wiring.router,
    cases.router,
    inquiry.router,
    order.router,
    entry_state.router,
    journal.router,
    maintain.router,
)


def add_pages(app: FastAPI) -> None:
    """Add the pages and their files. The scripts of /docs come from an installed package, not from the net."""
    app.state.problem_page = problem_page
    for router in ROUTERS:
        app.include_router(router)
    app.mount("/static", StaticFiles(packages=[(f"api.web.{name}", "static") for name in WITH_STATIC]), name="static")
    app.mount("/docs-assets", StaticFiles(directory=Path(str(files("fastapi_offline") / "static"))), name="docs-assets")
