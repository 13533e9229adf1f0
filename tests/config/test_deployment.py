"""The files under docs/deploy fit the program and each other; docs/deploy.md says what was tried beyond that."""

from __future__ import annotations

import json
import re
import shlex
import shutil
import subprocess
import sys
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


def test_lets_the_server_speak_with_its_own_machine_alone() -> None:
    """By the kernel's packet filter; whoever needs more names the addresses in network.conf."""
    for service in ("qcapp.service", "qcapp-backup.service", "qcapp-signals.service"):
        assert lines_of(service, "IPAddressDeny") == ["any"], service
        assert lines_of(service, "IPAddressAllow") == ["localhost"], service
    assert lines_of("network.conf", "IPAddressDeny") == ["any"]
    assert lines_of("network.conf", "IPAddressAllow")[0] == "localhost"
    guide = (FOLDER.parent / "deploy.md").read_text()
    others = set(SERVICES) - {"qcapp.service", "qcapp-backup.service", "qcapp-signals.service"}
    assert [name for name in others if name.partition("@")[0].removesuffix(".service") not in guide] == []


@pytest.mark.parametrize("service", SERVICES)
def test_opens_no_other_kind_of_socket(service: str) -> None:
    assert lines_of(service, "RestrictAddressFamilies") == ["AF_UNIX AF_INET AF_INET6"]


def test_takes_secrets_that_systemd_hands_over(tmp_path: Path) -> None:
    """The names in credentials.conf are those that the settings read, and a credential goes before a file."""
    names = [line.partition(":")[0] for line in lines_of("credentials.conf", "LoadCredentialEncrypted")]
    assert names == ["secret_key", "signing_passphrase"]
    handed, kept = tmp_path / "handed", tmp_path / "kept"
    for folder, word in ((handed, "handed over"), (kept, "kept in a file")):
        folder.mkdir()
        for name in names:
            (folder / name).write_text(f"{word}, long enough to be the key of a whole site\n")
    for variables, word in (({"CREDENTIALS_DIRECTORY": str(handed)}, "handed over"), ({}, "kept in a file")):
        env = Environment(variables)
        assert env.secret_key("QCAPP_SECRET_KEY", kept / "secret_key", debug=False).startswith(word)
        assert env.kept_text("QCAPP_SIGNING_PASSPHRASE", kept / "signing_passphrase").startswith(word)
        assert env.problems == []


def test_opens_credentials_for_a_command_of_root_too() -> None:
    script = FOLDER / "qcapp-manage"
    assert subprocess.run(["sh", "-n", str(script)], check=False).returncode == 0
    text = script.read_text()
    assert "/etc/credstore.encrypted/qcapp." in text
    assert lines_of("credentials.conf", "LoadCredentialEncrypted")[0].endswith(
        ":/etc/credstore.encrypted/qcapp.secret_key"
    )
    assert 'rm -rf "$CREDENTIALS_DIRECTORY"\' EXIT' in text


def test_sends_the_journal_by_keys_that_its_program_knows() -> None:
    """Source: journal-upload.conf(5) of systemd 252."""
    keys = re.findall(r"^(\w+)=", (FOLDER / "journal-upload.conf").read_text(), re.MULTILINE)
    assert keys == ["URL", "ServerKeyFile", "ServerCertificateFile", "TrustedCertificateFile"]
    assert lines_of("journal-upload.conf", "URL")[0].startswith("https://")


def test_helps_no_program_to_call_the_api_in_the_clear() -> None:
    clear = (FOLDER / "nginx.conf").read_text().partition("listen 443 ssl http2;\n    listen [::]:443")[0]
    clear = clear.rpartition("server {")[2] if "https_needed" not in clear else clear
    assert re.search(r"location /api/ \{\s*default_type application/json;\s*return 403 ", clear)
    assert "return 301 https://$host$request_uri;" in clear


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


def linted(file: Path) -> list[str]:
    """The codes that hadolint has for a Containerfile, those of shellcheck for its RUN lines among them."""
    done = subprocess.run(
        [Path(sys.executable).parent / "hadolint", "--format", "json", "--failure-threshold", "style", str(file)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    return [found["code"] for found in json.loads(done.stdout)]


def test_has_a_containerfile_that_a_linter_finds_nothing_in() -> None:
    assert linted(FOLDER / "Containerfile") == []


def test_would_notice_what_the_linter_finds(tmp_path: Path) -> None:
    """Base without a release, a file fetched while building, lists left behind, root, a start through a shell."""
    bad = tmp_path / "Containerfile"
    bad.write_text(
        "FROM debian\nADD https://example.com/x.tar.gz /x\nRUN apt-get update && apt-get install -y curl\n"
        "RUN cd /x && echo $HOME/*\nUSER root\nCMD serve now\n"
    )
    assert set(linted(bad)) >= {"DL3006", "DL3008", "DL3009", "DL3015", "DL3002", "DL3025", "DL3003"}


def test_keeps_secrets_and_root_out_of_the_container() -> None:
    """What the linter does not look at: the last user, the check of its health, and names of secrets."""
    lines = (FOLDER / "Containerfile").read_text().splitlines()
    last = lines[max(place for place, line in enumerate(lines) if line.startswith("FROM ")) :]
    assert [line for line in last if line.startswith("USER ")] == ["USER 990"]
    assert sum(line.startswith("HEALTHCHECK ") for line in last) == 1
    said = [line for line in lines if line.startswith(("ENV ", "ARG ", "COPY "))]
    assert [line for line in said if re.search(r"secret|passw|token|\.env\b|\bkey", line, re.IGNORECASE)] == []
    assert all(" --chown" not in line for line in said)  # the program belongs to root: the server cannot change it


@pytest.mark.parametrize("unit", sorted(path.name for path in FOLDER.glob("*.service")))
def test_has_units_that_systemd_understands(unit: str, tmp_path: Path) -> None:
    """Paths of the server are not there: those complaints are left out, all others count."""
    shutil.copytree(FOLDER, tmp_path / "units")
    added = tmp_path / "units" / f"{unit}.d"
    added.mkdir()
    for name in ("network.conf", "credentials.conf"):
        shutil.copy(FOLDER / name, added)
    name = unit.replace("@.", "@1.")
    done = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", str(tmp_path / "units" / name)], capture_output=True, text=True
    )
    ours = [line for line in done.stderr.splitlines() if unit.split("@")[0].split(".")[0] in line]
    assert [line for line in ours if "not executable" not in line and "No such file" not in line] == []
