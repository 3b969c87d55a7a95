"""Every route follows the policy: the permission it names, and what each role and state gets there."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Annotated

import pytest
from fastapi import APIRouter, Depends, FastAPI
from fastapi.dependencies.models import Dependant
from fastapi.routing import iter_route_contexts
from starlette.routing import BaseRoute, Mount
from starlette.staticfiles import StaticFiles
from starlette.testclient import TestClient

from api.service.access import SAFE_METHODS, Needs, needs
from api.service.settings import Settings
from catalog.accounts import contributors, tokens
from catalog.accounts.access import ANYBODY, POLICY, Permission, Role, Scope, State, Who, allowed
from catalog.db.database import Catalogue, open_catalogue
from catalog.history.acts import Act
from catalog.model import timestamps
from tests import catalogues
from tests.api.computing import COMPUTING
from tests.api.workshop import app_for

SESSIONS = {"/sign-in", "/sign-out"}
"""Forms that anyone may send."""

STATES = (State.ACTIVE, State.SUSPENDED, State.EXPIRED, State.REVOKED)


@dataclass(frozen=True)
class Address:
    """A method at a path, and the permissions that its dependencies name."""

    method: str
    path: str
    permissions: frozenset[Permission]


def named_in(dependant: Dependant) -> Iterator[Permission]:
    """The permissions in a tree of dependencies."""
    if isinstance(dependant.call, Needs):
        yield dependant.call.permission
    for inner in dependant.dependencies:
        yield from named_in(inner)


def addresses(routes: Sequence[BaseRoute]) -> list[Address]:
    """Every address of the routes, except static files, which are only read."""
    found = []
    for route in iter_route_contexts(routes):
        if isinstance(route.original_route, Mount):
            assert isinstance(route.original_route.app, StaticFiles), f"the mount at {route.path} is not covered"
            continue
        dependant = getattr(route, "dependant", None)
        permissions = frozenset(named_in(dependant)) if dependant is not None else frozenset()
        assert route.path is not None
        assert route.methods is not None
        found += [Address(method, route.path, permissions) for method in sorted(route.methods)]
    return found


def unguarded(routes: Sequence[BaseRoute]) -> list[Address]:
    """Unsafe addresses without a permission."""
    return [
        address
        for address in addresses(routes)
        if address.method not in SAFE_METHODS and address.path not in COMPUTING and not address.permissions
    ]


def forms(routes: Sequence[BaseRoute]) -> list[Address]:
    """Addresses of pages that take a form. They check the permission themselves, so that what was typed is kept."""
    return [
        address
        for address in addresses(routes)
        if address.method not in SAFE_METHODS and not address.path.startswith(("/v1/", "/held/"))
    ]


def test_every_route_that_changes_something_names_a_permission_or_is_a_form(app: FastAPI) -> None:
    assert [address for address in unguarded(app.routes) if address not in forms(app.routes)] == []
    assert len(forms(app.routes)) > len(SESSIONS)


def test_no_route_that_changes_something_is_open_to_readers(app: FastAPI) -> None:
    for address in addresses(app.routes):
        if address.method not in SAFE_METHODS and address.path not in COMPUTING:
            assert all(Role.READER not in POLICY[each].roles for each in address.permissions), address


def test_routes_that_only_compute_exist_and_name_no_permission(app: FastAPI) -> None:
    found = {address.path: address for address in addresses(app.routes) if address.method not in SAFE_METHODS}
    assert set(found) >= COMPUTING
    assert all(not found[path].permissions for path in COMPUTING)


def test_every_described_address_is_covered(app: FastAPI) -> None:
    described = {(method.upper(), path) for path, each in app.openapi()["paths"].items() for method in each}
    assert described <= {(address.method, address.path) for address in addresses(app.routes)}


def test_a_route_without_permission_is_found_at_any_depth() -> None:
    made, inner, outer = FastAPI(), APIRouter(), APIRouter()

    @inner.post("/open")
    @inner.delete("/open")
    def unheld() -> None: ...

    @inner.post("/held", dependencies=[needs(Permission.CONTRIBUTE)])
    def held() -> None: ...

    outer.include_router(inner, prefix="/inner")
    made.include_router(outer, prefix="/v1")
    assert {(each.method, each.path) for each in unguarded(made.routes)} == {
        ("POST", "/v1/inner/open"),
        ("DELETE", "/v1/inner/open"),
    }


def indirectly(who: Annotated[Who, needs(Permission.DISCUSS)]) -> str:
    return who.name


def test_a_permission_is_found_in_an_argument_a_dependency_and_on_the_router() -> None:
    made, router = FastAPI(), APIRouter(dependencies=[needs(Permission.MAINTAIN)])

    @router.put("/all")
    def all_three(who: Annotated[Who, needs(Permission.CONTRIBUTE)], name: Annotated[str, Depends(indirectly)]) -> None:
        del who, name

    made.include_router(router)
    (address,) = [each for each in addresses(made.routes) if each.path == "/all"]
    assert address.permissions == {Permission.MAINTAIN, Permission.DISCUSS, Permission.CONTRIBUTE}


@dataclass(frozen=True)
class Asker:
    """A person who sends requests, as the policy sees them."""

    who: Who
    headers: Mapping[str, str]


def askers_of(catalogue: Catalogue) -> dict[str, Asker]:
    """Readers, and each role in each state and with each scope missing; their tokens are in the catalogue."""
    found = {
        "a reader": Asker(ANYBODY, {}),
        "an unknown token": Asker(Who(state=State.UNKNOWN), bearer("oh_" + "k" * 43)),
        "no token at all": Asker(Who(state=State.UNKNOWN), bearer("banana")),
        "another scheme": Asker(ANYBODY, {"Authorization": "Basic b3RoZXI6aGFsZg=="}),
    }
    for role in (Role.CONTRIBUTOR, Role.MAINTAINER):
        usable = [scope for scope in Scope if role is Role.MAINTAINER or scope is not Scope.MAINTAIN]
        for state in STATES:
            found[f"{state} {role}"] = _asker(catalogue, role, state, usable)
        for missing in usable:
            narrow = [scope for scope in usable if scope is not missing]
            found[f"{role} without {missing}"] = _asker(catalogue, role, State.ACTIVE, narrow, f"without {missing}")
    return found


def bearer(token: str) -> dict[str, str]:
    return {"Authorization": f"Bearer {token}"}


def _asker(catalogue: Catalogue, role: Role, state: State, scopes: Sequence[Scope], label: str = "") -> Asker:
    name = f"{role} {state} {label}".strip()
    ended = state is State.EXPIRED
    at = datetime.now(UTC) - timedelta(days=10)
    act = Act(at=timestamps.written(at), reason="a test", maintainer=True)
    with catalogue.writing() as session:
        contributors.add(session, act, name, role)
        made = tokens.create(session, act, name, scopes=scopes, expires=at + timedelta(days=1 if ended else 20))
        if state is State.SUSPENDED:
            contributors.suspend(session, act, name)
        if state is State.REVOKED:
            tokens.revoke(session, act, made.token.id)
    who = Who(role=role, name=name, scopes=frozenset(scopes), state=state, token=made.token.id)
    return Asker(who, bearer(made.secret))


@pytest.fixture(scope="module")
def everybody(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, dict[str, Asker]]:
    """Address of a catalogue with a person of each kind, and their request headers."""
    url = catalogues.placed(tmp_path_factory.mktemp("people") / "people.sqlite3", catalogues.empty())
    with open_catalogue(url) as catalogue:
        return url, askers_of(catalogue)


@pytest.fixture(scope="module")
def people_app(everybody: tuple[str, dict[str, Asker]]) -> FastAPI:
    """The app with an additional route for each permission."""
    made = app_for(Settings(database_url=everybody[0]))
    for permission in Permission:
        path = f"/held/{permission}"
        made.add_api_route(path, _name, methods=["POST"], dependencies=[needs(permission)])
    return made


def _name(who: Annotated[Who, needs(Permission.READ)]) -> str:
    return who.name


@pytest.fixture(scope="module")
def people_server(people_app: FastAPI) -> Iterator[TestClient]:
    with TestClient(people_app) as client:
        yield client


def test_every_role_in_every_state_gets_at_every_route_what_the_policy_allows(
    people_app: FastAPI, people_server: TestClient, everybody: tuple[str, dict[str, Asker]]
) -> None:
    held = [address for address in addresses(people_app.routes) if address.permissions]
    assert {f"/held/{permission}" for permission in Permission} <= {address.path for address in held}
    for address in held:
        # No idempotency key and no valid body: whoever is allowed gets an error about those, and nothing changes.
        path = re.sub(r"\{[^}]*\}", "none", address.path)
        for kind, asker in everybody[1].items():
            answer = people_server.request(address.method, path, json=[], headers=asker.headers)
            refusals = [allowed(asker.who, permission) for permission in address.permissions]
            if any(refusals):
                assert answer.status_code in (401, 403), (kind, address, answer.text)
            else:
                assert answer.status_code not in (401, 403), (kind, address, answer.text)


def test_a_form_changes_nothing_for_those_who_may_only_read(
    people_app: FastAPI, people_server: TestClient, everybody: tuple[str, dict[str, Asker]]
) -> None:
    catalogue: Catalogue = people_app.state.services.catalogue
    before = catalogue.version()
    here = {"Origin": "http://testserver", "Content-Type": "application/x-www-form-urlencoded", "Accept": "text/html"}
    for address in forms(people_app.routes):
        if address.path in SESSIONS:
            continue
        path = re.sub(r"\{[^}]*\}", "none", address.path)
        for kind, asker in everybody[1].items():
            if asker.who.role is not Role.READER and asker.who.state is State.ACTIVE:
                continue
            answer = people_server.post(path, content="once=a-form&reason=because", headers={**here, **asker.headers})
            # Anyone is told that an entry does not exist; the tests of each page cover existing entries.
            assert answer.status_code in (401, 403, 404), f"{path} answers {kind} with {answer.status_code}"
    assert catalogue.version() == before


@pytest.mark.parametrize(
    ("kind", "permission", "status", "problem"),
    [
        ("a reader", Permission.CONTRIBUTE, 401, "unauthorised"),
        ("an unknown token", Permission.CONTRIBUTE, 401, "unauthorised"),
        ("no token at all", Permission.CONTRIBUTE, 401, "unauthorised"),
        ("expired contributor", Permission.CONTRIBUTE, 401, "unauthorised"),
        ("revoked maintainer", Permission.MAINTAIN, 401, "unauthorised"),
        ("suspended contributor", Permission.CONTRIBUTE, 403, "suspended"),
        ("suspended maintainer", Permission.MAINTAIN, 403, "suspended"),
        ("active contributor", Permission.MAINTAIN, 403, "forbidden"),
        ("contributor without evidence", Permission.GIVE_EVIDENCE, 403, "forbidden"),
        ("maintainer without maintain", Permission.MAINTAIN, 403, "forbidden"),
    ],
)
def test_a_refusal_is_a_problem_that_says_what_to_do(
    people_server: TestClient,
    everybody: tuple[str, dict[str, Asker]],
    kind: str,
    permission: Permission,
    status: int,
    problem: str,
) -> None:
    answer = people_server.post(f"/held/{permission}", json={}, headers=everybody[1][kind].headers)
    assert (answer.status_code, answer.json()["type"]) == (status, f"/problems/{problem}")
    assert answer.json()["errors"][0]["remedy"]
    # RFC 9110, 15.5.2: a 401 names how to authenticate; RFC 6750, 3: by bearer tokens.
    assert answer.headers.get("www-authenticate") == ('Bearer realm="otherhalf"' if status == 401 else None)


def test_a_route_knows_the_person_who_asks(people_server: TestClient, everybody: tuple[str, dict[str, Asker]]) -> None:
    asker = everybody[1]["active maintainer"]
    assert people_server.post("/held/maintain", headers=asker.headers).json() == asker.who.name
    assert people_server.post("/held/read").json() == ""


def test_the_scheme_of_authentication_may_have_any_case(
    people_server: TestClient, everybody: tuple[str, dict[str, Asker]]
) -> None:
    # RFC 9110, 11.1: the name of a scheme has no case.
    token = everybody[1]["active contributor"].headers["Authorization"].removeprefix("Bearer ")
    assert people_server.post("/held/contribute", headers={"Authorization": f"bEARER {token}"}).status_code == 200


def test_permission_is_checked_before_the_body_is_read(people_server: TestClient, people_app: FastAPI) -> None:
    def takes(body: dict[str, int], who: Annotated[Who, needs(Permission.CONTRIBUTE)]) -> None:
        del body, who

    people_app.add_api_route("/held-body", takes, methods=["POST"])
    assert people_server.post("/held-body", json={"a": "banana"}).status_code == 401


def test_a_suspension_takes_effect_with_the_next_request(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'one.sqlite3'}"
    made = app_for(Settings(database_url=url))
    made.add_api_route("/held", _name, methods=["POST"], dependencies=[needs(Permission.CONTRIBUTE)])
    with TestClient(made) as server, open_catalogue(url) as catalogue:
        asker = _asker(catalogue, Role.CONTRIBUTOR, State.ACTIVE, [Scope.CONTRIBUTE])
        assert server.post("/held", headers=asker.headers).status_code == 200
        with catalogue.writing() as session:
            contributors.suspend(session, Act(reason="a slip"), asker.who.name)
        refused = server.post("/held", headers=asker.headers)
        assert (refused.status_code, refused.json()["type"]) == (403, "/problems/suspended")
        assert "a slip" in refused.json()["detail"]


def test_openapi_states_how_a_token_is_sent(people_app: FastAPI) -> None:
    description = people_app.openapi()
    scheme = description["components"]["securitySchemes"]["token"]
    assert scheme["scheme"] == "bearer"
    assert "otherhalf token create" in scheme["description"]
    assert description["paths"]["/held/contribute"]["post"]["security"]
