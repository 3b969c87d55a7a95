"""``otherhalf demo``: identify the invented specimens in the invented catalogue."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated

import typer
from rich.console import RenderableType
from rich.text import Text

from api.command_line.commands.common import reporting_errors, show
from api.command_line.output.answers import answer_blocks, caution_lines
from api.command_line.output.console import plain, table
from api.identification import answer_words as words
from api.identification.answering import answer
from api.identification.cautions import SHORT_CAUTIONS
from api.schemas.answers import Answer
from api.schemas.requests import IdentifyRequest
from api.schemas.words import NOT_HERE
from catalog.db.database import open_catalogue
from catalog.snapshot.snapshot import Snapshot, SnapshotSource
from matcher.results import VERDICT_WORDS, Verdict
from seeds_demo.loader import Expected, Specimen, demo_specimens, load_demo

SHOWN_CANDIDATES = 3
"""Candidates printed for each specimen; the demo is read from top to bottom."""


def demo(
    keep: Annotated[
        Path | None,
        typer.Option(
            "--keep", metavar="PATH", help="Keep the demo catalogue in this file, to try other commands on it."
        ),
    ] = None,
) -> None:
    """Identify every demo specimen in an invented catalogue, and compare each answer with the truth.

    The catalogue is loaded into a temporary database, which is removed
    afterwards. All parts in it are invented.
    """
    with reporting_errors(), tempfile.TemporaryDirectory(prefix="otherhalf-") as folder:
        file = keep or Path(folder) / "demo.sqlite3"
        with open_catalogue(f"sqlite:///{file}") as catalogue:
            load_demo(catalogue)
            snapshot = SnapshotSource(catalogue).current()
        show(_session(snapshot, demo_specimens()))
    if keep is not None:
        show([plain(""), plain(f"The catalogue is kept: otherhalf identify --database sqlite:///{keep} …")])


def _session(snapshot: Snapshot, specimens: list[Specimen]) -> Iterator[RenderableType]:
    inferred = sum(record.origin == "inferred" for record in snapshot.halves.values())
    listed = len(snapshot.halves) - inferred
    yield plain(
        f"An invented catalogue: {listed} halves, {inferred} inferred variants, {len(snapshot.matings)} matings."
    )
    results = []
    for number, specimen in enumerate(specimens, start=1):
        request = IdentifyRequest.model_validate(
            {"observations": [dict(given) for given in specimen.observations], "limit": SHOWN_CANDIDATES}
        )
        found = answer(snapshot, request)
        results.append((specimen, found))
        yield from _specimen_blocks(number, specimen, found)
    yield from _summary(snapshot, results)
    yield from caution_lines(SHORT_CAUTIONS)


def _specimen_blocks(number: int, specimen: Specimen, found: Answer) -> Iterator[RenderableType]:
    yield plain("")
    yield Text(f"{number}. {specimen.title}", style="bold")
    yield plain(specimen.story)
    yield from answer_blocks(found, brief=True)
    yield plain(f"The truth: {_truth(specimen.expected)}. {specimen.remark}")


def _truth(expected: Expected) -> str:
    if expected.half is not None:
        return expected.half
    if expected.variant is not None:
        variant = expected.variant
        return f"a {variant.half_kind} of {variant.series} with {variant.contact_count} contacts, which is not listed"
    return NOT_HERE


def _summary(snapshot: Snapshot, results: list[tuple[Specimen, Answer]]) -> Iterator[RenderableType]:
    yield plain("")
    yield Text("In short", style="bold")
    rows = table("specimen", "answer", "probability", "the truth is", right=("probability",))
    for specimen, found in results:
        outcome = _outcome(snapshot, specimen, found)
        rows.add_row(plain(specimen.title), VERDICT_WORDS[found.verdict], _confidence(found), outcome)
    yield rows


def _confidence(found: Answer) -> str:
    no_match = found.verdict is Verdict.NO_MATCH or not found.candidates
    return words.percent(found.probability_absent if no_match else found.candidates[0].probability)


def _outcome(snapshot: Snapshot, specimen: Specimen, found: Answer) -> str:
    if specimen.expected.absent:
        return "first" if found.verdict is Verdict.NO_MATCH else NOT_HERE
    for candidate in found.candidates:
        if any(is_truth(snapshot, specimen.expected, half.id) for half in (candidate.half, *candidate.same_geometry)):
            return "first" if candidate.rank == 1 else f"rank {candidate.rank}"
    return "lower"


def is_truth(snapshot: Snapshot, expected: Expected, key: str) -> bool:
    """Whether the half of this key is what the specimen truly is."""
    if expected.variant is None:
        return key == expected.half or key in expected.tied
    record = snapshot.halves[key]
    wanted = (expected.variant.series, expected.variant.half_kind, expected.variant.contact_count)
    return (record.series_key, record.half.half_kind, record.half.contact_count) == wanted
