"""Contributors and tokens in print, and how to begin where there are none."""

from __future__ import annotations

import shlex
from collections.abc import Iterator, Sequence

from rich.console import RenderableType
from rich.text import Text

from api.command_line.output.console import plain, table
from catalog.accounts.access import Scope
from catalog.accounts.contributors import Contributor
from catalog.accounts.tokens import Token

TO_THE_MINUTE = 16
"""Characters of a moment that are shown: 2026-11-25T14:30."""


def contributor_table(contributors: Sequence[Contributor]) -> RenderableType:
    """Everybody in a line."""
    rows = table("name", "role", "since", "suspended", whole=("role", "since"))
    for each in contributors:
        suspended = f"{moment(each.suspended_at)}: {each.suspended_for}" if each.suspended_at else ""
        rows.add_row(plain(each.name), each.role.value, moment(each.added_at)[:10], plain(suspended))
    return rows


def token_table(tokens: Sequence[Token]) -> RenderableType:
    """Every token in a line."""
    rows = table("no.", "contributor", "begins", "scopes", "state", "ends", "used", "label", right=("no.",))
    for each in tokens:
        ends, used = moment(each.expires_at)[:10], moment(each.last_used_at)
        scopes = ", ".join(scope.value for scope in Scope if scope in each.scopes)
        named = plain(each.contributor), each.start, scopes
        rows.add_row(str(each.id), *named, each.state.value, ends or "never", used or "never", plain(each.label))
    return rows


def first_steps(database: str | None) -> Iterator[Text]:
    """How the first maintainer is made; ``database`` is the address where it is not the usual one."""
    where = "" if database is None else f" --database {shlex.quote(database)}"
    yield plain("Nobody may contribute yet. To make the first maintainer, run these two:")
    yield plain(f"  otherhalf contributor add 'Your name' --role maintainer{where}")
    yield plain(f"  otherhalf token create 'Your name' --scopes all{where}")


def moment(written: str | None) -> str:
    """A moment to the minute, UTC; empty for none."""
    return "" if written is None else written[:TO_THE_MINUTE].replace("T", " ")
