"""``otherhalf features``."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from api.command_line.commands.common import ExitCode, JsonOption, show
from api.command_line.output.console import plain
from api.command_line.output.lists import feature_blocks, feature_table, triage_blocks
from api.rest.reference import list_features
from api.schemas.refusals import feature_remedy
from matcher.features import FEATURES


def features(
    name: Annotated[
        str | None, typer.Argument(help="One feature, to be explained in full.", show_default=False)
    ] = None,
    triage: Annotated[bool, typer.Option("--triage", help="What is out of scope, and what to do instead.")] = False,
    as_json: JsonOption = False,
) -> None:
    """List what can be observed, or explain one feature: which edge, how, and with what.

    Look at --triage first: some connectors have no other half.
    """
    if as_json:
        sys.stdout.write(list_features().model_dump_json(indent=2) + "\n")
    elif triage:
        show(triage_blocks())
    elif name is None:
        show(
            [
                feature_table(),
                plain("'otherhalf features NAME' explains one; 'otherhalf features --triage' comes first."),
            ]
        )
    elif name in FEATURES:
        show(feature_blocks(FEATURES[name]))
    else:
        show([plain(f"The feature {name!r} is not known: {feature_remedy(name)}")], to_errors=True)
        raise typer.Exit(ExitCode.BAD_INPUT)
