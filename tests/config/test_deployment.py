"""The files under docs/deploy fit the program and each other; docs/deploy.md says what was tried beyond that."""

from __future__ import annotations

import re
import shlex
import shutil
import subprocess
from pathlib import Path

import pytest
from django.core.management import get_commands, load_command_class

from qcapp.config.environment import Environment

FOLDER = Path(__file__).resolve().parents[2] / "docs" / "deploy"
SERVICES = sorted(path.name for path in FOLDER.glob("*.service"))
VARIABLES = re.compile(r"^([A-Z_]+)='(.*)'$", re.MULTILINE)
COMMAND = re.compile(r"(?:qcapp-manage|manage\.py) ((?:\\\n|[^\n#`])+)")
OPTION = re.compile(r"^--[a-z-]+$")


def lines_of(name: str, key: str) -> list[str]:
    """The values of a key of a unit, in order."""
    return re.findall(rf"^{key}=(.*)$", (FOLDER / name).read_text(), re.MULTILINE)


def is_known(command: str) -> bool:
    """True when the management command exists and has every option that the line names."""
    name, *arguments = shlex.split(command)
    if name not in get_commands():
        return False
    parser = load_command_class(get_commands()[name], name).create_parser("manage.py", name)
    known = {option for action in parser._actions for option in action.option_strings}
    return {argument for argument in arguments if OPTION.match(argument)} <= known


def written_commands() -> list[str]:
    """Every command that the guide and the units tell somebody to run."""
    texts = [(FOLDER.parent / "deploy.md").read_text(), *((FOLDER / name).read_text() for name in SERVICES)]
    found = {match.replace("\\\n", " ").split("&&")[0].strip() for text in texts for match in COMMAND.findall(text)}
    return sorted(command for command in found if command[0].islower())


@pytest.mark.parametrize("command", written_commands())
def test_tells_commands_that_exist(command: str) -> None:
    assert is_known(command)


def test_would_notice_one_that_does_not() -> None:
    assert len(written_commands()) > 10
    assert not is_known("back_up /var/backups")
    assert not is_known("backup /var/backups --nightly")


def test_names_settings_that_exist(tmp_path: Path) -> None:
    """Read as a start reads them; only the folder is another."""
    given = dict(VARIABLES.findall((FOLDER / "qcapp.env").read_text()))
    known = set(re.findall(r"^\| `(QCAPP_[A-Z_]+)` \|", (FOLDER.parent / "settings.md").read_text(), re.MULTILINE))
    assert given["QCAPP_DATA_DIR"] == "/var/lib/qcapp"
    assert set(given) <= known
    env = Environment(given)
    assert env.public_url("QCAPP_PUBLIC_URL", "") == given["QCAPP_PUBLIC_URL"]
    assert env.hosts("QCAPP_ALLOWED_HOSTS", [])[0] == "qc.example.com"
    assert env.database("QCAPP_DATABASE_URL", "", 3)["OPTIONS"]["host"] == "/run/postgresql"
    assert env.zone("QCAPP_SITE_ZONE", "") == given["QCAPP_SITE_ZONE"]
    assert env.count("QCAPP_TRUSTED_PROXIES", 0, most=5) == 1
    assert env.problems == []


def test_meets_at_one_socket() -> None:
    (start,) = lines_of("qcapp.service", "ExecStart")
    socket = re.search(r"--bind unix:(\S+)", start)
    assert socket
    assert f"server unix:{socket[1]} " in (FOLDER / "nginx.conf").read_text()
    assert socket[1].startswith(f"/run/{lines_of('qcapp.service', 'RuntimeDirectory')[0]}/")


@pytest.mark.parametrize("service", SERVICES)
def test_runs_without_rights_over_the_machine(service: str) -> None:
    assert lines_of(service, "User") == ["qcapp"]
    assert lines_of(service, "NoNewPrivileges") == ["yes"]
    assert lines_of(service, "ProtectSystem") == ["strict"]


def test_keeps_the_owner_of_the_tables_from_the_server() -> None:
    """The address of the owner is in a file that no unit reads, and `qcapp-manage` reads it for four commands."""
    assert not any("owner.env" in (FOLDER / name).read_text() for name in SERVICES)
    assert "QCAPP_DATABASE_OWNER_URL" not in (FOLDER / "qcapp.env").read_text()
    assert 'case "${1:-}" in migrate | restore | anonymise_person | retention)' in (FOLDER / "qcapp-manage").read_text()


def test_lets_nothing_larger_through_than_the_server_takes() -> None:
    from django.conf import settings

    said = re.search(r"client_max_body_size (\d+)m;", (FOLDER / "nginx.conf").read_text())
    assert said
    assert int(said[1]) * 1024 * 1024 == settings.QCAPP_UPLOAD_LIMIT


def test_copies_into_the_container_what_is_there() -> None:
    """The Containerfile was never built; what it names exists, and it serves as the unit does."""
    text = (FOLDER / "Containerfile").read_text()
    assert "NOT BUILT" in text
    copied = [line.split()[1:-1] for line in text.splitlines() if line.startswith("COPY ") and "--from" not in line]
    assert len(copied) > 5
    assert [name for names in copied for name in names if not (FOLDER.parents[1] / name).exists()] == []
    (start,) = lines_of("qcapp.service", "ExecStart")
    script = (FOLDER / "container-start").read_text()
    assert re.search(r"gunicorn (\S+)", start)[1] in script
    for option in ("--timeout 60", "--graceful-timeout 30", "--worker-tmp-dir /dev/shm"):
        assert option in start
        assert option in script


def test_starts_the_container_by_a_script_that_a_shell_reads() -> None:
    assert subprocess.run(["sh", "-n", str(FOLDER / "container-start")], check=False).returncode == 0


@pytest.mark.parametrize("unit", sorted(path.name for path in FOLDER.glob("*.service")))
def test_has_units_that_systemd_understands(unit: str, tmp_path: Path) -> None:
    """Paths of the server are not there: those complaints are left out, all others count."""
    shutil.copytree(FOLDER, tmp_path / "units")
    name = unit.replace("@.", "@1.")
    done = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", str(tmp_path / "units" / name)], capture_output=True, text=True
    )
    ours = [line for line in done.stderr.splitlines() if unit.split("@")[0].split(".")[0] in line]
    assert [line for line in ours if "not executable" not in line and "No such file" not in line] == []
