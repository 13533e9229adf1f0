"""The entry for gunicorn: `gunicorn qcapp.config.wsgi`."""

from __future__ import annotations

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "qcapp.config.settings")
application = get_wsgi_application()

from .checks import stop_on_wrong_settings  # noqa: E402 - the settings can be read only now
from .warming import warm_up  # noqa: E402

stop_on_wrong_settings()
warm_up()
