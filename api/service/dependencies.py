"""Dependencies of routes: the catalogue, its snapshot, entity tags, content types and query parameters."""

from __future__ import annotations

from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version
from typing import Annotated

from fastapi import Depends, Query, Request, Response
from fastapi.dependencies.models import Dependant

from api.schemas.problems import FieldProblem, shown
from api.service.etags import is_known, quoted
from api.service.paging import LONGEST_CURSOR
from api.service.problems import ApiError
from api.service.responses import NotModified
from api.service.settings import MAX_PAGE
from catalog.db.database import Catalogue
from catalog.snapshot.snapshot import Snapshot, SnapshotSource
from matcher.vocabulary import closest, remedy_for

LONGEST_SHOWN = 80
"""Most characters of an unknown parameter's name in a problem document."""


@dataclass(frozen=True, kw_only=True)
class Services:
    """The open catalogue of a running app."""

    catalogue: Catalogue
    source: SnapshotSource


def program_version() -> str:
    """The installed version, or "0" if the program is not installed."""
    try:
        return version("otherhalf")
    except PackageNotFoundError:
        return "0"


def _services(request: Request) -> Services:
    services: Services = request.app.state.services
    return services


ServicesDep = Annotated[Services, Depends(_services)]


def _catalogue(services: ServicesDep) -> Catalogue:
    return services.catalogue


def _snapshot(services: ServicesDep) -> Snapshot:
    return services.source.current()


def _catalogue_version(catalogue: CatalogueDep, request: Request, response: Response) -> int:
    """The catalogue's version, read before the data, so that the tag can be older than the data but never newer.

    Sets the ETag, and raises NotModified if the client already has this version.
    """
    number = catalogue.version()
    tell_tag(request, response, f"{program_version()}-{number}")
    return number


def tell_tag(request: Request, response: Response, tag: str) -> None:
    """Set the answer's ETag; raises NotModified if the client already has it."""
    if is_known(tag, request.headers.get("if-none-match")):
        raise NotModified(quoted(tag))
    response.headers["ETag"] = quoted(tag)
    response.headers["Cache-Control"] = "no-cache"


def media_type_of(request: Request) -> str:
    """The media type of the body, without parameters; empty if the header is missing."""
    return request.headers.get("content-type", "").split(";")[0].strip().lower()


def is_json(media_type: str) -> bool:
    """Whether a media type is JSON or based on it (RFC 6839)."""
    return media_type == "application/json" or media_type.endswith("+json")


def require_json(request: Request) -> None:
    """Raise ApiError unless the media type is JSON."""
    media_type = media_type_of(request)
    if not is_json(media_type):
        raise ApiError("unsupported-content", f"Content-Type is {media_type or 'missing'}")


def _query_names(dependant: Dependant) -> list[str]:
    """The query parameters of an address and of its dependencies."""
    own = [parameter.alias for parameter in dependant.query_params]
    return own + [name for inner in dependant.dependencies for name in _query_names(inner)]


def require_known_query(request: Request) -> None:
    """Raise ApiError for unknown query parameters, so that a filter with a misspelt name is not lost."""
    known = _query_names(request.scope["route"].dependant)
    unknown = [name for name in request.query_params if name not in known]
    if unknown:
        fields = [
            FieldProblem(
                field=name[:LONGEST_SHOWN],
                value=shown(request.query_params[name]),
                message="this query parameter is not known",
                remedy=remedy_for(known, closest(name, known)) if known else "leave it out",
            )
            for name in unknown
        ]
        raise ApiError.of_fields(fields)


CatalogueDep = Annotated[Catalogue, Depends(_catalogue)]
SnapshotDep = Annotated[Snapshot, Depends(_snapshot)]
VersionDep = Annotated[int, Depends(_catalogue_version)]
CursorQuery = Annotated[
    str | None, Query(max_length=LONGEST_CURSOR, description="Where to continue: `next` of the previous page.")
]
LimitQuery = Annotated[int, Query(ge=1, le=MAX_PAGE, description="Most entries on one page.")]
TextQuery = Annotated[str | None, Query(min_length=1, max_length=200, description="Part of a name, in any case.")]
KeyQuery = Annotated[str | None, Query(min_length=1, max_length=500)]
