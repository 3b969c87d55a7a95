"""``otherhalf evidence``, ``confirm``, ``dispute`` and ``sight``: evidence about entries."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Annotated, Any

import typer
from rich.console import RenderableType

from api.command_line.commands.common import (
    AcknowledgeOption,
    DatabaseOption,
    JsonOption,
    OfOption,
    acknowledgements,
    acting,
    opened,
    print_json,
    reporting_errors,
    show,
)
from api.command_line.output.console import indented, plain
from api.command_line.output.records import finding_lines
from api.observations.checking import form_of
from api.observations.short_form import parse_pieces
from api.operations.evidence import CONFIRM, DISPUTE, SIGHT
from api.operations.transaction import Writing
from api.schemas.evidence import ConfirmationIn, evidence_of
from catalog.evidence.assessment import Assessment
from catalog.evidence.retrieval import assessment_of
from catalog.evidence.statements import Dispute, Sighting
from catalog.model.errors import EntryError
from catalog.records.read import get_record
from catalog.records.read_models import AnyRecord, assessed_of

As = Annotated[str, typer.Option("--as", metavar="NAME", help="The contributor who makes the statement.")]
Key = Annotated[str, typer.Argument(metavar="KEY", help="The entry's key, as 'otherhalf search' lists it.")]

NUMBERS = ("value", "readings", "unit", "spans", "u", "plus_minus", "instrument")
"""Fields of an observation that become evidence: a length and its uncertainty."""


def evidence(key: Key, of: OfOption = "half", as_json: JsonOption = False, database: DatabaseOption = None) -> None:
    """Show the evidence about an entry: who measured what, how well it agrees, and what is missing to confirm it."""
    with reporting_errors(), opened(database) as catalogue, catalogue.reading() as session:
        entry = get_record(session, of, key)
        if as_json:
            print_json(evidence_of(session, entry.content.record, key))
            return
        show(_evidence_lines(entry, assessment_of(session, assessed_of(entry))))


def confirm(
    key: Key,
    as_: As,
    values: Annotated[
        list[str] | None,
        typer.Argument(metavar="VALUE…", help="What was measured: pitch=4.41/11@caliper body_length=6.52±0.03."),
    ] = None,
    of: OfOption = "half",
    document: Annotated[
        str | None,
        typer.Option("--document", metavar="TITLE", help="A document that states the values, instead of measurements."),
    ] = None,
    document_revision: Annotated[str, typer.Option("--document-revision", help="The document's revision.")] = "",
    page: Annotated[str, typer.Option("--page", help="The document's page.")] = "",
    fits: Annotated[
        str | None, typer.Option("--fits", metavar="KEY", help="It mated with this half in a trial.")
    ] = None,
    does_not_fit: Annotated[
        str | None, typer.Option("--does-not-fit", metavar="KEY", help="It did not mate with this half in a trial.")
    ] = None,
    note: Annotated[str, typer.Option("--note", help="Anything others should know.")] = "",
    acknowledge: AcknowledgeOption = None,
    database: DatabaseOption = None,
) -> None:
    """Confirm the present revision of an entry: by measurements, by a document, or by a trial fit.

    An entry is confirmed when the measurements of two people who are not its
    author agree with it; one person is enough if a drawing is cited with its
    revision and page. A value needs its uncertainty: ± its limit of error, or the instrument.

    [bold]Examples[/bold]

    \b
      otherhalf confirm siskin-works:sk-7 pitch=6.99/11@caliper --as "Wren Ashby"
      otherhalf confirm siskin-works:sk-7 --document "SK leaflet" \\
        --document-revision B --page 4 --as Robin
    """
    with reporting_errors(values or []), acting(database, as_) as writing:
        said = _said(writing, of, key) | {"note": note}
        said |= _basis(values or [], document, document_revision, page, fits, does_not_fit)
        body = form_of(ConfirmationIn, {"confirmation": said, "acknowledge": acknowledgements(acknowledge)})
        made = writing.carry_out(CONFIRM, body).result
        with writing.catalogue.reading() as session:
            after = assessment_of(session, assessed_of(get_record(session, of, key)))
    show([plain(f"Confirmation {made.key} is saved."), *finding_lines(made.findings), *_standing_lines(after)])


def dispute(
    key: Key,
    reason: Annotated[str, typer.Option("--reason", help="What is wrong, and how you know.")],
    as_: As,
    feature: Annotated[
        str | None, typer.Option("--feature", help="The feature that is wrong; by default the whole entry.")
    ] = None,
    of: OfOption = "half",
    database: DatabaseOption = None,
) -> None:
    """Dispute an entry: say that it is wrong, and why.

    The entry shows as disputed until a maintainer resolves the dispute or you
    withdraw it.
    """
    with reporting_errors(), acting(database, as_) as writing:
        said = _said(writing, of, key) | {"reason": reason, "feature": feature}
        made = writing.carry_out(DISPUTE, form_of(Dispute, said)).result
    show([plain(f"Dispute {made.key} is open; {key} shows as disputed.")])


def sight(
    key: Key,
    device: Annotated[str, typer.Option("--device", help="The device it was found in.")],
    as_: As,
    board: Annotated[str, typer.Option("--board", help="The board of the device that it is on.")] = "",
    note: Annotated[str, typer.Option("--note", help="Anything others should know.")] = "",
    database: DatabaseOption = None,
) -> None:
    """Say in which device a half was found, so that others with the same device find it."""
    with reporting_errors(), acting(database, as_) as writing:
        said = form_of(Sighting, {"half": key, "device": device, "board": board, "note": note})
        made = writing.carry_out(SIGHT, said).result
    show([plain(f"Sighting {made.key} is saved.")])


def _said(writing: Writing, of: str, key: str) -> dict[str, Any]:
    """The fields of a statement that name the entry and its present revision."""
    with writing.catalogue.reading() as session:
        return {"of": of, "key": key, "revision": get_record(session, of, key).revision}


def _basis(
    values: Sequence[str],
    document: str | None,
    document_revision: str,
    page: str,
    fits: str | None,
    does_not_fit: str | None,
) -> dict[str, Any]:
    given = [
        name
        for name, there in (
            ("VALUE…", bool(values)),
            ("--document", document is not None),
            ("--fits", fits is not None),
            ("--does-not-fit", does_not_fit is not None),
        )
        if there
    ]
    if len(given) != 1:
        raise EntryError(
            "a confirmation has one basis" if given else "a confirmation needs a basis",
            field=" ".join(given) or None,
            remedy="Give measured values, --document, --fits or --does-not-fit; for a second one, confirm again",
        )
    if document is not None:
        citation = {"title": document, "revision": document_revision, "page": page}
        return {"basis": "document", "citation": citation}
    if fits is not None or does_not_fit is not None:
        result = "mates" if fits is not None else "does_not_mate"
        return {"basis": "trial_fit", "mate": fits or does_not_fit, "result": result}
    observed = parse_pieces(values)
    measured = [{name: each[name] for name in ("feature", *NUMBERS) if name in each} for each in observed]
    return {"basis": "measured", "values": measured}


def _standing_lines(assessment: Assessment) -> Iterator[RenderableType]:
    yield plain(f"Standing: {assessment.standing}.")
    for sentence in assessment.why:
        yield indented(sentence, 2)


def _evidence_lines(entry: AnyRecord, assessment: Assessment) -> Iterator[RenderableType]:
    yield plain(f"{entry.content.record} {entry.content.key}, revision {entry.revision} by {entry.author}")
    yield from _standing_lines(assessment)
    for each in assessment.confirmations:
        counts = "" if each.counts else " (does not count)"
        yield plain(f"{each.added_at[:10]} {each.author}, {each.confirmation.basis}: {each.words}{counts}")
    for estimate in assessment.estimates.values():
        yield indented(f"{estimate.feature}: {estimate.explanation}", 2)
    for competing in assessment.competing:
        yield indented(f"{competing.feature}: {competing.explanation}", 2)
    for dispute_ in assessment.disputes:
        yield plain(f"open dispute {dispute_.key} by {dispute_.author}: {dispute_.dispute.reason}")
    if assessment.sightings:
        yield plain(f"sightings: {assessment.sightings}")
