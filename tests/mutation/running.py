"""Runs tests against the mutants of modules, in processes forked after everything was loaded and collected."""

from __future__ import annotations

import ast
import gc
import json
import os
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import CodeType, FrameType, FunctionType
from typing import Any

import pytest

from tests.mutation.mutants import Mutant, mutants

COPIED = ("api", "catalog", "matcher", "seeds_demo", "tests", "pyproject.toml", "README.md", "DEVELOPERS.md")
ALLOWED_S = 20.0
"""Seconds added to five times the usual time of a mutant's tests: for starting, and for defects that only slow down."""

SURVIVED, KILLED, NOT_PUT_IN = 0, 1, 2


@dataclass(frozen=True)
class Covering:
    """The time a test took, and the lines it ran in each file of the modules."""

    seconds: float
    lines: dict[str, frozenset[int]]


@dataclass
class Campaign:
    """A pytest plugin that replaces the test run: first all tests once, recording their lines, then the mutants."""

    project: Path
    modules: Sequence[Path]
    folder: Path
    seconds: float
    chosen: Callable[[Mutant], bool]
    survived: int = 0
    failed: bool = field(default=False, init=False)
    _loaded: dict[Path, dict[tuple[str, int], list[FunctionType]]] = field(default_factory=dict, init=False)

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Remember that a test failed."""
        self.failed = self.failed or report.failed

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """The whole campaign."""
        covering = self._covering(session.items)
        print(f"\n{len(covering)} of {len(session.items)} tests pass and enter the modules", flush=True)
        for module in self.modules:
            self._module(module, session.items, covering)
        return True

    def _module(self, module: Path, items: Sequence[pytest.Item], covering: dict[int, Covering]) -> None:
        source, file = module.read_text(), str(module)
        all_mutants = [mutant for mutant in mutants(source) if self.chosen(mutant)]
        killed, survivors = 0, []
        for mutant in all_mutants:
            tests = self._tests(mutant, file, source, covering)
            if not tests or not self._is_killed(mutant, module, source, [items[i] for i in tests], covering, tests):
                entered = "" if tests else "   (no test enters it)"
                survivors.append(mutant)
                print(f"{module.relative_to(self.project)}:{mutant}{entered}", flush=True)
            else:
                killed += 1
        self.survived += len(survivors)
        print(f"{module.relative_to(self.project)}: {killed} of {len(all_mutants)} mutants noticed", flush=True)

    def _tests(self, mutant: Mutant, file: str, source: str, covering: dict[int, Covering]) -> list[int]:
        """Tests that enter the mutant's function: first those that run its line, then by speed."""
        inside = _lines_of(source, mutant)
        entering = {i: each for i, each in covering.items() if each.lines.get(file, frozenset()) & inside}
        if mutant.function is None and not entering:
            entering = covering
        order = sorted(
            entering, key=lambda i: (mutant.line not in entering[i].lines.get(file, ()), entering[i].seconds)
        )
        total, taken = 0.0, []
        for i in order:
            total += entering[i].seconds
            if taken and total > self.seconds:
                break
            taken.append(i)
        return taken

    def _is_killed(
        self,
        mutant: Mutant,
        module: Path,
        source: str,
        items: Sequence[pytest.Item],
        covering: dict[int, Covering],
        tests: Sequence[int],
    ) -> bool:
        allowed = ALLOWED_S + 5 * sum(covering[i].seconds for i in tests)
        code = compile(mutant.tree(source), str(module), "exec")
        if mutant.function is not None:
            loaded = self._loaded.setdefault(module, _functions(module))

            def work() -> int:
                if mutant.function is None or not _put_in(code, mutant.function, loaded.get(mutant.function, [])):
                    return NOT_PUT_IN
                return KILLED if self._any_fails(items) else SURVIVED

            status = _forked(work, allowed)
            if status != NOT_PUT_IN:
                return status != SURVIVED
        return self._fails_in_copy(mutant, module, source, items, allowed)

    def _any_fails(self, items: Sequence[pytest.Item]) -> bool:
        for number in range(len(items)):
            self._run(items, number)
            if self.failed:
                return True
        return False

    def _run(self, items: Sequence[pytest.Item], number: int) -> None:
        following = items[number + 1] if number + 1 < len(items) else None
        items[number].config.hook.pytest_runtest_protocol(item=items[number], nextitem=following)

    def _fails_in_copy(
        self, mutant: Mutant, module: Path, source: str, items: Sequence[pytest.Item], allowed: float
    ) -> bool:
        copy = self.folder / "copy"
        if not copy.exists():
            copy.mkdir()
            for name in COPIED:
                whole = self.project / name
                (shutil.copytree if whole.is_dir() else shutil.copy2)(whole, copy / name)
        changed = copy / module.relative_to(self.project)
        changed.write_text(ast.unparse(mutant.tree(source)))
        for stale in (changed.parent / "__pycache__").glob(f"{changed.stem}.*"):
            stale.unlink()
        listed = self.folder / "listed"
        listed.write_text("\n".join(item.nodeid for item in items))
        command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", "-p", "no:xdist"]
        command += ["-o", "addopts=--import-mode=importlib", f"--basetemp={self.folder}/copied", f"@{listed}"]
        environment = os.environ | {"PYTHONPATH": str(copy), "PYTHONDONTWRITEBYTECODE": "1"}
        quiet = subprocess.DEVNULL
        try:
            done = subprocess.run(
                command, cwd=copy, env=environment, stdout=quiet, stderr=quiet, timeout=allowed, check=False
            )
        except subprocess.TimeoutExpired:
            return True
        finally:
            changed.write_text(source)
        return done.returncode != 0

    def _covering(self, items: Sequence[pytest.Item]) -> dict[int, Covering]:
        """The lines of the modules that each passing test runs."""
        file = self.folder / "covering.jsonl"

        def work() -> int:
            tracer = Tracer(self.modules)
            tracer.start()
            with file.open("w") as stream:
                for number, item in enumerate(items):
                    self.failed = False
                    began = time.perf_counter()
                    self._run(items, number)
                    took, lines = time.perf_counter() - began, tracer.taken()
                    if self.failed:
                        print(f"fails without any change: {item.nodeid}", file=sys.stderr)
                    elif lines:
                        print(json.dumps([number, took, lines]), file=stream, flush=True)
            return 0

        _forked(work, 3600.0)
        rows = [json.loads(line) for line in file.read_text().splitlines()]
        return {
            number: Covering(took, {name: frozenset(own) for name, own in run.items()}) for number, took, run in rows
        }


def _lines_of(source: str, mutant: Mutant) -> frozenset[int]:
    """Lines of the body of the mutant's function, or of the whole module."""
    for code in _codes(compile(source, "", "exec")):
        if mutant.function == (code.co_qualname, code.co_firstlineno):
            inner = [code, *_codes(code)]
            return frozenset(line for each in inner for *_, line in each.co_lines() if line) - {code.co_firstlineno}
    return frozenset(range(1, source.count("\n") + 2))


def _codes(code: CodeType) -> Iterator[CodeType]:
    for constant in code.co_consts:
        if isinstance(constant, CodeType):
            yield constant
            yield from _codes(constant)


def _functions(file: Path) -> dict[tuple[str, int], list[FunctionType]]:
    """The loaded functions of a module by name and first line, with decorators removed."""
    found: dict[tuple[str, int], list[FunctionType]] = {}
    for each in gc.get_objects():
        if isinstance(each, FunctionType) and each.__code__.co_filename == str(file):
            found.setdefault((each.__code__.co_qualname, each.__code__.co_firstlineno), []).append(each)
    return found


def _put_in(module: CodeType, name: tuple[str, int], loaded: Sequence[FunctionType]) -> bool:
    """Give a loaded function its changed code; False if that is not possible."""
    (changed,) = [code for code in _codes(module) if (code.co_qualname, code.co_firstlineno) == name]
    for function in loaded:
        if len(function.__code__.co_freevars) != len(changed.co_freevars):
            return False
        function.__code__ = changed
    return bool(loaded)


class Tracer:
    """Records which lines of some files are run, in all threads started since."""

    def __init__(self, files: Sequence[Path]) -> None:
        self.lines: dict[str, set[int]] = {str(file): set() for file in files}

    def start(self) -> None:
        """Start recording."""
        threading.settrace(self._called)
        sys.settrace(self._called)

    def taken(self) -> dict[str, list[int]]:
        """The lines run since the last call, by file."""
        taken = {file: sorted(lines) for file, lines in self.lines.items() if lines}
        for lines in self.lines.values():
            lines.clear()
        return taken

    def _called(self, frame: FrameType, event: str, argument: Any) -> Any:
        lines = self.lines.get(frame.f_code.co_filename)
        if lines is None or frame.f_code.co_name == "<module>":
            return None

        def ran(inner: FrameType, event: str, argument: Any) -> Any:
            lines.add(inner.f_lineno)
            return ran

        return ran


def _forked(work: Callable[[], int], allowed: float) -> int:
    """The exit status of ``work`` in a forked process, or of the signal that ended it after ``allowed`` seconds."""
    sys.stdout.flush()
    child = os.fork()
    if child == 0:
        os.setpgid(0, 0)
        quiet = os.open(os.devnull, os.O_WRONLY)
        os.dup2(quiet, 1)
        status = KILLED  # also if the run itself raises an error
        try:
            status = work()
        finally:
            os._exit(status)
    ends = time.monotonic() + allowed
    while time.monotonic() < ends:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.02)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return -signal.SIGKILL
