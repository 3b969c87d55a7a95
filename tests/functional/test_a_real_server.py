"""Journeys through a real server process: start, ask with the client, send bad input, ask again, stop."""

from __future__ import annotations

import json
import re
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import httpx2
import pytest

from api.client import Client, ProblemError
from seeds_demo.loader import demo_specimens
from tests import catalogues

PROJECT = Path(__file__).resolve().parents[2]
START_S = 60
COMMAND = [sys.executable, "-c", "from api.command_line.cli import main; main()"]


@pytest.fixture(scope="module")
def database(tmp_path_factory: pytest.TempPathFactory) -> str:
    return catalogues.placed(tmp_path_factory.mktemp("served") / "demo.sqlite3", catalogues.demo())


@pytest.fixture(scope="module")
def address(database: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Address of a server process that runs during the tests of this module."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [*COMMAND, "serve", "--port", str(port), "--database", database]
    log = tmp_path_factory.mktemp("log") / "server.log"
    with log.open("w") as stream, subprocess.Popen(command, cwd=PROJECT, stdout=stream, stderr=stream) as process:
        try:
            wait_for(f"http://127.0.0.1:{port}", process, log)
            yield f"http://127.0.0.1:{port}"
        finally:
            process.send_signal(signal.SIGINT)
            assert process.wait(timeout=START_S) == 0


def wait_for(address: str, process: subprocess.Popen[bytes], log: Path) -> None:
    deadline = time.monotonic() + START_S
    while time.monotonic() < deadline and process.poll() is None:
        try:
            httpx2.get(f"{address}/health", timeout=5).raise_for_status()
        except httpx2.TransportError:
            time.sleep(0.1)
        else:
            return
    raise AssertionError(f"no server: {log.read_text()}")


def test_a_script_identifies_a_specimen_and_finds_its_mate(address: str) -> None:
    specimen = demo_specimens()[0]
    with Client(address) as client:
        answer = client.identify([dict(given) for given in specimen.observations])
        first = answer.candidates[0]
        assert first.half.id == specimen.expected.half
        mate = client.half(first.mates[0].id)
        assert mate.half.part_number == first.mates[0].part_number
        assert any(record.id == first.mates[0].mating for record in client.matings(half=first.half.id))


def test_the_server_refuses_bad_input_and_answers_the_next_request(address: str) -> None:
    with Client(address) as client, httpx2.Client(base_url=address, timeout=60) as http:
        json_type = {"Content-Type": "application/json"}
        for content in (b"{", b"[" * 500_000, b"\xff\xfe", b'{"observations": [{"feature": "pitch", "value": NaN}]}'):
            assert http.post("/v1/identify", content=content, headers=json_type).status_code in (400, 422)
        many = {"observations": [{"feature": "contact_count", "value": 24}] * 10_000}
        assert http.post("/v1/identify", json=many).status_code == 422
        with pytest.raises(ProblemError):
            client.identify([])
        assert client.identify(["contact_count=24"]).candidates


def test_a_body_of_50_mb_is_refused_early_by_a_real_server(address: str) -> None:
    host, port = address.removeprefix("http://").split(":")
    with socket.create_connection((host, int(port)), timeout=30) as connection:
        head = f"POST /v1/identify HTTP/1.1\r\nHost: {host}\r\nContent-Type: application/json\r\n"
        connection.sendall(f"{head}Content-Length: 50000000\r\n\r\n".encode())
        answer = connection.recv(65536).decode()
    assert answer.startswith("HTTP/1.1 413")
    assert "application/problem+json" in answer
    assert httpx2.get(f"{address}/health").status_code == 200


def test_an_endless_stream_is_refused_by_a_real_server(address: str) -> None:
    host, port = address.removeprefix("http://").split(":")
    with socket.create_connection((host, int(port)), timeout=30) as connection:
        head = f"POST /v1/identify HTTP/1.1\r\nHost: {host}\r\nContent-Type: application/json\r\n"
        connection.sendall(f"{head}Transfer-Encoding: chunked\r\n\r\n".encode())
        chunk = b"10000\r\n" + b"x" * 0x10000 + b"\r\n"
        try:
            for _ in range(20):
                connection.sendall(chunk)
        except OSError:
            pytest.fail("the connection was cut before the refusal could be read")
        answer = connection.recv(65536).decode()
    assert answer.startswith("HTTP/1.1 413")


def test_many_simultaneous_requests_each_get_their_own_answer(address: str) -> None:
    answers: dict[int, int | str] = {}

    def ask(contacts: int) -> None:
        with Client(address, timeout_s=120) as client:
            answers[contacts] = client.identify([f"contact_count={contacts}"]).candidates[0].half.contact_count

    threads = [threading.Thread(target=ask, args=(contacts,)) for contacts in (10, 20, 24, 30, 40, 50, 60, 80)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert answers == {contacts: contacts for contacts in answers}
    assert len(answers) == len(threads)


def test_entries_imported_while_the_server_runs_are_found_at_once(address: str, database: str, tmp_path: Path) -> None:
    file = tmp_path / "new.jsonl"
    half = {
        "record": "half",
        "maker": "Ouzelby",
        "series": "Lateling",
        "part_number": "LATELING-P93",
        "rows": 1,
        "contact_count": 93,
        "half_kind": "plug",
        "dimensions": {"pitch": {"value": 1.37}, "body_length": {"value": 131.1}},
    }
    file.write_text(json.dumps(half), encoding="utf-8")
    with Client(address) as client:
        before = client.health().catalogue_version
        command = [*COMMAND, "import", str(file), "--database", database]
        subprocess.run(command, cwd=PROJECT, check=True, capture_output=True)
        assert client.health().catalogue_version == before + 1
        answer = client.identify(["contact_count=93", "rows=1", "pitch=1.37", "body_length=131.1"])
        assert answer.catalogue_version == before + 1
        assert answer.candidates[0].half.part_number == "LATELING-P93"


def test_the_demo_runs_in_its_own_process_and_names_mates() -> None:
    done = subprocess.run(
        [*COMMAND, "demo"], cwd=PROJECT, capture_output=True, text=True, check=True, env={"COLUMNS": "80"}
    )
    for specimen in demo_specimens():
        assert specimen.title in done.stdout
    assert done.stderr == ""
    assert re.search(r"not in this catalogue: +[<>]?[\d.]+ %", done.stdout)
    assert "mate to order" in done.stdout
    assert "In short" in done.stdout
