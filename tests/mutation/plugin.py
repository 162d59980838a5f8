"""What a test run does differently while mutants are tried."""

import importlib.util
import signal
import sys
import time
from collections.abc import Callable, Iterator
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec, SourceFileLoader
from pathlib import Path
from types import CodeType

import pytest


def module_name(path: str) -> str:
    """`surveys/trends/__init__.py` → `surveys.trends`."""
    parts = Path(path).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


class MutatedModule(MetaPathFinder, SourceFileLoader):
    """Imports one module from `source` instead of its file, which stays as it is."""

    def __init__(self, path: str, root: Path, source: str) -> None:
        SourceFileLoader.__init__(self, module_name(path), str(root / path))
        self.source = source

    def install(self) -> None:
        if self.name in sys.modules:
            raise RuntimeError(f"{self.name} is imported already: the mutant would not be tried.")
        sys.meta_path.insert(0, self)

    def find_spec(self, fullname: str, path: object, target: object = None) -> ModuleSpec | None:
        if fullname != self.name:
            return None
        return importlib.util.spec_from_file_location(fullname, self.path, loader=self)

    def get_code(self, fullname: str) -> CodeType:
        return compile(self.source, self.path, "exec", dont_inherit=True)


class FirstFailure:
    """Remembers which test noticed the mutant, and how many CPU seconds each test took. With
    `limit` the process ends with SIGPROF when a test takes more."""

    def __init__(self) -> None:
        self.limit: Callable[[str], float] | None = None
        self.test = self.text = ""
        self.seconds: dict[str, float] = {}

    def pytest_configure(self, config: pytest.Config) -> None:
        # Imported here, for pytest is to import its plugins itself.
        from hypothesis import Phase, settings  # noqa: PLC0415

        # A counterexample is enough; nobody reads it, so none is cut down.
        settings.register_profile("mutants", phases=(Phase.explicit, Phase.generate))
        settings.load_profile("mutants")

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        begun = time.process_time()
        if self.limit is not None:
            signal.setitimer(signal.ITIMER_PROF, self.limit(item.nodeid))
        try:
            return (yield)
        finally:
            self.seconds[item.nodeid] = time.process_time() - begun

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed and not self.test:
            self.test = report.nodeid
            self.text = report.longreprtext

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        if report.failed and not self.test:
            self.test = f"{report.nodeid or 'start'} (not collected)"
