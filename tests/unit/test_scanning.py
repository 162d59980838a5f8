"""Every file that somebody sends is shown to the virus scanner, where the site has one."""

import io
import os
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path

import pytest

from surveys import bounded, scanning
from surveys.scanning import InfectedError, ScannerAwayError
from tests.support.bounded_work import backwards
from tests.support.virus_scanner import FOUND, MARK, scanned_by, scanner

LIMITS = bounded.Limits(seconds=20, cpu_seconds=10, memory_bytes=256 * 1024**2)
# Longer than what goes over the wire at once.
LONG = os.urandom(300_000)
CLAMD = shutil.which("clamd", path=f"{os.environ['PATH']}:/usr/sbin:{os.environ.get('CLAMD', '')}")


def check(content: bytes) -> None:
    scanning.check(io.BytesIO(content))


def test_a_clean_file_is_taken_and_another_is_not(tmp_path):
    check(MARK)  # without a scanner nothing is asked
    with scanner(tmp_path):
        check(LONG)
        check(b"")
        with pytest.raises(InfectedError) as found:
            check(LONG + MARK + LONG)
    assert found.value.name == FOUND


def test_what_cannot_be_scanned_is_not_taken(tmp_path):
    with scanned_by(str(tmp_path / "nobody")), pytest.raises(ScannerAwayError):
        check(b"content")
    with closing(socket.create_server(("127.0.0.1", 0))) as closed:
        port = closed.getsockname()[1]
    with scanned_by(f"127.0.0.1:{port}"), pytest.raises(ScannerAwayError):
        check(b"content")


def test_whatever_reads_a_file_has_it_scanned_first(tmp_path):
    """Spreadsheets, routes, stations and photos are read by `bounded.run` and nowhere else; the
    scanner sees the file alone, without what we put before it."""

    def run(content: bytes, before: bytes = b"") -> bytes:
        return bounded.run(backwards.__module__, backwards.__name__, content, LIMITS, before=before)

    with scanner(tmp_path):
        assert run(b"cd", before=b"ab") == b"dcba"
        assert run(b"cd", before=MARK)
        with pytest.raises(bounded.RefusedError, match=f"“{FOUND}” in this file"):
            run(MARK)
    with (
        scanned_by(str(tmp_path / "nobody")),
        pytest.raises(bounded.RefusedError, match="Try again in a few minutes"),
    ):
        run(b"content")


@pytest.mark.skipif(CLAMD is None, reason="clamd is not here")
def test_the_daemon_itself_says_what_we_understand(tmp_path):
    with clamd(tmp_path) as address, scanned_by(address):
        check(LONG)
        check(b"")
        with pytest.raises(InfectedError) as found:
            check(LONG + MARK + LONG)
        assert found.value.name == FOUND
        with pytest.raises(ScannerAwayError):  # StreamMaxLength: it hangs up
            check(bytes(3 * 1024**2))


@contextmanager
def clamd(folder: Path) -> Iterator[str]:
    """With one signature, of the mark: file type any, any place, its bytes in hex."""
    (folder / "signatures").mkdir()
    (folder / "signatures/test.ndb").write_text(f"Duskpool.Test:0:*:{MARK.hex()}\n")
    address = folder / "clamd.ctl"
    (folder / "clamd.conf").write_text(
        f"LocalSocket {address}\nDatabaseDirectory {folder}/signatures\nForeground yes\n"
        "StreamMaxLength 2M\n"
    )
    process = subprocess.Popen([CLAMD, "-c", folder / "clamd.conf"])
    try:
        deadline = time.monotonic() + 60
        while time.monotonic() < deadline:
            with suppress(OSError), closing(socket.socket(socket.AF_UNIX)) as line:
                line.connect(str(address))
                break
        yield str(address)
    finally:
        process.terminate()
        process.wait(30)
