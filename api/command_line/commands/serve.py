"""``otherhalf serve``."""

from __future__ import annotations

import os
from typing import Annotated

import typer
import uvicorn

from api.command_line.commands.common import DatabaseOption, opened, reporting_errors, show
from api.command_line.output.console import plain
from api.command_line.output.records import first_steps
from api.service.logs import server_logs
from catalog.accounts.contributors import nobody_yet
from catalog.db.database import DATABASE_VARIABLE, default_url

DEFAULT_PORT = 8642


def serve(
    host: Annotated[str, typer.Option("--host", help="Address to listen on; 0.0.0.0 for the whole network.")] = (
        "127.0.0.1"
    ),
    port: Annotated[int, typer.Option("--port", min=0, max=65535, help="Port; 0 chooses a free one.")] = DEFAULT_PORT,
    workers: Annotated[int, typer.Option("--workers", min=1, max=64, help="Number of server processes.")] = 1,
    database: DatabaseOption = None,
) -> None:
    """Serve the web pages and the JSON interface. /docs describes the interface.

    [bold]Example[/bold]

    \b
      otherhalf serve --port 8642
    """
    with reporting_errors(), opened(database) as catalogue:
        show([plain(f"catalogue: {catalogue.where}")], to_errors=True)
        with catalogue.reading() as session:
            nobody = nobody_yet(session)
        if nobody:
            show(first_steps(catalogue.where if database else None), to_errors=True)
    # Worker processes are started anew and learn the catalogue's address from the environment.
    os.environ[DATABASE_VARIABLE] = database or default_url()
    factory = "api.app:app_from_environment"
    uvicorn.run(factory, factory=True, host=host, port=port, workers=workers, log_config=server_logs())
