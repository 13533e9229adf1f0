"""Dates and numbers in fields and drawings are written alike in every language; what people read goes through our
filters (`qcapp.lib.templatetags.qc`). A browser's own date field takes no other form than 2026-11-24.
"""

from django.conf.locale.en.formats import *  # noqa: F403
