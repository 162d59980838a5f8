"""A clock that jumps for the site alone: a library put before its processes, PostgreSQL among
them, adds to the time of day what a file says."""

import shutil
import struct
import subprocess
import tempfile
from pathlib import Path

SOURCE = Path(__file__).with_name("clock.c")


class Clock:
    def __init__(self) -> None:
        # Readable by the user of PostgreSQL, which the folder of the test is not.
        self.folder = Path(tempfile.mkdtemp(prefix="duskpool-clock-"))
        self.folder.chmod(0o755)
        self.file = self.folder / "offset"
        self.set(0)
        self.library = self.folder / "clock.so"
        command = ["cc", "-shared", "-fPIC", "-O2", "-o", str(self.library), str(SOURCE)]
        subprocess.run(command, check=True)
        self.environment = {"LD_PRELOAD": str(self.library), "CLOCK_OFFSET": str(self.file)}

    def set(self, seconds: int) -> None:
        """In place: the processes hold the file."""
        with self.file.open("r+b" if self.file.exists() else "wb") as out:
            out.write(struct.pack("=q", seconds))

    def end(self) -> None:
        shutil.rmtree(self.folder)
