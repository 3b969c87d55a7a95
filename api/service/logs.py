"""Logs without secrets: tokens are masked before a line is written, in addresses and tracebacks too."""

from __future__ import annotations

import copy
import logging
from collections.abc import Mapping
from typing import Any

from uvicorn.config import LOGGING_CONFIG

from catalog.accounts.token_format import masked


class TokenMask(logging.Filter):
    """Masks tokens in a record's message, arguments and traceback; lets every record pass."""

    def filter(self, record: logging.LogRecord) -> bool:
        """Mask, and keep the record."""
        record.msg = _masked(record.msg)
        if isinstance(record.args, tuple):
            record.args = tuple(_masked(each) for each in record.args)
        elif isinstance(record.args, Mapping):
            record.args = {name: _masked(each) for name, each in record.args.items()}
        if record.exc_info and record.exc_text is None:
            record.exc_text = masked(logging.Formatter().formatException(record.exc_info))
        return True


def logger() -> logging.Logger:
    """The interface's own log."""
    named = logging.getLogger("otherhalf.api")
    if not any(isinstance(each, TokenMask) for each in named.filters):
        named.addFilter(TokenMask())
    return named


def server_logs() -> dict[str, Any]:
    """The server's usual logging configuration, with tokens masked: the access log contains whole addresses."""
    chosen = copy.deepcopy(LOGGING_CONFIG)
    chosen["filters"] = {"tokens": {"()": f"{__name__}.{TokenMask.__name__}"}}
    for handler in chosen["handlers"].values():
        handler["filters"] = ["tokens"]
    return chosen


def _masked(value: object) -> object:
    # Numbers stay numbers: a format string may need them.
    return masked(str(value)) if isinstance(value, str | Exception) else value
