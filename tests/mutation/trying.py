"""Trying mutants: first in forks of a process that has everything imported and collected, then,
those that live through it or need it, in a process that imports the project anew."""

import contextlib
import gc
import importlib
import os
import re
import sys
from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import _pytest.main
import coverage
import pytest

from tests.mutation.forks import Ended, Outcome, in_fork
from tests.mutation.mutants import Mutant
from tests.mutation.plugin import FirstFailure, MutatedModule, module_name
from tests.mutation.reached import Bench, Reached, file_of, is_nearest
from tests.mutation.swapping import (
    NotExecutableError,
    live_functions,
    rebind_constants,
    rebind_texts,
    renew_constants,
    swap_functions,
)

PYTEST = ("-x", "-q", "--tb=short", "-p", "no:cacheprovider")
BASELINE_SECONDS = 3600


class BaselineError(Exception):
    """The tests fail without a mutant, so they can tell nothing about mutants."""


@dataclass(frozen=True, kw_only=True)
class Tried:
    """What became of a mutant. `files` are the test files that reach its function."""

    outcome: Outcome
    test: str = ""
    seconds: float = 0.0
    files: tuple[str, ...] = ()


class SharedDatabase:
    """A database that quick trials share: each rolls back or empties what it writes."""

    def __init__(self, session: pytest.Session) -> None:
        # Imported here, for pytest is to import its plugins itself.
        from pytest_django.plugin import blocking_manager_key  # noqa: PLC0415

        self._unblock = session.config.stash[blocking_manager_key].unblock
        self._is_used = any(map(uses_database, session.items))
        self._opened = contextlib.ExitStack()

    def renew(self) -> None:
        """Another one, after a trial that may have left something."""
        from tests.support.databases import database_of_this_run  # noqa: PLC0415 - has Django

        self.drop()
        with self._unblock():
            if self._is_used:
                self._opened.enter_context(database_of_this_run())

    def drop(self) -> None:
        with self._unblock():
            self._opened.close()

    def make_views(self, statements: str) -> bool:
        """Make the views of a file of SQL anew."""
        if not self._is_used:
            raise RuntimeError("None of the tests opens a database, so none notices a view.")
        from django.db import connection  # noqa: PLC0415 - needs the settings of the run

        names = ", ".join(re.findall(r"CREATE VIEW (\w+)", statements))
        with self._unblock(), connection.cursor() as cursor:
            cursor.execute(f"DROP VIEW IF EXISTS {names} CASCADE")
            cursor.execute(statements)
        connection.close()
        return True

    def use_in_fork(self) -> None:
        """Let the fixture that would make a database take the one that is there. Where there is
        none it makes its own: else a test that asks for one only while it runs would write into
        the database of the site."""
        if self._is_used:
            sys.modules["tests.conftest"].database_of_this_run = contextlib.nullcontext


class QuickTrials:
    """A pytest plugin: instead of running the tests that were collected it tries mutants, each
    in a fork of this process that runs the tests which reach it."""

    def __init__(
        self,
        bench: Bench,
        mutants: Sequence[Mutant],
        tell: Callable[[Mutant, Tried], None],
    ) -> None:
        self.bench = bench
        self.mutants = mutants
        self.tell = tell
        self.python_paths = sorted({m.path for m in mutants if m.path.endswith(".py")})
        self.originals = {
            path: (bench.root / path).read_text() for path in {mutant.path for mutant in mutants}
        }
        self.first = FirstFailure()
        self.kills: defaultdict[tuple[str, str], Counter[str]] = defaultdict(Counter)
        self.imports = self._line_recorder()
        self.executes_twice: dict[str, bool] = {}

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        if session.testsfailed:
            raise BaselineError(f"{self.first.test}: see {self.bench.folder / 'pytest.log'}")
        _warm_up(self.python_paths)
        self.database = SharedDatabase(session)
        self.database.renew()
        at_import = {path: list(lines) for path, lines in self._lines_of(self.imports).items()}
        reached = self._baseline(session, at_import)
        live = {path: live_functions(str(self.bench.root / path)) for path in self.python_paths}
        self.bench.keep(reached)
        gc.collect()
        gc.freeze()  # the collector of a fork must not touch, and so copy, what it shares
        for mutant in self.mutants:
            self.tell(mutant, self._try(session, mutant, reached, live.get(mutant.path, {})))
        self.database.drop()
        return True

    def _line_recorder(self) -> coverage.Coverage:
        """Begins to record which lines run, in the context that is set when they do."""
        recorder = coverage.Coverage(
            data_file=None,
            config_file=False,
            include=[str(self.bench.root / path) for path in self.python_paths],
            concurrency="thread",
        )
        recorder.start()
        return recorder

    def _lines_of(self, recorder: coverage.Coverage) -> dict[str, dict[int, list[str]]]:
        """The contexts by file and line. Ends the recording."""
        recorder.stop()
        data = recorder.get_data()
        return {
            path: data.contexts_by_lineno(str(self.bench.root / path)) for path in self.python_paths
        }

    def _baseline(self, session: pytest.Session, at_import: dict[str, list[int]]) -> Reached:
        def run() -> dict:
            self.database.use_in_fork()
            recorder = self._line_recorder()
            session.config.pluginmanager.register(_ContextOfTest(recorder))
            _run_items(session, session.items)
            return {
                "failed": f"{self.first.test}\n{self.first.text}".strip(),
                "seconds": self.first.seconds,
                "tests": self._lines_of(recorder),
            }

        ended = in_fork(run, self.bench.folder, cpu_seconds=BASELINE_SECONDS)
        if not ended.said or ended.said["failed"]:
            raise BaselineError(
                ended.said.get("failed", f"The run without a mutant died ({ended.code}).")
            )
        tests = {
            path: {int(line): [test for test in tests if test] for line, tests in lines.items()}
            for path, lines in ended.said["tests"].items()
        }
        return Reached(seconds=ended.said["seconds"], tests=tests, at_import=at_import)

    def _try(self, session: pytest.Session, mutant: Mutant, reached: Reached, live: dict) -> Tried:
        of_views = mutant.path.endswith(".sql")
        # Texts of a module without functions are reached by way of those who import them.
        chosen = (not of_views and reached.of(mutant)) or set(
            reached.seconds if mutant.is_text else ()
        )
        files = tuple(sorted({file_of(test) for test in chosen}))
        items = self._in_turn(session, mutant, reached, chosen)
        if not items:
            at_import = reached.runs_at_import(mutant)
            return Tried(outcome=Outcome.NOT_TRIED if at_import else Outcome.SURVIVED)
        most = reached.cpu_limit({item.nodeid for item in items})
        tables = reached.runs_at_import(mutant) and not mutant.is_text
        if tables and mutant.path not in self.executes_twice:
            self.executes_twice[mutant.path] = self._rehearse(session, mutant, items, most)

        def run() -> dict:
            self.database.use_in_fork()
            try:
                if not self._put_in(mutant, live):
                    return {"swapped": False}
            except NotExecutableError as error:
                return {"failed": True, "test": f"start: {error}", "committed": False}
            self.first.limit = lambda test: reached.cpu_limit({test})
            _run_items(session, items)
            ran = [item for item in items if item.nodeid in self.first.seconds]
            return {
                "swapped": True,
                "failed": session.testsfailed,
                "test": self.first.test,
                "committed": any(map(_commits, ran)),
            }

        ended = in_fork(run, self.bench.folder, cpu_seconds=most)
        if ended.said.get("swapped") is False:
            return Tried(outcome=Outcome.NOT_TRIED, files=files)
        tried = _tried(ended, files, final=not reached.runs_at_import(mutant))
        if tried.test:
            self.kills[mutant.path, mutant.function][tried.test] += 1
        # Cut short, with other views, or with jobs in the queue, which nothing empties.
        if of_views or ended.said.get("committed", True):
            self.database.renew()
        return tried

    def _in_turn(
        self, session: pytest.Session, mutant: Mutant, reached: Reached, chosen: Collection[str]
    ) -> list[pytest.Item]:
        """The chosen tests, the likeliest and quickest first, then the others of their modules, as
        many as the time allows: what is made once for a module counts as reached by its first test
        alone. Modules stay together, so that it is made once."""
        kills = self.kills[mutant.path, mutant.function]
        at_line = set(reached.tests.get(mutant.path, {}).get(mutant.line, []))
        files = {file_of(test) for test in chosen}
        ranked = sorted(
            (item for item in session.items if file_of(item.nodeid) in files),
            key=lambda item: (
                _commits(item),  # last, as pytest-django has it
                item.nodeid not in chosen,
                -kills[item.nodeid],
                item.nodeid not in at_line,
                not is_nearest(item.nodeid, mutant.path),
                reached.seconds[item.nodeid],
            ),
        )

        def module(item: pytest.Item) -> tuple[bool, bool, str]:
            return _commits(item), item.nodeid not in chosen, file_of(item.nodeid)

        modules = list(dict.fromkeys(map(module, ranked)))
        ranked.sort(key=lambda item: modules.index(module(item)))
        kept = set(reached.within_time([item.nodeid for item in ranked]))
        return [item for item in ranked if item.nodeid in kept]

    def _rehearse(
        self, session: pytest.Session, mutant: Mutant, items: list[pytest.Item], most: float
    ) -> bool:
        """Whether the tests still pass when the constants of the module were made once more."""

        def run() -> dict:
            self.database.use_in_fork()
            path = str(self.bench.root / mutant.path)
            renew_constants(module_name(mutant.path), path, self.originals[mutant.path])
            _run_items(session, items)
            return {"failed": session.testsfailed}

        self.database.renew()
        ended = in_fork(run, self.bench.folder, cpu_seconds=most)
        self.database.renew()
        return ended.said.get("failed") == 0

    def _put_in(self, mutant: Mutant, live: dict) -> bool:
        path = str(self.bench.root / mutant.path)
        if mutant.path.endswith(".sql"):
            return self.database.make_views(mutant.source)
        original = self.originals[mutant.path]
        if mutant.is_text:
            return rebind_texts(module_name(mutant.path), path, mutant.source)
        if swap_functions(path, original, mutant.source, live):
            return True
        return self.executes_twice.get(mutant.path, False) and rebind_constants(
            module_name(mutant.path), path, original, mutant.source
        )


class _ContextOfTest:
    """Tells coverage which test runs."""

    def __init__(self, recorder: coverage.Coverage) -> None:
        self.recorder = recorder

    @pytest.hookimpl(wrapper=True, tryfirst=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        self.recorder.switch_context(item.nodeid)
        return (yield)


def uses_database(item: pytest.Item) -> bool:
    """By its marker or by way of any fixture, as `program` or `module_rows`."""
    return bool(item.get_closest_marker("django_db")) or "django_db_setup" in _fixtures(item)


def _commits(item: pytest.Item) -> bool:
    marker = item.get_closest_marker("django_db")
    return bool(marker and marker.kwargs.get("transaction")) or any(
        name in _fixtures(item) for name in ("transactional_db", "live_server")
    )


def _fixtures(item: pytest.Item) -> Sequence[str]:
    return getattr(item, "fixturenames", ())


def _run_items(session: pytest.Session, items: list[pytest.Item]) -> None:
    session.items = items
    with contextlib.suppress(session.Failed, session.Interrupted):
        _pytest.main.pytest_runtestloop(session)


def _tried(ended: Ended, files: tuple[str, ...], *, final: bool) -> Tried:
    """`final`: whether a mutant that was not noticed here is noticed nowhere."""
    if not ended.in_time:
        outcome = Outcome.TIMED_OUT
    elif not ended.said:
        outcome = Outcome.CRASHED
    elif ended.said["failed"]:
        outcome = Outcome.KILLED
    else:
        outcome = Outcome.SURVIVED if final else Outcome.NOT_NOTICED
    return Tried(
        outcome=outcome, test=ended.said.get("test", ""), seconds=ended.seconds, files=files
    )


def _warm_up(paths: Sequence[str]) -> None:
    """Import these modules and what tests import at their first request, and leave no connection
    open: forks must not share one."""
    from django.db import connections  # noqa: PLC0415 - needs the settings of the run
    from django.template import engines  # noqa: PLC0415
    from django.urls import get_resolver  # noqa: PLC0415

    for path in paths:
        importlib.import_module(module_name(path))
    engines.all()
    get_resolver().reverse_dict  # noqa: B018 - fills itself when it is looked at
    connections.close_all()


def quick_trials(
    bench: Bench,
    tests: Sequence[str],
    mutants: Sequence[Mutant],
    tell: Callable[[Mutant, Tried], None],
) -> None:
    """Try mutants in forks of a process that has collected `tests`; `tell` is called in that
    process. Raises BaselineError when the tests fail without a mutant."""

    def run() -> dict:
        _log_to(bench.folder / "pytest.log")
        trials = QuickTrials(bench, mutants, tell)
        plugins = [trials.first, trials]
        code = pytest.main([*PYTEST, *tests], plugins=plugins)
        return {"code": int(code), "failed": trials.first.test}

    ended = in_fork(run, bench.folder.parent, cpu_seconds=24 * BASELINE_SECONDS)
    if ended.said.get("code") != 0:
        raise BaselineError(f"{ended.said}: see {bench.folder / 'pytest.log'}")


def slow_trial(bench: Bench, tests: Sequence[str], mutant: Mutant, cpu_seconds: float) -> Tried:
    """Run whole test files in a fork that imports the project anew, with the mutant in it.

    A mutant with which pytest cannot start, or which ends the process, is killed.
    """

    def run() -> dict:
        _log_to(bench.folder / "pytest.log")
        MutatedModule(mutant.path, bench.root, mutant.source).install()
        first = FirstFailure()
        try:
            code = pytest.main([*PYTEST, *tests], plugins=[first])
        except BaseException as error:  # noqa: BLE001 - Django could not start with this module
            return {"failed": True, "test": f"start: {error!r}"}
        sys.stdout.flush()
        return {"failed": code != 0, "test": first.test or f"pytest ended with {int(code)}"}

    ended = in_fork(run, bench.folder, cpu_seconds=cpu_seconds)
    tried = _tried(ended, tuple(tests), final=True)
    if tried.outcome is Outcome.CRASHED:
        return replace(tried, outcome=Outcome.KILLED, test="the process died")
    return tried


def _log_to(path: Path) -> None:
    log = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    os.dup2(log, 1)
    os.dup2(log, 2)
