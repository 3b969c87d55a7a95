"""Time of finding rows in pictures of 12 million pixels: `python -m tests.bench.measure_row`.

Complete requests to the app in this process (body read, picture decoded, profile, rows found, answer written), bare and
as base64 in JSON (encoded before timing), for PNG and JPEG, grey and colour; and decoding the whole picture
alone, of which a request needs less where the rows lie higher up. Prints p50 and p99 in milliseconds
and the size of the body; asserts nothing.
"""

from __future__ import annotations

import argparse
import base64
import json
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image
from scipy.ndimage import convolve
from starlette.testclient import TestClient

from api.app import create_app
from api.pictures.decoding import read_picture
from api.service.settings import Settings
from tests.api.web.photographed import Rows, encoded, photographed

ROWS = Rows(
    pitch=140.0, count=24, first=380.0, heights=(900.0, 1900.0), shifts=(0.0, 0.0), size=(4000, 3000), noise=4.0
)
"""Two rows of 24 contacts across 12 million pixels, with the noise of a camera."""

SENSOR_NOISE = 4.0
"""Noise of one pixel of a sensor, levels of 8 bits: a good deal, as under a lamp in the evening. From memory."""

NEAR = np.array([[1.0, 2.0, 1.0], [2.0, 4.0, 2.0], [1.0, 2.0, 1.0]])
"""Weights of bilinear interpolation between pixels of one colour."""

TINT = (1.0, 0.93, 0.8)
"""Red, green, blue: lamp light."""

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
    """The picture as saved by a camera, a scanner and a microscope, and the worst case."""
    yield Case(name="PNG, colour, as of a camera", data=encoded(photograph()), media_type="image/png")
    grey = Image.fromarray(photographed(ROWS))
    noise = np.random.default_rng(1).normal(0.0, 4.0, (*grey.size[::-1], 3))
    colour = Image.fromarray(np.clip(np.asarray(grey)[..., None] + noise, 0, 255).astype(np.uint8))
    yield Case(name="JPEG, colour", data=encoded(colour, "JPEG", quality=92), media_type="image/jpeg")
    yield Case(
        name="JPEG, progressive", data=encoded(colour, "JPEG", quality=92, progressive=True), media_type="image/jpeg"
    )
    yield Case(name="PNG, grey", data=encoded(grey), media_type="image/png")
    name = "PNG, colour, each channel with noise of its own on every pixel: hardly to be compressed"
    yield Case(name=name, data=encoded(colour, compress_level=3), media_type="image/png")


def photograph() -> Image.Image:
    """The rows as a camera records them in colour: each pixel has one filter of the Bayer
    pattern, noise of that pixel, and the other two colours interpolated from its neighbours (bilinear)."""
    levels = photographed(replace(ROWS, noise=0.0)).astype(np.float64)
    rows, columns = np.indices(levels.shape) % 2
    seen = levels + np.random.default_rng(2).normal(0.0, SENSOR_NOISE, levels.shape)
    masks = (rows & columns, rows ^ columns, (1 - rows) & (1 - columns))
    channels = [convolve(seen * mask, NEAR) / convolve(mask.astype(np.float64), NEAR) for mask in masks]
    coloured = np.stack(channels, axis=-1) * TINT
    return Image.fromarray(coloured.round().clip(0, 255).astype(np.uint8))


def table(case: Case, server: TestClient, requests: int) -> None:
    """One picture: decoding alone, the bare picture, and JSON."""
    lines = [",".join(f"{each:.1f}" for each in line) for line in ROWS.lines]
    image = {"media_type": case.media_type, "data": base64.b64encode(case.data).decode()}
    body = json.dumps({"image": image, "lines": ROWS.lines})
    headers = {"Content-Type": case.media_type}
    ways: dict[str, Callable[[], Any]] = {
        "decoding": lambda: read_picture(case.data, field="body"),
        "bare": lambda: checked(server.post(PATH, content=case.data, headers=headers, params={"line": lines})),
        "JSON": lambda: checked(server.post(PATH, content=body, headers={"Content-Type": "application/json"})),
    }
    print(f"\n{case.name}, {len(case.data) / 1e6:.1f} MB")
    for way, answer in ways.items():
        p50, p99 = np.quantile(timed(answer, requests), [0.5, 0.99])
        print(f"{way:10} p50 {p50 * 1e3:7.1f} ms   p99 {p99 * 1e3:7.1f} ms")


def checked(response: Any) -> None:
    """Check that the answer is right; otherwise its time would not count."""
    counts = [row["count"] for row in response.raise_for_status().json()["rows"]]
    if counts != [ROWS.count] * len(ROWS.heights):
        raise ValueError(f"{counts} contacts were counted")


def timed(answer: Callable[[], Any], times: int) -> list[float]:
    """Seconds of each call, after one to warm up."""
    answer()
    seconds = []
    for _ in range(times):
        started = time.perf_counter()
        answer()
        seconds.append(time.perf_counter() - started)
    return seconds


if __name__ == "__main__":
    main()
