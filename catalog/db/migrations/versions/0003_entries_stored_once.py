"""One row for each entry: its document as JSON, and columns for queries; views for people who use SQL."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from importlib import import_module
from typing import Any

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision: str = "0003"
down_revision: str | None = "0002"
branch_labels: str | None = None
depends_on: str | None = None

Row = dict[str, Any]

KEY = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")
WORD = sa.String(length=40)
MOMENT = sa.String(length=27)
DOCUMENT = sa.JSON(none_as_null=True).with_variant(postgresql.JSONB(none_as_null=True), "postgresql")

STANDING = ("revision", "substance_revision", "author", "changed_at", "clean", "state", "successor")
RATINGS = ("contact_current_a", "power_contact_current_a", "loaded_contacts", "voltage_v")
CITED = ("title", "revision", "page", "address")
TEXTS = ("markings", "aliases", "order_codes")
LAWS: Row = {"kinds": [], "stack": [], "stack_tolerance": None, "correspondence": "identity"}
"""Default values in the laws of a series."""

USUAL: Row = {"bound": "nominal", "tolerance": None, "extra_u": 0.0, "doubt": "", "unit": "mm"} | {
    "given": None,
    "given_tolerance": None,
}
"""Default values of a dimension."""

OLD_TABLES = (
    "mating_contacts",
    "mating_dimensions",
    "matings",
    "half_sites",
    "half_texts",
    "half_categories",
    "half_counts",
    "half_dimensions",
    "halves",
    "series_aliases",
    "series",
    "citations",
    "makers",
)
"""A table comes before those that it refers to."""

VIEWS = {
    "sqlite": {
        "half_dimension": """
            SELECT halves.key AS half, dimension.key AS feature,
                   json_extract(dimension.value, '$.value') AS value,
                   coalesce(json_extract(dimension.value, '$.bound'), 'nominal') AS bound,
                   json_extract(dimension.value, '$.tolerance') AS tolerance
            FROM halves, json_each(halves.content, '$.dimensions') AS dimension
            WHERE halves.state = 'listed'""",
        "half_count": """
            SELECT key AS half, 'contact_count' AS feature, contact_count AS value FROM halves WHERE state = 'listed'
            UNION ALL SELECT key, 'rows', rows FROM halves WHERE state = 'listed'
            UNION ALL SELECT halves.key, counted.key, counted.value
            FROM halves, json_each(halves.content, '$.counts') AS counted
            WHERE halves.state = 'listed'""",
        "mating": """
            SELECT matings.key, half, other, basis, correspondence, stack_height,
                   json_extract(matings.content, '$.stack_height.tolerance') AS stack_tolerance,
                   json_extract(matings.content, '$.mated_width.value') AS mated_width
            FROM matings
            JOIN halves AS one ON one.key = half AND one.state = 'listed'
            JOIN halves AS two ON two.key = other AND two.state = 'listed'
            WHERE matings.state = 'listed'""",
    },
    "postgresql": {
        "half_dimension": """
            SELECT halves.key AS half, dimension.key AS feature,
                   (dimension.value ->> 'value')::double precision AS value,
                   coalesce(dimension.value ->> 'bound', 'nominal') AS bound,
                   (dimension.value ->> 'tolerance')::double precision AS tolerance
            FROM halves, jsonb_each(halves.content -> 'dimensions') AS dimension
            WHERE halves.state = 'listed'""",
        "half_count": """
            SELECT key AS half, 'contact_count' AS feature, contact_count AS value FROM halves WHERE state = 'listed'
            UNION ALL SELECT key, 'rows', rows FROM halves WHERE state = 'listed'
            UNION ALL SELECT halves.key, counted.key, counted.value::text::integer
            FROM halves, jsonb_each(halves.content -> 'counts') AS counted
            WHERE halves.state = 'listed'""",
        "mating": """
            SELECT matings.key, half, other, basis, correspondence, stack_height,
                   (matings.content -> 'stack_height' ->> 'tolerance')::double precision AS stack_tolerance,
                   (matings.content -> 'mated_width' ->> 'value')::double precision AS mated_width
            FROM matings
            JOIN halves AS one ON one.key = half AND one.state = 'listed'
            JOIN halves AS two ON two.key = other AND two.state = 'listed'
            WHERE matings.state = 'listed'""",
    },
}
"""Views of listed entries for people who use SQL. Lengths are in millimetres."""


def upgrade() -> None:
    """Replace the old tables by the new ones with the same entries as documents, and create the views."""
    old = _Old(op.get_bind())
    series, halves, matings = list(old.series()), list(old.halves()), list(old.matings())
    for table in OLD_TABLES:
        op.drop_table(table)
    op.bulk_insert(_make_series(), series)
    op.bulk_insert(_make_halves(), halves)
    op.bulk_insert(_make_matings(), matings)
    for name, query in VIEWS[op.get_bind().dialect.name].items():
        op.execute(f"CREATE VIEW {name} AS {query}")


def downgrade() -> None:
    """Replace the new tables by the old ones with the same entries."""
    bind = op.get_bind()
    for name in VIEWS[bind.dialect.name]:
        op.execute(f"DROP VIEW {name}")
    found = {name: _all(bind, name) for name in ("series", "halves", "matings")}
    for table in ("matings", "halves", "series"):
        op.drop_table(table)
    _make_old_tables()
    _Parted(bind, **found).store()


# --- reading the old tables --------------------------------------------------------------------------------------


def _all(bind: sa.Connection, table: str) -> list[Row]:
    return [dict(row) for row in bind.execute(sa.text(f"SELECT * FROM {table}")).mappings()]


class _Old:
    """Reads entries from the old tables and makes their new rows."""

    def __init__(self, bind: sa.Connection) -> None:
        self._bind = bind
        self._makers = {row["id"]: row for row in _all(bind, "makers")}
        self._citations = {row["id"]: _stated(row, CITED) for row in _all(bind, "citations")}
        self._series = {row["id"]: row for row in _all(bind, "series")}
        self._halves = {row["id"]: row for row in _all(bind, "halves")}

    def series(self) -> Iterator[Row]:
        """New rows of series."""
        aliases = self._parts("series_aliases", "series_id")
        for row in self._series.values():
            maker = self._makers[row["maker_id"]]
            laws = row["laws"] if isinstance(row["laws"], dict) else json.loads(row["laws"])
            content = {"record": "series", **self._common(row), "maker": maker["name"], "name": row["name"]}
            content |= _unusual({"aliases": [part["text"] for part in aliases[row["id"]]]}, {"aliases": []})
            content |= _unusual({name: laws[name] for name in LAWS if name in laws}, LAWS)
            yield {**_standing(row), "content": content, "maker": maker["key"], "stated": bool(row["stated"])}

    def halves(self) -> Iterator[Row]:
        """New rows of halves."""
        dimensions, counts = self._parts("half_dimensions", "half_id"), self._parts("half_counts", "half_id")
        categories, texts = self._parts("half_categories", "half_id"), self._parts("half_texts", "half_id")
        sites = self._parts("half_sites", "half_id")
        for id_, row in self._halves.items():
            series = self._series[row["series_id"]]
            maker = self._makers[series["maker_id"]]
            said: dict[str, list[str]] = {role: [] for role in TEXTS}
            for part in texts[id_]:
                said[part["role"]].append(part["text"])
            named: dict[str, list[str]] = defaultdict(list)
            for part in categories[id_]:
                named[part["feature"]].append(part["value"])
            blocked = [part for part in sites[id_] if part["position"] is not None]
            sizes = _dimensions(dimensions[id_])
            content = {"record": "half", **self._common(row), "maker": maker["name"], "series": series["name"]}
            content |= _stated(row, ("part_number", "half_kind", "rows", "contact_count", "positions"))
            parts = {
                "row_contacts": [part["contacts"] for part in sites[id_] if part["contacts"] is not None],
                "blocked": [{"row": part["site_row"], "position": part["position"]} for part in blocked],
                "dimensions": sizes,
                "counts": {part["feature"]: part["value"] for part in counts[id_]},
                "categories": dict(named),
                **said,
            }
            content |= {name: part for name, part in parts.items() if part}
            names = (row["part_number"], *said["order_codes"], *said["aliases"], *said["markings"])
            yield {
                **_standing(row),
                **{name: row[name] for name in ("half_kind", "rows", "contact_count")},
                **{name: sizes.get(name, {}).get("value") for name in ("pitch", "body_length", "body_width")},
                "content": content,
                "maker": maker["key"],
                "series": series["key"],
                "names": "\n".join(names),
                "from_law": bool(row["from_law"]),
            }

    def matings(self) -> Iterator[Row]:
        """New rows of matings."""
        dimensions = self._parts("mating_dimensions", "mating_id")
        contacts = self._parts("mating_contacts", "mating_id")
        for row in _all(self._bind, "matings"):
            ends = {"half": self._halves[row["half_id"]]["key"], "other": self._halves[row["other_id"]]["key"]}
            sizes = _dimensions(dimensions[row["id"]])
            pairs = [[part["contact"], part["other_contact"]] for part in contacts[row["id"]]]
            content = {"record": "mating", **ends, **sizes}
            content |= _unusual({"correspondence": row["correspondence"]}, {"correspondence": "unknown"})
            content |= {"contact_map": pairs} if pairs else {}
            content |= {"basis": row["basis"]}
            content |= {"citation": self._citations[row["citation_id"]]} if row["citation_id"] is not None else {}
            yield {
                **_standing(row),
                **ends,
                "content": content | _stated(row, ("note",)),
                "basis": row["basis"],
                "correspondence": row["correspondence"],
                "stack_height": sizes.get("stack_height", {}).get("value"),
                "from_law": bool(row["from_law"]),
            }

    def _parts(self, table: str, owner: str) -> dict[int, list[Mapping[str, Any]]]:
        """Rows of a table by the id of the entry that they belong to, in their order if they have one."""
        found: dict[int, list[Mapping[str, Any]]] = defaultdict(list)
        for row in _all(self._bind, table):
            found[row[owner]].append(row)
        for rows in found.values():
            if "ordinal" in rows[0]:
                rows.sort(key=lambda row: row["ordinal"])
        return found

    def _common(self, row: Mapping[str, Any]) -> Row:
        ratings = _stated(row, RATINGS)
        return {
            **_unusual({"lifecycle": row["lifecycle"]}, {"lifecycle": "unknown"}),
            **_stated(row, ("mating_cycles",)),
            **({"ratings": ratings} if ratings else {}),
            **({"datasheet": self._citations[row["citation_id"]]} if row["citation_id"] is not None else {}),
            **_stated(row, ("note",)),
        }


def _stated(row: Mapping[str, Any], names: Iterable[str]) -> Row:
    """Those of the columns that have a value."""
    return {name: row[name] for name in names if row[name] not in (None, "")}


def _unusual(said: Mapping[str, Any], usual: Mapping[str, Any]) -> Row:
    return {name: value for name, value in said.items() if value != usual[name]}


def _dimensions(parts: Iterable[Mapping[str, Any]]) -> dict[str, Row]:
    return {
        part["feature"]: {"value": part["value"], **_unusual({name: part[name] for name in USUAL}, USUAL)}
        for part in parts
    }


def _standing(row: Mapping[str, Any]) -> Row:
    return {"key": row["key"], **{name: row[name] for name in STANDING}, "clean": bool(row["clean"])}


# --- the new tables ----------------------------------------------------------------------------------------------


def _make_series() -> sa.Table:
    table = op.create_table(
        "series",
        *_entry_columns("series"),
        sa.Column("maker", KEY, nullable=False),
        sa.Column("stated", sa.Boolean(), nullable=False),
    )
    op.create_index(op.f("ix_series_maker"), "series", ["maker"])
    return table


def _make_halves() -> sa.Table:
    table = op.create_table(
        "halves",
        *_entry_columns("halves"),
        sa.Column("maker", KEY, nullable=False),
        sa.Column("series", KEY, nullable=False),
        sa.Column("half_kind", WORD, nullable=True),
        sa.Column("rows", sa.Integer(), nullable=False),
        sa.Column("contact_count", sa.Integer(), nullable=False),
        *(sa.Column(name, sa.Double(), nullable=True) for name in ("pitch", "body_length", "body_width")),
        sa.Column("names", sa.Text(), nullable=False),
        sa.Column("from_law", sa.Boolean(), nullable=False),
        sa.CheckConstraint("half_kind IN ('plug', 'receptacle', 'hermaphroditic')", name=op.f("ck_halves_half_kind")),
        sa.CheckConstraint("rows BETWEEN 1 AND 20", name=op.f("ck_halves_rows")),
        sa.CheckConstraint("contact_count >= 1", name=op.f("ck_halves_contact_count")),
        *(_size_check("halves", name) for name in ("pitch", "body_length", "body_width")),
        sa.ForeignKeyConstraint(["series"], ["series.key"], name=op.f("fk_halves_series_series")),
    )
    for columns in (["series"], ["maker"], ["contact_count", "rows", "pitch"]):
        op.create_index(op.f(f"ix_halves_{'_'.join(columns)}"), "halves", columns)
    return table


def _make_matings() -> sa.Table:
    table = op.create_table(
        "matings",
        *_entry_columns("matings"),
        sa.Column("half", KEY, nullable=False),
        sa.Column("other", KEY, nullable=False),
        sa.Column("basis", WORD, nullable=False),
        sa.Column("correspondence", WORD, nullable=False),
        sa.Column("stack_height", sa.Double(), nullable=True),
        sa.Column("from_law", sa.Boolean(), nullable=False),
        sa.CheckConstraint("basis IN ('maker', 'other_maker', 'trial_fit', 'inferred')", name=op.f("ck_matings_basis")),
        sa.CheckConstraint(
            "correspondence IN ('identity', 'rows_swapped', 'reversed', 'listed', 'unknown')",
            name=op.f("ck_matings_correspondence"),
        ),
        _size_check("matings", "stack_height"),
        sa.ForeignKeyConstraint(["half"], ["halves.key"], name=op.f("fk_matings_half_halves")),
        sa.ForeignKeyConstraint(["other"], ["halves.key"], name=op.f("fk_matings_other_halves")),
    )
    for name in ("half", "other"):
        op.create_index(op.f(f"ix_matings_{name}"), "matings", [name])
    return table


def _entry_columns(table: str) -> list[sa.schema.SchemaItem]:
    return [
        sa.Column("key", KEY, nullable=False),
        sa.Column("content", DOCUMENT, nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("substance_revision", sa.Integer(), nullable=False),
        sa.Column("author", sa.Text(), nullable=False),
        sa.Column("changed_at", MOMENT, nullable=False),
        sa.Column("clean", sa.Boolean(), nullable=False),
        sa.Column("state", WORD, nullable=False),
        sa.Column("successor", sa.Text(), nullable=True),
        sa.CheckConstraint("revision >= 1", name=op.f(f"ck_{table}_revision")),
        sa.CheckConstraint("substance_revision BETWEEN 1 AND revision", name=op.f(f"ck_{table}_substance_revision")),
        sa.CheckConstraint("state IN ('listed', 'withdrawn', 'merged')", name=op.f(f"ck_{table}_state")),
        sa.CheckConstraint("(state = 'merged') = (successor IS NOT NULL)", name=op.f(f"ck_{table}_successor")),
        sa.PrimaryKeyConstraint("key", name=op.f(f"pk_{table}")),
    ]


def _size_check(table: str, name: str) -> sa.CheckConstraint:
    return sa.CheckConstraint(f"{name} > 0 AND {name} <= 1000", name=op.f(f"ck_{table}_{name}"))


# --- back to the old tables --------------------------------------------------------------------------------------


def _make_old_tables() -> None:
    """Create the tables of revision 0002 with the functions that created them first."""
    op.create_table(
        "makers",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", KEY, nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_makers")),
        sa.UniqueConstraint("key", name=op.f("uq_makers_key")),
    )
    op.create_table(
        "citations",
        sa.Column("id", sa.Integer(), nullable=False),
        *(sa.Column(name, sa.Text(), nullable=False) for name in CITED),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_citations")),
        sa.UniqueConstraint(*CITED, name=op.f("uq_citations_title_revision_page_address")),
    )
    first = import_module("catalog.db.migrations.versions.0001_the_first_tables")
    second = import_module("catalog.db.migrations.versions.0002_people_and_history")
    for make in (first._series, first._halves, first._half_measures, first._half_words, first._matings):
        make()
    for table in second.ENTRIES:
        second._add_standing(table, "")
    for table in second.DIMENSIONS:
        second._add_source(table)


class _Parted:
    """Makes the rows of the old tables from entries."""

    def __init__(self, bind: sa.Connection, *, series: list[Row], halves: list[Row], matings: list[Row]) -> None:
        self._bind = bind
        self._tables = sa.MetaData()
        self._tables.reflect(bind, only=OLD_TABLES)
        self._entries = {"series": series, "halves": halves, "matings": matings}
        for rows in self._entries.values():
            for id_, row in enumerate(rows, start=1):
                content = row["content"]
                row |= {"id": id_, "content": content if isinstance(content, dict) else json.loads(content)}
        self._ids = {name: {row["key"]: row["id"] for row in rows} for name, rows in self._entries.items()}

    def store(self) -> None:
        """Write all rows; a row is written after those that it refers to."""
        series, halves, matings = (self._entries[name] for name in ("series", "halves", "matings"))
        makers = {row["maker"]: row["content"]["maker"] for row in series}
        self._makers = {key: id_ for id_, key in enumerate(makers, start=1)}
        cited = [
            row["content"].get("citation" if "half" in row else "datasheet") for row in (*series, *halves, *matings)
        ]
        self._citations = {key: id_ for id_, key in enumerate(dict.fromkeys(map(_cited, filter(None, cited))), start=1)}
        self._insert("makers", ({"id": id_, "key": key, "name": makers[key]} for key, id_ in self._makers.items()))
        self._insert("citations", ({"id": id_, **dict(key)} for key, id_ in self._citations.items()))
        self._insert("series", map(self._of_series, series))
        self._insert("series_aliases", (part for row in series for part in _texts(row, "series_id", ("aliases",))))
        self._insert("halves", map(self._of_half, halves))
        self._insert("half_dimensions", (part for row in halves for part in _sizes(row, "half_id")))
        self._insert("half_counts", (part for row in halves for part in _counts(row)))
        self._insert("half_categories", (part for row in halves for part in _categories(row)))
        self._insert("half_texts", (part for row in halves for part in _texts(row, "half_id", TEXTS)))
        self._insert("half_sites", (part for row in halves for part in _sites(row)))
        self._insert("matings", map(self._of_mating, matings))
        self._insert("mating_dimensions", (part for row in matings for part in _sizes(row, "mating_id")))
        self._insert("mating_contacts", (part for row in matings for part in _contacts(row)))

    def _insert(self, name: str, rows: Iterable[Row]) -> None:
        table = self._tables.tables[name]
        stored = [{column: row[column] for column in row.keys() & set(table.columns.keys())} for row in rows]
        if stored:
            self._bind.execute(table.insert(), stored)
        if "id" in table.c and self._bind.dialect.name == "postgresql":  # inserted ids do not advance its sequence
            after = "(SELECT coalesce(max(id), 0) + 1 FROM"
            op.execute(f"SELECT setval(pg_get_serial_sequence('{name}', 'id'), {after} {name}), false)")

    def _of_series(self, row: Row) -> Row:
        laws = {name: row["content"].get(name, usual) for name, usual in LAWS.items()}
        named = {"name": row["content"]["name"], "maker_id": self._makers[row["maker"]]}
        return row | self._common(row["content"], "datasheet") | named | {"laws": laws}

    def _of_half(self, row: Row) -> Row:
        named = {name: row["content"].get(name) for name in ("part_number", "positions")}
        return (
            row | self._common(row["content"], "datasheet") | named | {"series_id": self._ids["series"][row["series"]]}
        )

    def _of_mating(self, row: Row) -> Row:
        ends = {f"{end}_id": self._ids["halves"][row[end]] for end in ("half", "other")}
        return row | self._common(row["content"], "citation") | ends

    def _common(self, content: Row, cited: str) -> Row:
        ratings = content.get("ratings", {})
        return {
            "lifecycle": content.get("lifecycle", "unknown"),
            "mating_cycles": content.get("mating_cycles"),
            **{name: ratings.get(name) for name in RATINGS},
            "citation_id": self._citations[_cited(content[cited])] if cited in content else None,
            "note": content.get("note", ""),
        }


def _cited(document: Row) -> tuple[tuple[str, str], ...]:
    return tuple((name, document.get(name, "")) for name in CITED)


def _texts(row: Row, owner: str, roles: Iterable[str]) -> Iterator[Row]:
    for role in roles:
        for ordinal, text in enumerate(row["content"].get(role, ())):
            yield {owner: row["id"], "role": role, "ordinal": ordinal, "text": text}


def _sizes(row: Row, owner: str) -> Iterator[Row]:
    content = row["content"]
    pair = {name: content[name] for name in ("stack_height", "mated_width") if name in content}
    for feature, dimension in (pair if owner == "mating_id" else content.get("dimensions", {})).items():
        yield {owner: row["id"], "feature": feature, **USUAL, **dimension}


def _counts(row: Row) -> Iterator[Row]:
    for feature, value in row["content"].get("counts", {}).items():
        yield {"half_id": row["id"], "feature": feature, "value": value}


def _categories(row: Row) -> Iterator[Row]:
    for feature, values in row["content"].get("categories", {}).items():
        for ordinal, value in enumerate(values):
            yield {"half_id": row["id"], "feature": feature, "ordinal": ordinal, "value": value}


def _sites(row: Row) -> Iterator[Row]:
    blocked, contacts = row["content"].get("blocked", ()), row["content"].get("row_contacts", ())
    sites: list[Row] = [{"site_row": site["row"], "position": site["position"], "contacts": None} for site in blocked]
    sites += [
        {"site_row": number, "position": None, "contacts": count} for number, count in enumerate(contacts, start=1)
    ]
    for ordinal, site in enumerate(sites):
        yield {"half_id": row["id"], "ordinal": ordinal, **site}


def _contacts(row: Row) -> Iterator[Row]:
    for ordinal, (contact, other) in enumerate(row["content"].get("contact_map", ())):
        yield {"mating_id": row["id"], "ordinal": ordinal, "contact": contact, "other_contact": other}
