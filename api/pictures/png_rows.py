"""Of a PNG file, one of its first rows alone, so that no more of it is decoded than is looked at.

Decompressing the noise of a camera takes most of the time of measuring a picture, and a PNG's rows come in order
(W3C PNG, 7.2): what lies below the rows of contacts need not be decompressed. That the file is whole is told by its
chunks' checksums instead, which take a fiftieth of the time.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator

_SIGNATURE = 8
_HEADER = 13
_FRAME = 12
"""Bytes of the file's signature, of a header's data, and of a chunk's length, name and checksum (W3C PNG, 5)."""

_FIRST = struct.pack(">I", _HEADER) + b"IHDR"
"""What a file begins with after its signature: the header's length and name."""

_PLAIN = frozenset((b"IHDR", b"PLTE", b"IDAT", b"IEND", b"gAMA", b"cHRM", b"sRGB", b"iCCP", b"pHYs", b"sBIT", b"tIME"))
"""Chunks of a picture that is neither turned (as text or EXIF may say) nor transparent nor moving."""

_OPAQUE = frozenset((0, 2, 3))
"""Colour types without alpha: grey, colour, palette."""


def first_rows(data: bytes, rows: int) -> bytes | None:
    """The PNG file with its first ``rows`` rows alone; None where it is not plain: then it must be decoded whole.

    Raises ValueError where the file breaks off or a checksum is wrong.
    """
    names = list(_chunks(data))
    if data[_SIGNATURE : _SIGNATURE + 8] != _FIRST or names.count(b"IHDR") != 1:
        return None
    width, height, depth, colour, compression, filtering, interlaced = struct.unpack_from(
        ">IIBBBBB", data, _SIGNATURE + 8
    )
    if not _PLAIN.issuperset(names) or colour not in _OPAQUE or interlaced:
        return None
    fewer = b"IHDR" + struct.pack(
        ">IIBBBBB", width, min(rows, height), depth, colour, compression, filtering, interlaced
    )
    rest = memoryview(data)[_SIGNATURE + _FRAME + _HEADER :]
    return b"".join((data[: _SIGNATURE + 4], fewer, struct.pack(">I", zlib.crc32(fewer)), rest))


def _chunks(data: bytes) -> Iterator[bytes]:
    """Names of the chunks in order, each chunk's checksum checked."""
    view, place = memoryview(data), _SIGNATURE
    while place + _FRAME <= len(data):
        (length,) = struct.unpack_from(">I", data, place)
        end = place + _FRAME + length
        if end > len(data):
            break
        name = data[place + 4 : place + 8]
        if struct.unpack_from(">I", data, end - 4) != (zlib.crc32(view[place + 4 : end - 4]),):
            raise ValueError(f"wrong checksum of {name!r} at byte {place}")
        yield name
        if name == b"IEND":
            return
        place = end
    raise ValueError("the file ends before its last chunk")
