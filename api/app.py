"""The app factory. Importing this module reads no settings and opens nothing."""

from __future__ import annotations

import gc
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from functools import partial

from fastapi import Depends, FastAPI
from fastapi.openapi.utils import get_openapi
from starlette.middleware import Middleware

from api.background.case_watching import Watch
from api.background.due_changes import carry_out_now
from api.background.repeat import repeating
from api.rest import (
    accounts,
    cases,
    catalogue,
    contributing,
    evidence,
    fitting,
    history,
    identification,
    lands,
    measuring,
    reference,
)
from api.schemas.measuring import RowRequest
from api.schemas.problems import Problem
from api.service.dependencies import Services, program_version, require_known_query
from api.service.middleware import BodyLimit, HeadAsGet, SecurityHeaders
from api.service.responses import add_handlers
from api.service.settings import KEPT_OBJECTS, Settings
from api.web.all_pages import add_pages
from catalog.db.database import open_catalogue
from catalog.snapshot.snapshot import SnapshotSource

SUMMARY = "Finds the other half of an unmarked board-to-board connector from what can be measured on it."

DESCRIPTION = """\
Send what you have seen and measured of one half to `POST /v1/identify`. The answer ranks the halves of this catalogue
by probability, says how probable it is that the half is not in this catalogue, and lists the mates to order.

* Give lengths in any unit that you name; answers are in millimetres. `spans` counts gaps, not contacts.
* Refusals are problem documents (RFC 9457): `errors` names each field, the value given and the remedy.
  All kinds of problem are listed at [/problems](/problems).
* Lists have pages: send `next` as `cursor`. Answers from the catalogue have an `ETag`; send it as `If-None-Match`.
"""


PREFIX = "/v1"
"""Prefix of the JSON interface's addresses."""


def create_app(settings: Settings | None = None) -> FastAPI:
    """The web application for one catalogue, which is opened when the app starts and closed when it stops."""
    chosen = settings or Settings()

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        gc.set_threshold(KEPT_OBJECTS)
        with open_catalogue(chosen.database_url) as opened:
            source = SnapshotSource(opened)
            app.state.services = Services(catalogue=opened, source=source)
            watch = Watch(catalogue=opened, source=source)
            async with (
                repeating(partial(carry_out_now, opened), chosen.looked_every_s),
                repeating(watch.step, chosen.cases_every_s),
            ):
                yield

    larger = {f"{PREFIX}{measuring.ROW_ADDRESS}": chosen.max_picture_bytes}
    app = FastAPI(
        title="otherhalf",
        summary=SUMMARY,
        description=DESCRIPTION,
        version=program_version(),
        lifespan=lifespan,
        docs_url=None,
        redoc_url=None,
        middleware=[
            Middleware(SecurityHeaders),
            Middleware(HeadAsGet),
            Middleware(BodyLimit, max_bytes=chosen.max_body_bytes, at=larger),
        ],
    )
    app.state.delay = chosen.pending_delay
    for router in (
        identification.router,
        measuring.router,
        fitting.router,
        lands.router,
        catalogue.router,
        contributing.router,
        evidence.router,
        history.router,
        history.pending_router,
        cases.router,
        accounts.router,
        reference.router,
    ):
        app.include_router(router, prefix=PREFIX, dependencies=[Depends(require_known_query)])
    app.include_router(reference.health_router)
    add_pages(app)
    add_handlers(app)
    _describe_problems(app)
    return app


def app_from_environment() -> FastAPI:
    """The app for the catalogue in ``OTHERHALF_DATABASE``; worker processes of a server call it."""
    return create_app(Settings())


def _describe_problems(app: FastAPI) -> None:
    """Add to the OpenAPI description what routes refer to by name (the problem document, and the request that a route
    reads itself), and remove the framework's own description of refusals, which this app never sends."""

    def described() -> dict[str, object]:
        if app.openapi_schema is None:
            schema = get_openapi(
                title=app.title,
                version=app.version,
                summary=app.summary,
                description=app.description,
                routes=app.routes,
            )
            schemas = schema["components"]["schemas"]
            for unused in ("HTTPValidationError", "ValidationError"):
                schemas.pop(unused, None)
            for named in (Problem, RowRequest):
                definition = named.model_json_schema(ref_template="#/components/schemas/{model}")
                schemas |= definition.pop("$defs") | {named.__name__: definition}
            app.openapi_schema = schema
        return app.openapi_schema

    app.openapi = described  # type: ignore[method-assign]
