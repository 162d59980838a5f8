"""Small disks under the files and the database of the site that is killed, to be filled."""

import os
import subprocess
import time
from contextlib import suppress
from pathlib import Path

MEDIA_BYTES = 256 * 1024**2
DATABASE_BYTES = 2 * 1024**3
PIECE = bytes(1024**2)


class SmallDisk:
    """A file system of its own at a folder that is there; only root may mount one."""

    def __init__(self, folder: Path, size: int) -> None:
        self.folder = folder
        found = folder.stat()
        options = (
            f"size={size},mode={found.st_mode & 0o777:o},uid={found.st_uid},gid={found.st_gid}"
        )
        subprocess.run(["mount", "-t", "tmpfs", "-o", options, "tmpfs", folder], check=True)

    def fill(self, seconds: float) -> None:
        """Nothing more fits for so long, whatever is deleted or written meanwhile."""
        filler = self.folder / "filler"
        until = time.monotonic() + seconds
        with filler.open("ab", buffering=0) as out:
            while time.monotonic() < until:
                try:
                    out.write(PIECE)
                except OSError:
                    time.sleep(0.05)
        filler.unlink()

    def end(self) -> None:
        with suppress(subprocess.CalledProcessError):
            subprocess.run(["umount", "-l", self.folder], check=True)


def may_mount() -> bool:
    return os.geteuid() == 0
