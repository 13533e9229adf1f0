"""What a tablet keeps of the pages so that they open without network: the files, the two shells, their version."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

from django.conf import settings
from django.contrib.staticfiles import finders
from django.contrib.staticfiles.storage import staticfiles_storage
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.urls import reverse
from django.utils import translation

from .language import OTHERS, SOURCE, words_of

FILES = (
    "css/tokens.css",
    "css/floor.css",
    "img/band.svg",
    "js/counted.js",
    "js/verdict.js",
    "capture/acts.js",
    "capture/band.js",
    "capture/bench.js",
    "capture/beside.js",
    "capture/dialogs.js",
    "capture/dom.js",
    "capture/entering.js",
    "capture/floor.js",
    "capture/outbox.js",
    "capture/overview.js",
    "capture/holds.js",
    "capture/lot.js",
    "capture/panels.js",
    "capture/photo.js",
    "capture/people.js",
    "capture/questions.js",
    "capture/refused.js",
    "capture/scan.js",
    "capture/setup.js",
    "capture/shell.js",
    "capture/signing.js",
    "capture/spot.js",
    "capture/status.js",
    "capture/store.js",
    "capture/unit.js",
    "capture/warmth.js",
    "capture/weld.js",
    "capture/words.js",
    "capture/where.js",
)
ICONS = (("capture/icon-180.png", 180), ("capture/icon-512.png", 512))
SHELLS = ("floor", "bench", "lot", "setup", "weld")


def shell_html(name: str) -> str:
    """The page `floor` or `bench` as everybody gets it: no name, no token, no unit."""
    site = {"site_name": settings.QCAPP_SITE_NAME, "demonstration": settings.QCAPP_DEMO}
    with translation.override(SOURCE):  # the scripts translate it: who looks at it is not known here
        return render_to_string(f"capture/{name}.html", site | {"shell": True})


def worker_script() -> str:
    """The service worker with the list of what it keeps. Its bytes change with every release."""
    shells = {name: reverse("capture:shell", args=[name]) for name in SHELLS}
    words = [reverse("capture:words", args=[code]) for code in OTHERS]
    kept = [*(static(name) for name in FILES), *shells.values(), *words]
    return render_to_string(
        "capture/sw.js", {"version": version(), "kept": json.dumps(kept), "shells": json.dumps(shells)}
    )


def version() -> str:
    """A digest over everything that a tablet keeps, so that a change of any of it is a new version."""
    parts = [_print_of(name) for name in FILES] + [shell_html(name) for name in SHELLS]
    parts += [json.dumps(words_of(code), sort_keys=True) for code in OTHERS]
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:16]


def _print_of(name: str) -> str:
    """The address, where that carries the digest of the file, else the digest of the file itself."""
    if getattr(staticfiles_storage, "hashed_files", None):
        return static(name)
    found = finders.find(name)
    return hashlib.sha256(Path(str(found)).read_bytes()).hexdigest() if found else name


def manifest() -> dict[str, object]:
    """The web app manifest: what stands on the home screen, and where it starts."""
    icons = [{"src": static(name), "sizes": f"{size}x{size}", "type": "image/png"} for name, size in ICONS]
    return {
        "id": "/floor/",
        "name": "qcapp floor",
        "short_name": "qcapp",
        "start_url": "/floor/",
        "scope": "/",
        "display": "standalone",
        "background_color": "#F6F3EC",
        "theme_color": "#0B4F5C",
        "icons": icons,
    }
