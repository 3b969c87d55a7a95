"""``otherhalf identify``, ``explain`` and ``features``."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Annotated, Any, NoReturn, TypeVar

import typer

from api.command_line.commands.asking import ask
from api.command_line.commands.common import (
    DatabaseOption,
    ExitCode,
    JsonOption,
    object_of,
    print_json,
    reporting_errors,
    show,
    snapshot_of,
    with_typed,
)
from api.command_line.commands.measure import JawsOption, closed_jaws_of
from api.command_line.output.answers import all_caution_lines, answer_blocks, explanation_blocks
from api.command_line.output.console import plain
from api.command_line.output.lists import feature_blocks, feature_table, triage_blocks
from api.identification.answering import answer, explanation
from api.identification.triage import feature_list
from api.observations.checking import form_of
from api.observations.error_places import moved_errors
from api.observations.short_form import parse_pieces
from api.schemas.answers import Answer
from api.schemas.requests import AskRequest, ExplainRequest, IdentifyRequest
from api.schemas.words import REMAINS_WORDS
from matcher.decision.next_measurement.tools import DEFAULT_AT_HAND
from matcher.features import FEATURES
from matcher.results import Verdict
from matcher.vocabulary import feature_remedy

Asked = TypeVar("Asked", bound=IdentifyRequest)

REMEDY = 'give an object: {"observations": [...]}'
"""Remedy for a file with other content."""

PiecesArgument = Annotated[
    list[str] | None,
    typer.Argument(metavar="[FEATURE=VALUE]…", help="Observations in short form.", show_default=False),
]
FileOption = Annotated[
    str | None,
    typer.Option("--file", "-f", metavar="PATH", help="A specimen as JSON; - reads standard input."),
]
PriorOption = Annotated[
    float | None,
    typer.Option("--prior-absent", help="Prior probability that the half is not in this catalogue. [0.1]"),
]
LimitOption = Annotated[int | None, typer.Option("--limit", help="Most candidates to list. [10]")]
AtHandOption = Annotated[
    str | None,
    typer.Option(
        "--at-hand",
        metavar="NAME,…",
        help=f"Instruments that you have, for advice on the next measurement. \\[{', '.join(DEFAULT_AT_HAND)}]",
    ),
]
RemainsOption = Annotated[
    str | None,
    typer.Option(
        "--remains",
        metavar="WHAT",
        help="What remains of the half: "
        + "; ".join(f"{name} ({words})" for name, words in REMAINS_WORDS.items())
        + ". With one end missing, counts and lengths along the rows count as 'at least'. \\[whole]",
    ),
]
AskOption = Annotated[bool, typer.Option("--ask", help="Ask for one measurement after another, the most useful first.")]
CautionsOption = Annotated[bool, typer.Option("--cautions", help="Print all cautions, not only the short list.")]


def identify(
    pieces: PiecesArgument = None,
    file: FileOption = None,
    prior_absent: PriorOption = None,
    limit: LimitOption = None,
    closed_jaws: JawsOption = None,
    as_json: JsonOption = False,
    all_cautions: CautionsOption = False,
    at_hand: AtHandOption = None,
    remains: RemainsOption = None,
    ask_first: AskOption = False,
    database: DatabaseOption = None,
) -> None:
    """Identify a half from what you see and measure.

    [bold]Short form[/bold], one piece for each observation:

    \b
      contact_count=24                      a count (also pins=24)
      pitch=4.41/11                         over 11 gaps (gaps, not contacts)
      pitch=4.41,4.40,4.42/11               three repeated readings
      body_length=6.52±0.03                 your own limit of error (or +-)
      body_length=0.2565in@caliper          unit, instrument
      pitch=612px/14@unscaled_photo         a picture by hand, without a scale
      pitch=612px/14@unscaled_photo_from_above      straight from above
      pitch=612px/14@unscaled_photo_rectified       rectified since
      height=..0.9  stack_height=0.8..      bounds; also 'height<=0.9', quoted
      other.body_width=2.5                  measured on the other half
      latch_style=none_visible,click_felt   one of these two
      marking=T2  trial_fit=not:KEY         letters; a half that did not mate

    'otherhalf features' lists all features, 'otherhalf features pitch' explains
    one.

    [bold]Examples[/bold]

    \b
      otherhalf identify contact_count=24 pitch=4.41/11 body_length=6.52±0.03
      otherhalf identify --file specimen.json --json
      otherhalf identify --file - height=..0.9 < specimen.json
      otherhalf identify --ask
      otherhalf identify --ask rows=2 --at-hand caliper,usb_microscope
      otherhalf identify --ask --remains bare_board
    """
    with reporting_errors():
        jaws = closed_jaws_of(closed_jaws or [])
    have = None if at_hand is None else [name.strip() for name in at_hand.split(",") if name.strip()]
    options = {"prior_absent": prior_absent, "limit": limit, "closed_jaws": jaws, "at_hand": have, "remains": remains}
    if ask_first:
        if as_json or file == "-":
            raise typer.BadParameter("--ask needs this terminal: leave out --json and --file -")
        _identify_asking(pieces or [], file, options, database)
    request, read = request_of(IdentifyRequest, pieces or [], file, options)
    with reporting_errors(pieces or [], len(request.observations) - read), moved_errors(_given(options)):
        found = answer(snapshot_of(database), request)
    if as_json:
        print_json(found)
    else:
        show(answer_blocks(found))
        show(list(all_caution_lines()) if all_cautions else ())
    raise _exit(found)


def _identify_asking(pieces: list[str], file: str | None, options: dict[str, Any], database: str | None) -> NoReturn:
    request, read = request_of(AskRequest, pieces, file, options)
    with reporting_errors(pieces, len(request.observations) - read), moved_errors(_given(options)):
        found = ask(snapshot_of(database), request, database)
    raise _exit(found)


def _exit(found: Answer | None) -> typer.Exit:
    no_match = found is None or found.verdict is Verdict.NO_MATCH
    return typer.Exit(ExitCode.NO_MATCH if no_match else ExitCode.ANSWERED)


def explain(
    half: Annotated[str, typer.Argument(metavar="KEY", help="Key of the half, from 'otherhalf search' or an answer.")],
    pieces: PiecesArgument = None,
    file: FileOption = None,
    prior_absent: PriorOption = None,
    remains: RemainsOption = None,
    as_json: JsonOption = False,
    database: DatabaseOption = None,
) -> None:
    """Explain the rank of one half: what speaks for it and against it.

    Give the same observations as for 'otherhalf identify'.

    [bold]Example[/bold]

    \b
      otherhalf explain maker:part contact_count=24 pitch=4.41/11
    """
    options = {"prior_absent": prior_absent, "remains": remains, "half": half}
    request, read = request_of(ExplainRequest, pieces or [], file, options)
    with reporting_errors(pieces or [], len(request.observations) - read):
        found = explanation(snapshot_of(database), request)
    if as_json:
        print_json(found)
    else:
        show(explanation_blocks(found))


def features(
    name: Annotated[str | None, typer.Argument(help="The feature to explain in full.", show_default=False)] = None,
    triage: Annotated[
        bool, typer.Option("--triage", help="List connectors that are out of scope, and what to do instead.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """List all features, or explain one: which edges to measure, how, and with which instrument.

    See --triage first: some connectors have no other half.
    """
    if as_json:
        print_json(feature_list())
    elif triage:
        show(triage_blocks())
    elif name is None:
        show(
            [
                feature_table(),
                plain("'otherhalf features NAME' explains one. See 'otherhalf features --triage' first."),
            ]
        )
    elif name in FEATURES:
        show(feature_blocks(FEATURES[name]))
    else:
        show([plain(f"The feature {name!r} is not known: {feature_remedy(name)}")], to_errors=True)
        raise typer.Exit(ExitCode.BAD_INPUT)


def request_of(
    kind: type[Asked],
    pieces: Sequence[str],
    file: str | None,
    options: dict[str, Any],
) -> tuple[Asked, int]:
    """The request, and the number of its observations, at the end, that came from pieces."""
    with reporting_errors():
        typed = parse_pieces(pieces)
        given = object_of(file, REMEDY) if file is not None else {}
    if not typed and file is None and not issubclass(kind, AskRequest):
        raise typer.BadParameter("give observations, as in contact_count=24 pitch=4.41/11, or --file PATH")
    asked, before = with_typed(given, "observations", typed)
    asked |= {name: options[name] for name in _given(options)}
    with reporting_errors(pieces, before), moved_errors(_given(options)):
        return form_of(kind, asked), len(typed)


def _given(options: Mapping[str, object]) -> dict[str, str]:
    """Names on the command line (an option, or KEY) of the request's fields that were given there."""
    names = {name: f"--{name.replace('_', '-')}" for name, value in options.items() if value is not None}
    return names | ({"half": "KEY"} if "half" in names else {})
