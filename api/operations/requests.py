"""The dependency by which a request carries out an operation."""

from __future__ import annotations

from typing import Annotated

from fastapi import Depends, Header, Request

from api.operations.transaction import Writing
from api.service.access import WhoDep
from api.service.dependencies import ServicesDep
from api.service.etags import tags_in

IdempotencyKey = Annotated[
    str | None,
    Header(description="A key of your own for this request, such as a UUID: if you repeat the request, it acts once."),
]
IfMatch = Annotated[str | None, Header(description="The ETag of the record that the change is based on.")]


def _writing(
    request: Request,
    services: ServicesDep,
    who: WhoDep,
    idempotency_key: IdempotencyKey = None,
    if_match: IfMatch = None,
) -> Writing:
    return Writing(
        catalogue=services.catalogue,
        source=services.source,
        who=who,
        place=f"{request.method} {request.url.path}",
        key=idempotency_key,
        tags=tags_in(if_match),
        delay=request.app.state.delay,
    )


WritingDep = Annotated[Writing, Depends(_writing)]
"""The request as a `Writing`."""
