"""Contributors: add, suspend, lift a suspension, change a role, undo what somebody did."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from api.operations.operation import Operation, Task
from api.schemas.evidence import ReasonIn
from api.schemas.history import UndoIn, UndoneOut, undone_out
from api.schemas.people import (
    ContributorIn,
    ContributorOut,
    LiftIn,
    NewcomerIn,
    NewcomerOut,
    RoleIn,
    contributor_out,
    token_made_out,
)
from catalog.accounts import contributors, tokens
from catalog.accounts.access import About, Permission, Role, Scope, require
from catalog.history.documents import new_key
from catalog.history.undo import undo as undo_changes
from catalog.model import timestamps

FIRST_TOKEN_DAYS = 30
"""Days for which a new contributor's first token is good: time enough to sign in and make one of their own."""


def add(task: Task, body: ContributorIn) -> ContributorOut:
    """Add a contributor."""
    return contributor_out(contributors.add(task.session, task.act, body.name, body.role))


def welcome(task: Task, body: NewcomerIn) -> NewcomerOut:
    """Add a contributor with a first token, to sign in with."""
    person = contributors.add(task.session, task.act, body.name, body.role)
    scopes = [scope for scope in Scope if person.role is Role.MAINTAINER or scope is not Scope.MAINTAIN]
    ends = timestamps.read(task.act.at, field="at") + timedelta(days=FIRST_TOKEN_DAYS)
    made = tokens.create(task.session, task.act, person.name, label="first token", scopes=scopes, expires=ends)
    return NewcomerOut(**token_made_out(made).model_dump(), person=person.name)


def suspend(task: Task, _: ReasonIn) -> ContributorOut:
    """Take nothing more from a contributor."""
    return contributor_out(contributors.suspend(task.session, task.act, _somebody_else(task)))


def lift(task: Task, _: LiftIn) -> ContributorOut:
    """End a suspension."""
    return contributor_out(contributors.lift(task.session, task.act, _somebody_else(task)))


def change_role(task: Task, body: RoleIn) -> ContributorOut:
    """Give a contributor another role."""
    return contributor_out(contributors.change_role(task.session, task.act, _somebody_else(task), body.role))


def undo(task: Task, body: UndoIn) -> UndoneOut:
    """Take back all that a contributor changed since a moment."""
    person = contributors.get(task.session, task.key).name
    since = timestamps.written(timestamps.read(body.since, field="since"))
    batch = new_key()
    return undone_out(person, since, batch, undo_changes(task.session, replace(task.act, batch=batch), person, since))


def _somebody_else(task: Task) -> str:
    """The name of the contributor, who is not the one that acts. Raises NotFoundError, ForbiddenError."""
    person = contributors.get(task.session, task.key).name
    require(task.who, Permission.MAINTAIN, About(person=person))
    return person


ADD_CONTRIBUTOR = Operation(
    name="add contributor",
    permission=Permission.MAINTAIN,
    body=ContributorIn,
    result=ContributorOut,
    run=add,
    status=201,
)
WELCOME = Operation(
    name="welcome contributor",
    permission=Permission.MAINTAIN,
    body=NewcomerIn,
    result=NewcomerOut,
    run=welcome,
    status=201,
    told_once=("secret",),
)
SUSPEND = Operation(
    name="suspend",
    permission=Permission.MAINTAIN,
    body=ReasonIn,
    result=ContributorOut,
    run=suspend,
    refusals=("unknown-entry",),
)
LIFT = Operation(
    name="lift suspension",
    permission=Permission.MAINTAIN,
    body=LiftIn,
    result=ContributorOut,
    run=lift,
    refusals=("unknown-entry",),
)
CHANGE_ROLE = Operation(
    name="change role",
    permission=Permission.MAINTAIN,
    body=RoleIn,
    result=ContributorOut,
    run=change_role,
    refusals=("unknown-entry",),
)
UNDO = Operation(
    name="undo",
    permission=Permission.MAINTAIN,
    body=UndoIn,
    result=UndoneOut,
    run=undo,
    refusals=("unknown-entry",),
)

OPERATIONS = (ADD_CONTRIBUTOR, WELCOME, SUSPEND, LIFT, CHANGE_ROLE, UNDO)
"""What maintainers do about people."""
