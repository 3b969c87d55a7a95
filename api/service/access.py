"""The contributor of a request, from its token, and the permission of a route. The policy is in
`catalog.accounts.access`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any
from urllib.parse import urlsplit

from fastapi import Depends, Request
from fastapi.security import HTTPAuthorizationCredentials, HTTPBearer

from api.service.dependencies import CatalogueDep
from api.service.logs import logger
from catalog.accounts import tokens
from catalog.accounts.access import ANYBODY, Permission, Who, require
from catalog.db.database import Catalogue
from catalog.model.errors import LockedError, ReadOnlyError
from catalog.model.timestamps import now

SESSION_COOKIE = "otherhalf_session"
"""Name of the HttpOnly cookie in which the web pages keep a token."""

SAFE_METHODS = frozenset(("GET", "HEAD", "OPTIONS"))
"""Methods that change nothing (RFC 9110, 9.2.1)."""

_log = logger()

_BEARER = HTTPBearer(
    auto_error=False,
    scheme_name="token",
    description="A contributor's token, `oh_…`. Make one with `otherhalf token create`. Reading needs no token.",
)

BearerDep = Annotated[HTTPAuthorizationCredentials | None, Depends(_BEARER)]


def from_own_page(method: str, headers: Mapping[str, str]) -> bool:
    """Whether a browser sent the request from a page of this server (W3C Fetch Metadata, Sec-Fetch-Site; else Origin).

    A request that changes nothing may also come from the address bar or a bookmark ("none"), or have neither header:
    browsers send neither when a page is opened over plain HTTP, as in a home network.
    """
    site, origin = headers.get("sec-fetch-site"), headers.get("origin")
    if site is not None:
        return site == "same-origin" or (site == "none" and method in SAFE_METHODS)
    if origin is not None:
        return bool(urlsplit(origin).netloc) and urlsplit(origin).netloc == headers.get("host")
    return method in SAFE_METHODS


def session_token(method: str, headers: Mapping[str, str], cookies: Mapping[str, str]) -> str | None:
    """The token in the session cookie if the request comes from a page of this server, else None: browsers also send
    the cookie when another site's page makes the request."""
    token = cookies.get(SESSION_COOKIE)
    return token if token and from_own_page(method, headers) else None


def who_asks(request: Request, catalogue: CatalogueDep, bearer: BearerDep) -> Who:
    """The person who makes the request; `ANYBODY` without a token. The policy decides what a bad token may do."""
    cookie = session_token(request.method, request.headers, request.cookies)
    secret = bearer.credentials if bearer is not None else cookie
    if secret is None:
        return ANYBODY
    at = now()
    with catalogue.reading() as session:
        verified = tokens.verify(session, secret, at)
    if verified.unnoted and verified.who.token is not None:
        _note_use(catalogue, verified.who.token, at)
    return verified.who


WhoDep = Annotated[Who, Depends(who_asks)]
"""Who makes the request, for routes that anybody may use."""


@dataclass(frozen=True, kw_only=True)
class Needs:
    """A dependency that checks a route's permission and gives who makes the request."""

    permission: Permission

    def __call__(self, who: WhoDep) -> Who:
        """Who makes the request; raises the refusal (401, 403) for anyone without the permission in general."""
        require(who, self.permission)
        return who


def needs(permission: Permission) -> Any:
    """For a route: ``who: Annotated[Who, needs(Permission.CONTRIBUTE)]``, or in ``dependencies=[…]``.

    Conditions on a single record (the entry's author, the token's owner) can be checked only inside the route, which
    calls `catalog.accounts.access.require` again with an ``About``.
    """
    return Depends(Needs(permission=permission))


def _note_use(catalogue: Catalogue, token: int, at: str) -> None:
    try:
        with catalogue.writing() as session:
            tokens.note_use(session, token, at)
    except (LockedError, ReadOnlyError) as error:
        # The request itself may only read; the next one can note the use of the token.
        _log.warning("the use of token %d could not be noted: %s", token, error.message)
