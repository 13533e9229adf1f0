#!/usr/bin/env python3
"""`systemctl` where systemd is not the first process: it runs what the units say, as far as one process can.

ExecStart lines as the unit's user, with its environment files, umask, runtime and state folders; under ProtectSystem
with everything else read-only and an own /tmp, without new privileges and without capabilities; Type=notify waits for
the word of the service. Timers are read, not waited for. Not held: system call filters, address families, devices.
"""

from __future__ import annotations

import os
import re
import shlex
import shutil
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

UNITS, RUN = Path("/etc/systemd/system"), Path("/run/stand-in")
PATIENCE = 180  # seconds, on a machine that does other things too


class Unit:
    """A unit's file; keys may stand several times."""

    def __init__(self, name: str) -> None:
        self.name = name if name.endswith((".service", ".timer")) else f"{name}.service"
        stem, at, rest = self.name.partition("@")
        self.instance = rest.rpartition(".")[0] if at else ""
        file = UNITS / (f"{stem}@.{rest.rpartition('.')[2]}" if at else self.name)
        self.text = file.read_text(encoding="utf-8").replace("%i", self.instance)
        self.pid = RUN / f"{self.name}.pid"

    def all(self, key: str) -> list[str]:
        return re.findall(rf"^{key}=(.*)$", self.text, re.MULTILINE)

    def one(self, key: str, otherwise: str = "") -> str:
        return (self.all(key) or [otherwise])[-1]

    def environment(self) -> dict[str, str]:
        told = {"PATH": "/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin", "LANG": "C.UTF-8"}
        told |= {name: os.environ[name] for name in ("SSL_CERT_FILE",) if name in os.environ}
        for file in self.all("EnvironmentFile"):
            for line in Path(file).read_text(encoding="utf-8").splitlines():
                if line.strip() and not line.startswith("#"):
                    name, _, value = line.partition("=")
                    told[name] = "".join(shlex.split(value))
        return told

    def folders(self) -> list[str]:
        """Those that the unit may write to, made and given to its user."""
        made = []
        for key, above in (("RuntimeDirectory", "/run"), ("StateDirectory", "/var/lib")):
            for name in self.all(key):
                path = Path(above) / name
                path.mkdir(exist_ok=True)
                path.chmod(int(self.one(f"{key}Mode", "0755"), 8))
                shutil.chown(path, self.one("User"), self.one("Group"))
                made.append(str(path))
        named = " ".join(self.all("ReadWritePaths")).split()
        there = [path for path in named if not path.startswith("-")]
        there += [path[1:] for path in named if path.startswith("-") and Path(path[1:]).exists()]
        return [*made, *there, "/dev/shm"]  # noqa: S108 - the units name it

    def command(self, line: str, environment: dict[str, str]) -> list[str]:
        words = [re.sub(r"\$\{(\w+)\}", lambda name: environment[name[1]], word) for word in shlex.split(line)]
        binds = "; ".join(f"mount --bind {folder} {folder}" for folder in self.folders())
        own = "mount -t tmpfs -o mode=1777 tmpfs /tmp; mount -t tmpfs -o mode=1777 tmpfs /var/tmp"
        shut = "mount -o remount,bind,ro /"
        rights = ["--reuid", self.one("User"), "--regid", self.one("Group"), "--init-groups"]
        rights += ["--no-new-privs", "--bounding-set=-all", "--inh-caps=-all"]
        inside = f"set -e; {binds}; {own}; {shut}; umask {self.one('UMask', '0022')}; cd {self.one('WorkingDirectory')}"
        whole = f"{inside}; exec setpriv {shlex.join(rights)} {shlex.join(words)}"
        return ["unshare", "--mount", "--propagation", "private", "sh", "-c", whole]

    # ---- what is asked of it

    def start(self) -> None:
        if self.name.endswith(".timer"):
            for when in self.all("OnCalendar"):
                subprocess.run(["systemd-analyze", "calendar", when], check=True, stdout=subprocess.DEVNULL)
            return
        environment = self.environment()
        if self.one("Type") == "oneshot":
            for line in self.all("ExecStart"):
                subprocess.run(self.command(line, environment), env=environment, check=True)
            return
        self._serve(environment)

    def _serve(self, environment: dict[str, str]) -> None:
        word = RUN / f"{self.name}.notify"
        word.unlink(missing_ok=True)
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as heard, (RUN / f"{self.name}.log").open("ab") as log:
            heard.bind(str(word))
            word.chmod(0o777)
            heard.settimeout(PATIENCE)
            process = subprocess.Popen(
                self.command(self.one("ExecStart"), environment), env=environment | {"NOTIFY_SOCKET": str(word)},
                stdin=subprocess.DEVNULL, stdout=log, stderr=log, start_new_session=True,
            )  # fmt: skip
            self.pid.write_text(str(process.pid))
            while self.one("Type") == "notify" and b"READY=1" not in heard.recv(4096):
                pass
        time.sleep(2 if self.one("Type") == "simple" else 0)
        if process.poll() is not None:
            raise SystemExit(f"{self.name} ended at once: {(RUN / f'{self.name}.log').read_text()[-2000:]}")

    def stop(self) -> None:
        if not self.pid.exists():
            return
        number = int(self.pid.read_text())
        os.killpg(number, signal.SIGTERM)
        end = time.monotonic() + PATIENCE
        while Path(f"/proc/{number}").exists() and " Z " not in Path(f"/proc/{number}/stat").read_text():
            if time.monotonic() > end:
                raise SystemExit(f"{self.name} does not end.")
            time.sleep(0.1)
        self.pid.unlink()

    def restart(self) -> None:
        self.stop()
        self.start()

    def enable(self) -> None:
        if "[Install]" not in self.text:
            raise SystemExit(f"{self.name} cannot be enabled: it has no section Install.")


def verify() -> None:
    """Every unit of the site, as systemd reads it here, with everything in place that it names."""
    for file in sorted(UNITS.glob("qcapp*")):
        name = str(file).replace("@.", "@1.")
        done = subprocess.run(["systemd-analyze", "verify", "--man=no", name], capture_output=True, text=True)
        said = [line for line in done.stderr.splitlines() if "qcapp" in line]
        if said or (done.returncode and not done.stderr):
            raise SystemExit("\n".join(said) or f"{file} does not verify")


def main(words: list[str]) -> None:
    RUN.mkdir(exist_ok=True)
    verb, *names = [word for word in words if not word.startswith("-")]
    if verb == "daemon-reload":
        verify()
    for name in names:
        if not name.startswith("qcapp"):
            subprocess.run(["service", name, verb], check=True)
            continue
        unit = Unit(name)
        getattr(unit, verb)()
        if verb == "enable" and "--now" in words:
            unit.start()


if __name__ == "__main__":
    main(sys.argv[1:])
