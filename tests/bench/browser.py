"""Speed of the pages in a browser, served by a separate process: `python -m tests.bench.browser`.

With the demo catalogue, in Debian's Chromium: the time from requesting a page until its first paint and until it is
loaded, and on the bench the time from the end of a keystroke until the answer is shown. Prints medians and
worst cases in ms, and the bytes transferred in kB; asserts nothing. Our own targets, no source: a first view in under
1 s and an answer within 100 ms.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING, Any

import httpx2
from playwright.sync_api import sync_playwright

from catalog.db.database import open_catalogue
from seeds_demo.loader import load_demo
from tests.browser.conftest import CHROMIUM, FLAGS
from tests.browser.places import LISTED, MEASURED, NEIGHBOUR

if TYPE_CHECKING:
    from playwright.sync_api import Page

PAGES = {
    "bench": "/",
    "bench with an answer": f"/?{MEASURED}",
    "photo": "/photo",
    "half": f"/halves/{LISTED}",
    "series": "/series/ouzelby:mossipet",
    "catalogue": "/catalogue",
    "compare": f"/compare?half={LISTED}&half={NEIGHBOUR}",
    "cases": "/cases",
    "journal": "/journal",
    "add a half": "/contribute/half",
}

PROJECT = Path(__file__).resolve().parents[2]

TYPED = (("contact_count", "24"), ("rows", "2"), ("pitch", "0.401"), ("body_length", "6.63"), ("body_width", "1.99"))

TIMES = """() => {
  const [load] = performance.getEntriesByType("navigation");
  const [paint] = performance.getEntriesByName("first-contentful-paint");
  const all = [load, ...performance.getEntriesByType("resource")];
  return [paint ? paint.startTime : NaN, load.loadEventEnd, all.reduce((sum, each) => sum + each.transferSize, 0)];
}"""
"""First contentful paint (W3C Paint Timing), load, and bytes (W3C Resource Timing), of the page as loaded."""

TIMED = """
window.answered = [];
document.addEventListener("DOMContentLoaded", () => {
  const form = document.getElementById("bench");
  let last = 0;
  form.addEventListener("input", () => { last = performance.now(); }, true);
  new MutationObserver((changes) => {
    const added = changes.flatMap((change) => [...change.addedNodes]);
    const verdict = added.some((node) => node.dataset?.address !== undefined);
    if (last && verdict) requestAnimationFrame(() => { window.answered.push(performance.now() - last); });
  }).observe(form, { childList: true, subtree: true });
});
"""
"""From the last input event until the frame that shows the answer; includes the script's own pause for the next key."""

PATIENCE_S = 120.0


def main(arguments: Sequence[str] | None = None) -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--times", type=int, default=5)
    options = parser.parse_args(arguments)
    with _server() as address, sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=str(CHROMIUM), args=FLAGS)
        print(f"{'page':<22} {'first paint ms':>16} {'loaded ms':>16} {'kB':>6}   median and worst of {options.times}")
        for name, path in PAGES.items():
            _print_page(name, [_load(browser, f"{address}{path}") for _ in range(options.times)])
        print(f"\n{'a field is typed':<22} {'answer ms':>16}   from the last key until the answer is shown")
        found = [_type(browser, address) for _ in range(options.times)]
        for place, (name, _) in enumerate(TYPED):
            times = [run[place] for run in found]
            print(f"{name:<22} {median(times):>8.0f} {max(times):>7.0f}")
        browser.close()


@contextmanager
def _server() -> Iterator[str]:
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{folder}/demo.sqlite3"
        with open_catalogue(url) as catalogue:
            load_demo(catalogue)
        command = [
            sys.executable,
            "-c",
            "from api.command_line.cli import main; main()",
            "serve",
            "--port",
            "8647",
            "--database",
            url,
        ]
        with subprocess.Popen(command, cwd=PROJECT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
            try:
                _warm("http://127.0.0.1:8647", process)
                yield "http://127.0.0.1:8647"
            finally:
                process.terminate()


def _warm(address: str, process: subprocess.Popen[bytes]) -> None:
    """Wait for the first answer: what is computed once for a catalogue does not count as a page's time."""
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until and process.poll() is None:
        try:
            httpx2.get(f"{address}/?{MEASURED}", timeout=PATIENCE_S).raise_for_status()
        except httpx2.TransportError:
            time.sleep(0.1)
        else:
            return
    raise RuntimeError("the server did not start")


def _load(browser: Any, address: str) -> tuple[float, float, float]:
    """Load a page in a fresh context, with nothing cached."""
    page: Page = browser.new_page()
    page.goto(address, wait_until="networkidle")
    paint, loaded, size = page.evaluate(TIMES)
    page.close()
    return paint, loaded, size


def _print_page(name: str, found: Sequence[tuple[float, float, float]]) -> None:
    paints, loads, sizes = zip(*found, strict=True)
    print(
        f"{name:<22} {median(paints):>8.0f} {max(paints):>7.0f} {median(loads):>8.0f} {max(loads):>7.0f}"
        f" {max(sizes) / 1000:>6.0f}"
    )


def _type(browser: Any, address: str) -> list[float]:
    """Type into the fields one after the other; returns the time until the answer for each."""
    page: Page = browser.new_page()
    page.add_init_script(TIMED)
    page.goto(address, wait_until="networkidle")
    times: list[float] = []
    for name, text in TYPED:
        page.locator(f'[name="{name}"]').focus()
        page.evaluate("window.answered = []")
        page.keyboard.type(text)
        until = time.monotonic() + PATIENCE_S
        while not page.evaluate("window.answered.length") and time.monotonic() < until:
            page.wait_for_timeout(10)
        page.wait_for_load_state("networkidle")
        times.append(float(page.evaluate("window.answered.at(-1)")))
    page.close()
    return times


if __name__ == "__main__":
    main()
