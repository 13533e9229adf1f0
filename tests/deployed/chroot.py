"""A Debian of its own below a folder, made by debootstrap; and the commands of docs/deploy.md."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
from contextlib import suppress
from pathlib import Path

REPOSITORY = Path(__file__).resolve().parents[2]
GUIDE = REPOSITORY / "docs" / "deploy.md"
MIRROR = os.environ.get("QCAPP_TEST_MIRROR", "")  # else the one that debootstrap knows
READY = os.environ.get("QCAPP_TEST_CHROOT", "")  # a folder that debootstrap has filled before
CERTIFICATES = "etc/ssl/certs/ca-certificates.crt"


def blocks() -> dict[str, list[str]]:
    """The commands of the guide: by section what is indented, in order, a new block after each empty line."""
    found: dict[str, list[str]] = {}
    title, block = "", []
    for line in [*GUIDE.read_text(encoding="utf-8").splitlines(), ""]:
        if line.startswith("    "):
            block.append(line[4:])
            continue
        if block:
            found.setdefault(title, []).append("\n".join(block))
        block, title = [], line[3:] if line.startswith("## ") else title
    return found


class Chroot:
    """The machine of the test. Everything that runs in it is ended with it."""

    def __init__(self, folder: Path) -> None:
        self.root = folder / "root"

    def make(self) -> Chroot:
        if READY:
            subprocess.run(["cp", "-a", READY, str(self.root)], check=True)
        else:
            self._outside("debootstrap", "bookworm", str(self.root), *([MIRROR] if MIRROR else []))
        self._outside("mount", "--bind", str(self.root), str(self.root))
        for name in ("proc", "dev"):
            self._outside("mount", "--rbind", f"/{name}", str(self.root / name))
            self._outside("mount", "--make-rslave", str(self.root / name))
        shutil.copy("/etc/resolv.conf", self.root / "etc/resolv.conf")
        (self.root / "etc/hosts").write_text("127.0.0.1 localhost qc.example.com\n")
        return self

    @staticmethod
    def _outside(*command: str) -> None:
        done = subprocess.run(command, capture_output=True, text=True)
        assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]

    def put(self, name: str, content: str | bytes, mode: int = 0o644) -> None:
        file = self.root / name.lstrip("/")
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(content if isinstance(content, bytes) else content.encode())
        file.chmod(mode)

    def run(self, script: str, typed: str = "", **variables: str) -> str:
        """What root sees who types this, line by line, in one shell; the first command that fails is an error."""
        told = {"PATH": "/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin", "HOME": "/root"}
        told |= {"LANG": "C.UTF-8", "DEBIAN_FRONTEND": "noninteractive", **self._downloading(), **variables}
        done = subprocess.run(
            ["chroot", str(self.root), "bash", "-euo", "pipefail", "-c", f"cd /root; {script}"],
            env=told, input=typed, capture_output=True, text=True, start_new_session=True,
        )  # fmt: skip
        assert done.returncode == 0, f"{script}\n{done.stdout[-3000:]}\n{done.stderr[-5000:]}"
        return done.stdout + done.stderr

    @staticmethod
    def _downloading() -> dict[str, str]:
        """What this machine says about how pip reaches its index."""
        return {name: value for name, value in os.environ.items() if name.startswith("PIP_")}

    def trust_what_this_machine_trusts(self) -> None:
        """Where downloads go through a proxy with a certificate of its own."""
        shutil.copy(f"/{CERTIFICATES}", self.root / CERTIFICATES)

    def _runs_here(self, number: int) -> bool:
        """By the folder that is its root, not by its name: what is mounted over it may be gone already."""
        with suppress(OSError):
            if " Z " not in Path(f"/proc/{number}/stat").read_text(encoding="utf-8", errors="replace"):
                return self.root.samefile(f"/proc/{number}/root")
        return False

    def end(self) -> None:
        """End every process that runs in it, and let go of what is mounted."""
        while ours := [number for number in processes() if self._runs_here(number)]:
            for number in ours:
                with suppress(OSError):
                    os.kill(number, signal.SIGKILL)
        for name in ("dev", "proc", ""):
            subprocess.run(["umount", "--recursive", "--lazy", str(self.root / name)], check=False)


def processes() -> list[int]:
    """The numbers of everything that runs."""
    return [int(folder.name) for folder in Path("/proc").glob("[0-9]*")]


def replaced(block: str, **changes: str) -> str:
    """The block with what a person puts in; each of the words has to be there."""
    for old, new in changes.items():
        assert old in block, f"{old!r} is not in:\n{block}"
        block = block.replace(old, new)
    return block
