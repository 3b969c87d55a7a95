"""Bytes of an exchange file to text: bounded, UTF-8 only, every fault with its place."""

from __future__ import annotations

from pathlib import Path

from catalog.model.errors import FileError

LARGEST_FILE = 64 * 1024 * 1024
"""Bytes. Ten times a catalogue of ten thousand halves given one by one; beyond it, split the file."""

_BOM = "\ufeff"


def read_text(path: Path) -> str:
    """The text of a file without its byte order mark. Raises FileError."""
    data = _bytes(path)
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise FileError("the file is UTF-16", path=str(path), line=1, column=1, remedy="Save it as UTF-8")
    try:
        return data.decode("utf-8").removeprefix(_BOM)
    except UnicodeDecodeError as error:
        before = data[: error.start]
        line_start = before.rfind(b"\n") + 1
        raise FileError(
            f"the byte 0x{data[error.start]:02x} is not UTF-8",
            path=str(path),
            line=before.count(b"\n") + 1,
            column=len(before[line_start:].decode("utf-8").removeprefix(_BOM)) + 1,
            remedy="Save the file as UTF-8",
        ) from error


def _bytes(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            data = file.read(LARGEST_FILE + 1)
    except OSError as error:
        reason = error.strerror or str(error)
        raise FileError(f"cannot be read: {reason}", path=str(path), remedy="Check the path and its rights") from error
    if len(data) > LARGEST_FILE:
        raise FileError(
            f"the file is larger than {LARGEST_FILE // 1024 // 1024} MiB",
            path=str(path),
            remedy="Split it into smaller files",
        )
    return data
