"""A request that changes something, as whoever carries an operation out."""

from __future__ import annotations

from typing import Annotated

from fastapi import Depends, Header, Request

from api.operations.transaction import Writing
from api.service.access import WhoDep
from api.service.dependencies import ServicesDep
from api.service.etags import tags_in

IdempotencyKey = Annotated[
    str | None,
    Header(description="A key of this request's own, such as a UUID: sent again, the request acts once."),
]
IfMatch = Annotated[str | None, Header(description="The ETag of what the change was made from.")]


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
"""The request, to carry operations out with."""
