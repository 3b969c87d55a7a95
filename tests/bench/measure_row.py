"""Time of finding rows in pictures of 12 million pixels: `python -m tests.bench.measure_row`.

Whole requests to the app in this process (body read, picture decoded, profile, rows found, answer written), bare and
as base64 in JSON, for PNG and JPEG, grey and colour; and decoding alone beside it. Prints p50 and p99 in milliseconds
and the size of the body; asserts nothing.
"""

from __future__ import annotations

import argparse
import base64
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image
from starlette.testclient import TestClient

from api.app import create_app
from api.pictures import read_picture
from api.settings import Settings
from tests.api.photographed import Rows, encoded, photographed

ROWS = Rows(
    pitch=140.0, count=24, first=380.0, heights=(900.0, 1900.0), shifts=(0.0, 0.0), size=(4000, 3000), noise=4.0
)
"""Two rows of 24 contacts across 12 million pixels, with the noise of a camera."""

PATH = "/v1/measure/row"


@dataclass(frozen=True, kw_only=True)
class Case:
    """One picture as it is sent."""

    name: str
    data: bytes
    media_type: str


def main(arguments: Sequence[str] | None = None) -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--requests", type=int, default=100)
    options = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'empty.sqlite3'}"
        with TestClient(create_app(Settings(database_url=url))) as server:
            for case in cases():
                table(case, server, options.requests)


def cases() -> Iterator[Case]:
    """The picture as a camera, a scanner and a microscope would write it."""
    grey = Image.fromarray(photographed(ROWS))
    noise = np.random.default_rng(1).normal(0.0, 4.0, (*grey.size[::-1], 3))
    colour = Image.fromarray(np.clip(np.asarray(grey)[..., None] + noise, 0, 255).astype(np.uint8))
    yield Case(name="JPEG, colour", data=encoded(colour, "JPEG", quality=92), media_type="image/jpeg")
    yield Case(
        name="JPEG, progressive", data=encoded(colour, "JPEG", quality=92, progressive=True), media_type="image/jpeg"
    )
    yield Case(name="PNG, grey", data=encoded(grey), media_type="image/png")
    yield Case(name="PNG, colour", data=encoded(colour, compress_level=3), media_type="image/png")


def table(case: Case, server: TestClient, requests: int) -> None:
    """One picture: decoding alone, the bare picture, and JSON."""
    lines = [",".join(f"{each:.1f}" for each in line) for line in ROWS.lines]
    body = {
        "image": {"media_type": case.media_type, "data": base64.b64encode(case.data).decode()},
        "lines": ROWS.lines,
    }
    headers = {"Content-Type": case.media_type}
    ways: dict[str, Callable[[], Any]] = {
        "decoding": lambda: read_picture(case.data, field="body"),
        "bare": lambda: checked(server.post(PATH, content=case.data, headers=headers, params={"line": lines})),
        "JSON": lambda: checked(server.post(PATH, json=body)),
    }
    print(f"\n{case.name}, {len(case.data) / 1e6:.1f} MB")
    for way, answer in ways.items():
        p50, p99 = np.quantile(timed(answer, requests), [0.5, 0.99])
        print(f"{way:10} p50 {p50 * 1e3:7.1f} ms   p99 {p99 * 1e3:7.1f} ms")


def checked(response: Any) -> None:
    """A time counts for a right answer only."""
    counts = [row["count"] for row in response.raise_for_status().json()["rows"]]
    if counts != [ROWS.count] * len(ROWS.heights):
        raise ValueError(f"{counts} contacts were counted")


def timed(answer: Callable[[], Any], times: int) -> list[float]:
    """Seconds of each, after one to warm up."""
    answer()
    seconds = []
    for _ in range(times):
        started = time.perf_counter()
        answer()
        seconds.append(time.perf_counter() - started)
    return seconds


if __name__ == "__main__":
    main()
