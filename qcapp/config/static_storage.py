"""Static files under names that carry their digest, so that a browser may keep them for ever."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any, NoReturn

from django.contrib.staticfiles.finders import AppDirectoriesFinder
from django.core.files.base import ContentFile
from rjsmin import jsmin
from whitenoise.storage import CompressedManifestStaticFilesStorage

# The API is JSON only, and the extensions import a file that is not there.
UNUSED = ("rest_framework", "drf_spectacular", "django_htmx/ext/*")
OWN_SCRIPTS = ("capture/", "js/")


class HashedStaticStorage(CompressedManifestStaticFilesStorage):
    """Also rewrites the static imports of JavaScript modules (`import … from "./store.js"`) to the hashed
    names, and sends our own scripts without their comments.
    """

    support_js_module_import_aggregation = True
    max_post_process_passes = 12  # a module's name carries those of all it imports: one pass for each step down

    def file_hash(self, name: str, content: Any = None) -> str | None:
        """Eight digits of the usual twelve: a module names each one it imports, and digests do not compress."""
        found = super().file_hash(name, content)
        return found and found[:8]

    def get_modified_time(self, name: str) -> NoReturn:
        """Makes `collectstatic` copy every file. By the time it would pass over a newer version's: that is packed with
        the day of its making, and what an earlier version collected on this machine may well be younger.
        """
        raise OSError("Files are not compared by their time.")

    def _save(self, name: str, content: Any) -> str:
        if name.endswith(".js") and name.startswith(OWN_SCRIPTS):
            content.seek(0)  # whoever asked for its digest has read it to the end
            content = ContentFile(as_sent(content.read().decode()).encode())
        return super()._save(name, content)


def as_sent(script: str) -> str:
    """A script of ours as it goes over the wire: without comments and indentation, a seventh lighter."""
    return str(jsmin(script))


class UsedAppFilesFinder(AppDirectoriesFinder):
    """The static files of the installed apps but those that no page of ours names."""

    def list(self, ignore_patterns: Iterable[str] | None) -> Iterator[Any]:
        """Each file's path and storage."""
        yield from super().list([*(ignore_patterns or []), *UNUSED])
