"""Static files under names that carry their digest, so that a browser may keep them for ever."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from django.contrib.staticfiles.finders import AppDirectoriesFinder
from whitenoise.storage import CompressedManifestStaticFilesStorage

# The API is JSON only, and the extensions import a file that is not there.
UNUSED = ("rest_framework", "drf_spectacular", "django_htmx/ext/*")


class HashedStaticStorage(CompressedManifestStaticFilesStorage):
    """Also rewrites the static imports of JavaScript modules (`import … from "./store.js"`) to the hashed
    names.
    """

    support_js_module_import_aggregation = True


class UsedAppFilesFinder(AppDirectoriesFinder):
    """The static files of the installed apps but those that no page of ours names."""

    def list(self, ignore_patterns: Iterable[str] | None) -> Iterator[Any]:
        """Each file's path and storage."""
        yield from super().list([*(ignore_patterns or []), *UNUSED])
