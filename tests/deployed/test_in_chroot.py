"""docs/deploy.md, typed as it stands into a new Debian: `pytest tests/deployed --long`, as root, with a network.

The commands are taken out of the guide; what a person has to put in is replaced, and nothing else. `systemctl` is a
stand-in that runs what the units say (`systemctl.py`), because systemd cannot be the first process there. Half an hour
on a busy machine; `QCAPP_TEST_CHROOT` names a folder that debootstrap has filled before, `QCAPP_TEST_MIRROR` a mirror.
"""

from __future__ import annotations

import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from .chroot import REPOSITORY, Chroot, blocks, replaced

PASSWORD, OWNER = "orchard trike 200", "a-long-random-one-for-a-test"
# Blocks that the test does not type, by a word of each, and why.
LEFT_OUT = {
    "manage.py setup": "the other way to begin; tests/config/test_setup.py types it",
    "--module /usr/lib/softhsm": "a hardware token; tests/certificates/test_tokens.py has one",
    "manage.py backup --verify qcapp-": "on another machine; the nightly service verifies here",
    "pg_basebackup": "tests/config/test_replica.py starts such a pair",
    "network.conf": "addresses of a site; tests/config/test_deployment.py reads it with systemd",
    "credstore.encrypted": "needs systemd as the first process; tests/config/test_deployment.py reads them",
    "journal-upload.conf": "needs another machine",
    "age --decrypt": "there is no evidence yet; tests/config/test_evidence.py puts files back",
    "manage.py benchmark": "measures, and sets nothing up",
    "qcapp-manage export_person": "docs/retention.md",
    "qcapp.refused": "the way back after an upgrade; typed by hand on 26 November 2026",
}
HTTPS = "curl --silent --show-error --cacert /etc/ssl/qcapp/fullchain.pem"


@pytest.fixture(scope="module")
def machine(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Chroot]:
    made = Chroot(tmp_path_factory.mktemp("machine"))
    try:
        yield made.make()
    finally:
        made.end()


def release(machine: Chroot, version: str) -> None:
    """What is here, as the file of a release in root's folder."""
    told = ["git", "-C", str(REPOSITORY), "archive", f"--prefix=qcapp-{version}/", "--format=tar.gz", "HEAD"]
    machine.put(f"/root/qcapp-{version}.tar.gz", subprocess.run(told, check=True, capture_output=True).stdout)


def section(title: str) -> list[str]:
    return [block for block in blocks()[title] if not any(word in block for word in LEFT_OUT)]


def test_sets_up_serves_backs_up_restores_and_upgrades_as_the_guide_says(machine: Chroot) -> None:
    """One walk, in the order of the guide: each part needs the one before."""
    installed(machine)
    with_settings_and_two_roles(machine)
    served(machine)
    certified(machine)
    backed_up(machine)
    restored(machine)
    upgraded(machine)


def installed(machine: Chroot) -> None:
    packages, folders, program = section("Packages, user, folders")
    machine.run(packages, LANG="C")  # as on a server whose maker chose no language: the cluster has no encoding then
    machine.trust_what_this_machine_trusts()
    machine.run(folders)
    machine.put("/usr/local/bin/systemctl", (Path(__file__).parent / "systemctl.py").read_bytes(), 0o755)
    # A Debian that has started runs both by now.
    machine.run("pg_lsclusters -h | grep -q online || pg_ctlcluster 15 main start; test -s /run/nginx.pid || nginx")
    release(machine, "1.0")
    machine.run(program)


def with_settings_and_two_roles(machine: Chroot) -> None:
    (keys,) = section("Settings and keys")
    machine.run(f"cd /opt/qcapp\n{keys}")
    roles, owner, tables = section("Database: two roles")
    machine.run(replaced(roles, **{"a long random one": OWNER}))
    machine.run(replaced(owner, **{"qcapp_owner:…@": f"qcapp_owner:{OWNER}@"}))
    assert "no issues" in machine.run(tables)
    (keeper,) = section("The first keeper")
    assert "1101" in machine.run(keeper, typed=f"{PASSWORD}\n{PASSWORD}\n")


def served(machine: Chroot) -> None:
    """By TLS, with a certificate of our own, which clients are told to trust."""
    machine.run(
        "install -d /etc/ssl/qcapp; cd /etc/ssl/qcapp; openssl req -x509 -newkey rsa:2048 -nodes -days 30 "
        "-subj /CN=qc.example.com -addext subjectAltName=DNS:qc.example.com -keyout privkey.pem -out fullchain.pem"
    )
    units, nginx, ready = section("Server, web server")
    machine.run(f"cd /opt/qcapp\n{units}")
    machine.run(f"cd /opt/qcapp\n{nginx}")
    assert '"status": "ready"' in machine.run(ready)
    assert "Sign in" in machine.run(f"{HTTPS} https://qc.example.com/sign-in/")
    assert "strict-transport-security" in machine.run(f"{HTTPS} --head https://qc.example.com/sign-in/").lower()
    assert " 301 " in machine.run("curl --silent --head http://qc.example.com/sign-in/")
    assert " 405 " in machine.run(f"{HTTPS} --request TRACE --include https://qc.example.com/")
    assert " 400 " in machine.run(
        "curl --silent --include --unix-socket /run/qcapp/gunicorn.sock http://other/health/ready/"
    )


def certified(machine: Chroot) -> None:
    """The key; then a batch's worker and the notices, run as their units say."""
    key, workers = section("Certificates")
    machine.run("install -d /media/stick")
    assert "fingerprint" in machine.run(replaced(key, **{"/media/…": "/media/stick"})).lower()
    machine.run(workers)
    machine.run("systemctl start qcapp-notices.service")


def backed_up(machine: Chroot) -> None:
    public, timers = section("Backup")
    told = machine.run(f"cd /opt/qcapp\n{replaced(public, **{'qcapp-backup.key': '/root/qcapp-backup.key'})}")
    age = next(word for word in told.split() if word.startswith("age1"))
    machine.run("install -d -o qcapp -g qcapp /var/backups/copies")
    changes = {"age1…": age, "qcapp@elsewhere:copies/": "/var/backups/copies/"}
    assert "qcapp-2" in machine.run(replaced(timers, **changes))
    machine.run("systemctl start qcapp-anchors.service; systemctl start qcapp-messages.service")
    assert "anchors.jsonl" in machine.run("ls /var/backups/copies/anchors")
    assert "Everything holds." in machine.run("qcapp-manage verify_audit")


def restored(machine: Chroot) -> None:
    """As after a loss: the database is made anew, the data folder is empty."""
    aside, steps = section("Restore")
    backup = machine.run("ls -d /var/backups/qcapp/qcapp-2*").split()[-1]
    machine.run(aside)
    told = machine.run(replaced(steps, **{"/var/backups/qcapp/qcapp-…": backup}))
    assert "Restored: the backup of" in told
    assert '"status": "ready"' in machine.run(section("Server, web server")[2])


def upgraded(machine: Chroot) -> None:
    (steps,) = section("Upgrade")
    release(machine, "1.1")
    assert '"status": "ready"' in machine.run(steps)
    assert "Sign in" in machine.run(f"{HTTPS} https://qc.example.com/sign-in/")
