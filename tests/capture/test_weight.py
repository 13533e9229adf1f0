"""What each floor page costs on the wire: 40 kB of own JavaScript, 150 kB in all.

Compressed as the server sends it over HTTPS, where every browser takes Brotli; on plain HTTP it is an eighth more.
"""

from __future__ import annotations

import json
import re
import subprocess
from hashlib import sha256
from pathlib import Path

import brotli
import lxml.html
import pytest
from django.test import Client
from django.urls import reverse

from qcapp.capture import shell
from qcapp.config.static_storage import as_sent

from .script_texts import texts_of

STATIC = Path(__file__).resolve().parents[2] / "static"
SCRIPTS = [name for name in shell.FILES if name.endswith(".js")]
IMPORT = re.compile(r'^(?:import|export) .*?from "(\.[^"]+)";', re.MULTILINE)


def weight(data: bytes) -> int:
    return len(brotli.compress(data))


def sent(name: str) -> int:
    data = (STATIC / name).read_bytes()
    return weight(with_digests(as_sent(data.decode())).encode() if name.endswith(".js") else data)


def with_digests(script: str) -> str:
    """The names of other scripts as they are sent, with eight digits of a digest that nothing makes shorter."""
    return re.sub(
        r'"(\.[^"]+)\.js"', lambda found: f'"{found[1]}.{sha256(found[0].encode()).hexdigest()[:8]}.js"', script
    )


def loaded_by(name: str) -> set[str]:
    """The script and everything that it imports."""
    found, waiting = set(), [STATIC / name]
    while waiting:
        script = waiting.pop()
        if script not in found:
            found.add(script)
            waiting += [(script.parent / other).resolve() for other in IMPORT.findall(script.read_text())]
    return {str(script.relative_to(STATIC)) for script in found}


@pytest.mark.parametrize("page", ["bench", "floor"])
def test_keeps_the_own_javascript_of_a_page_under_forty_kilobytes(page: str) -> None:
    scripts = loaded_by(f"capture/{page}.js")
    assert len(scripts) > 5
    assert sum(map(sent, scripts)) < 40_000


def test_keeps_everything_but_the_unit_under_seventy_five_kilobytes() -> None:
    assert sum(map(sent, shell.FILES)) + weight(shell.shell_html("bench").encode()) < 75_000


@pytest.mark.parametrize("name", SCRIPTS)
def test_sends_scripts_that_still_can_be_read(name: str, tmp_path: Path) -> None:
    script = tmp_path / "script.mjs"
    script.write_text(as_sent((STATIC / name).read_text()))
    subprocess.run(["node", "--check", str(script)], check=True, capture_output=True, timeout=30)


@pytest.mark.parametrize("name", SCRIPTS)
def test_sends_every_text_of_a_script_as_it_was_written(name: str) -> None:
    """What makes a script lighter knows no template within a template: there it takes the spaces for its own."""
    script = (STATIC / name).read_text()
    assert texts_of(as_sent(script)) == texts_of(script)


def test_would_see_a_space_that_is_lost_between_two_words() -> None:
    nested = "say(`${held ? `${source}: ` : ''}${reason}`);"
    assert texts_of(as_sent(nested)) != texts_of(nested)


def test_takes_along_every_file_of_the_pages() -> None:
    there = {f"capture/{path.name}" for path in (STATIC / "capture").glob("*.js")}
    assert there <= set(shell.FILES)


@pytest.mark.django_db
def test_sends_a_worker_that_is_asked_for_anew_and_a_manifest(client: Client) -> None:
    worker = client.get("/sw.js")
    assert worker.status_code == 200
    assert worker["Cache-Control"] == "no-cache"
    assert worker["Content-Type"].startswith("text/javascript")
    assert "skipWaiting" not in worker.content.decode().split('addEventListener("install"')[1].split("\n")[0]
    manifest = client.get(reverse("capture:manifest"))
    assert manifest["Content-Type"] == "application/manifest+json"
    assert json.loads(manifest.content)["start_url"] == "/floor/"


@pytest.mark.parametrize("name", shell.SHELLS)
def test_has_no_inline_script_or_style_in_a_kept_page(name: str) -> None:
    tree = lxml.html.fromstring(shell.shell_html(name))
    assert [one for one in tree.iter("script") if one.text or not one.get("src")] == []
    assert list(tree.iter("style")) == []
    assert [(one.tag, key) for one in tree.iter() for key in one.attrib if key == "style" or key.startswith("on")] == []


@pytest.mark.django_db
def test_has_no_kept_page_of_any_other_name(client: Client) -> None:
    assert client.get("/floor/shell/office/").status_code == 404


def test_has_another_version_when_a_kept_file_changes(monkeypatch: pytest.MonkeyPatch) -> None:
    before = shell.version()
    assert before == shell.version()
    monkeypatch.setattr(shell, "FILES", shell.FILES[:-1])
    assert shell.version() != before
