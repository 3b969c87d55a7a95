"""A series that does not say which contact meets which leaves it unknown; before, its silence meant one to one.

Where a series cites a document, one to one is kept and now stands in it. Where nobody cited anything, it becomes
unknown, in the series and in the matings that its laws made. Every document is changed by itself, in the journal too,
so that a state of the past reads as the present one does and can be restored.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision: str = "0004"
down_revision: str | None = "0003"
branch_labels: str | None = None
depends_on: str | None = None

Document = dict[str, Any]
Change = Callable[[Document, bool], Document]
"""From a document, and whether the laws of its series made it, to the document as it is stored after the change."""

DOCUMENT = sa.JSON(none_as_null=True).with_variant(postgresql.JSONB(none_as_null=True), "postgresql")
ENTRIES = {
    "series": sa.table("series", sa.column("key", sa.Text), sa.column("content", DOCUMENT)),
    "mating": sa.table(
        "matings",
        sa.column("key", sa.Text),
        sa.column("content", DOCUMENT),
        sa.column("from_law", sa.Boolean),
        sa.column("correspondence", sa.Text),
    ),
}
JOURNAL = sa.table(
    "journal",
    sa.column("id", sa.Integer),
    sa.column("record", sa.Text),
    sa.column("old", DOCUMENT),
    sa.column("new", DOCUMENT),
)


def upgrade() -> None:
    """Keep one to one where a document is cited, and make it unknown where none is."""
    _change(_unstated_is_unknown)


def downgrade() -> None:
    """Say of every series that says nothing that it is unknown, since silence means one to one there."""
    _change(_unstated_is_one_to_one)


def _unstated_is_unknown(content: Document, from_law: bool) -> Document:
    if content["record"] == "mating":
        uncited = from_law and "citation" not in content and content.get("correspondence") == "identity"
        return _with(content, "unknown") if uncited else content
    said = content.get("correspondence")
    if said is None and "stack" in content and "datasheet" in content:
        return _with(content, "identity")
    return _with(content, "unknown") if said == "unknown" else content


def _unstated_is_one_to_one(content: Document, from_law: bool) -> Document:
    if content["record"] == "mating" or "correspondence" in content or "stack" not in content:
        return content
    return {**content, "correspondence": "unknown"}


def _with(content: Document, correspondence: str) -> Document:
    """The document with that correspondence; unknown is what is left out."""
    rest = {name: value for name, value in content.items() if name != "correspondence"}
    return rest if correspondence == "unknown" else {**rest, "correspondence": correspondence}


def _change(change: Change) -> None:
    bind = op.get_bind()
    for table in ENTRIES.values():
        for row in _rows(bind, sa.select(table)):
            content = change(row["content"], row.get("from_law", False))
            if content != row["content"]:
                found: Document = {"content": content}
                if "correspondence" in table.c:
                    found["correspondence"] = content.get("correspondence", "unknown")
                bind.execute(sa.update(table).where(table.c.key == row["key"]).values(found))
    for row in _rows(bind, sa.select(JOURNAL).where(JOURNAL.c.record.in_(ENTRIES))):
        states = {name: _state(row[name], change) for name in ("old", "new")}
        if any(states[name] != row[name] for name in states):
            bind.execute(sa.update(JOURNAL).where(JOURNAL.c.id == row["id"]).values(states))


def _state(state: Document | None, change: Change) -> Document | None:
    """A state as the journal has it, with its document changed."""
    return state and {**state, "content": change(state["content"], state.get("from_law", False))}


def _rows(bind: sa.Connection, query: sa.Select[Any]) -> Iterator[Document]:
    for row in bind.execute(query).mappings().all():
        yield dict(row)
