"""A virus scanner of the tests that finds one text: INSTREAM as clamd(8) describes it. What it
answers is what clamd 1.4 answered (tests/unit/test_scanning.py, on a machine that has one)."""

import socketserver
import struct
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from surveys import scanning

MARK = b"duskpool tests: this is the file that the scanner is to find"
FOUND = "Duskpool.Test.UNOFFICIAL"


class _Handler(socketserver.StreamRequestHandler):
    def handle(self) -> None:
        if self.rfile.read(len(b"zINSTREAM\0")) != b"zINSTREAM\0":
            self.wfile.write(b"UNKNOWN COMMAND\0")
            return
        content = b""
        while length := struct.unpack("!I", self.rfile.read(4))[0]:
            content += self.rfile.read(length)
        said = f"{FOUND} FOUND" if MARK in content else "OK"
        self.wfile.write(f"stream: {said}\0".encode())


class _Server(socketserver.ThreadingUnixStreamServer):
    daemon_threads = True


@contextmanager
def scanner(folder: Path) -> Iterator[None]:
    """Files are scanned by it meanwhile."""
    socket = folder / "clamd.ctl"
    with _Server(str(socket), _Handler) as server:
        threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True).start()
        with scanned_by(str(socket)):
            yield
        server.shutdown()


@contextmanager
def scanned_by(address: str) -> Iterator[None]:
    scanning.use(address)
    try:
        yield
    finally:
        scanning.use("")
