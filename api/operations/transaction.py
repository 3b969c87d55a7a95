"""How requests that change something are carried out: once each, in one transaction, answered after it is committed."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import timedelta
from typing import Annotated, Any, TypeVar

from fastapi import Depends, Header, Request
from pydantic import BaseModel
from sqlalchemy.orm import Session
from starlette.responses import JSONResponse, Response

from api.service.access import WhoDep
from api.service.dependencies import CatalogueDep
from catalog.accounts.access import Who, act_of
from catalog.accounts.tokens import as_they_stand
from catalog.db.database import Catalogue
from catalog.history.acts import Act
from catalog.history.once import RequestKey, answered, remember, request_key
from catalog.history.pending import carry_out_due
from catalog.model.timestamps import now

REPLAYED = "Idempotency-Replayed"
"""Header of an answer that is an earlier one's, since the request was sent again."""

A = TypeVar("A", bound=BaseModel)

IdempotencyKey = Annotated[
    str | None,
    Header(description="A key of this request's own, such as a UUID: sent again, the request acts once."),
]
IfMatch = Annotated[str | None, Header(description="The ETag of what the change was made from.")]


@dataclass(frozen=True, kw_only=True)
class Writing:
    """One request that changes something."""

    catalogue: Catalogue
    who: Who
    place: str
    key: str | None
    if_match: str | None
    delay: timedelta

    @property
    def tag(self) -> str | None:
        """The record's tag that the change was made from."""
        return None if self.if_match is None else self.if_match.strip().removeprefix("W/").strip('"')

    def once(
        self,
        work: Callable[[Session, Act], A],
        *,
        body: BaseModel | None = None,
        reason: str = "",
        status: int | Callable[[A], int] = 200,
        told_once: Collection[str] = (),
    ) -> Response:
        """Do the work in one transaction and answer with what it returns; a repeated request is answered alike.

        ``body`` is what was asked, to tell a repetition from another request under the same key. ``status`` may depend
        on the answer. ``told_once`` names fields of the answer that are not kept, and null when it is repeated:
        secrets. What is due of the pending changes is carried out first, so that nobody works on what should be gone.
        """
        answer, code, replayed = self._carry_out(work, body=body, reason=reason, status=status, told_once=told_once)
        return _answer(code, answer, replayed=replayed)

    def made(
        self,
        kind: type[A],
        work: Callable[[Session, Act], A],
        *,
        body: BaseModel | None = None,
        reason: str = "",
        told_once: Collection[str] = (),
    ) -> A:
        """As `once`, for a page, which needs what was answered and not the answer: the model, of this kind."""
        answer, _, _ = self._carry_out(work, body=body, reason=reason, status=200, told_once=told_once)
        return kind.model_validate(answer)

    def _carry_out(
        self,
        work: Callable[[Session, Act], A],
        *,
        body: BaseModel | None,
        reason: str,
        status: int | Callable[[A], int],
        told_once: Collection[str],
    ) -> tuple[dict[str, Any], int, bool]:
        """The answer, its status, and whether it is an earlier one's."""
        request = None if self.key is None else self._request(body)
        with self.catalogue.writing() as session:
            act = act_of(as_they_stand(session, self.who, now()), reason=reason)
            earlier = None if request is None else answered(session, act, request)
            if earlier is not None:
                return earlier[1], earlier[0], True
            carry_out_due(session, act.at)
            made = work(session, act)
            answer = made.model_dump(mode="json")
            code = status if isinstance(status, int) else status(made)
            if request is not None:
                remember(session, act, request, code, {**answer, **dict.fromkeys(told_once)})
        return answer, code, False

    def _request(self, body: BaseModel | None) -> RequestKey:
        asked = b"" if body is None else body.model_dump_json().encode()
        return request_key(self.key or "", self.place.encode(), asked)


def _answer(status: int, answer: dict[str, Any], *, replayed: bool = False) -> Response:
    headers = {"Cache-Control": "no-store"}
    if answer.get("etag"):
        headers["ETag"] = f'"{answer["etag"]}"'
    if replayed:
        headers[REPLAYED] = "true"
    return JSONResponse(answer, status_code=status, headers=headers)


def _writing(
    request: Request,
    catalogue: CatalogueDep,
    who: WhoDep,
    idempotency_key: IdempotencyKey = None,
    if_match: IfMatch = None,
) -> Writing:
    return Writing(
        catalogue=catalogue,
        who=who,
        place=f"{request.method} {request.url.path}",
        key=idempotency_key,
        if_match=if_match,
        delay=request.app.state.delay,
    )


WritingDep = Annotated[Writing, Depends(_writing)]
"""The request as something to carry out once."""
