"""Every address of the product: each room and door brings its own `urls.py`."""

from __future__ import annotations

from importlib.util import find_spec

from django.urls import URLPattern, URLResolver, include, path

from qcapp.config.health.views import system
from qcapp.config.helping import FILES, OPEN, OPEN_PICTURES, document_file, guide, open_guide, open_picture, picture
from qcapp.config.retention.views import kept

# What a room's addresses begin with. The home page and the search for a serial number are the history's.
PREFIXES = {
    "people": "",  # /sign-in/, /people/, /audit/
    "evidence": "evidence/",
    "messages": "messages/",
    "gauges": "gauges/",
    "recall": "gauges/",  # /gauges/…/recall/
    "production": "",  # /welding/
    "plans": "plans/",
    "inspections": "",  # /units/open/
    "nonconformance": "nonconformances/",
    "goods": "goods/",
    "trends": "trends/",
    "improvement": "improvement/",
    "affected": "",  # /affected/, /nonconformances/…/suspects/
    "certificates": "",  # /units/…/release/, /certificates/, /check/
    "customers": "",  # /customers/, /units/…/dispatch/, /units/…/service/
    "api": "api/",
    "capture": "",
    "history": "",
}

urlpatterns: list[URLPattern | URLResolver] = [
    path(prefix, include(f"qcapp.{room}.urls")) for room, prefix in PREFIXES.items() if find_spec(f"qcapp.{room}.urls")
]
urlpatterns.append(path("health/", include("qcapp.config.health.urls")))
urlpatterns.append(path("system/", system, name="system"))
urlpatterns.append(path("system/kept/", kept, name="kept"))
urlpatterns.append(path(f"guide/{OPEN}/", open_guide, name="guide_open"))
urlpatterns += [path(f"guide/pictures/{name}", open_picture, {"picture": name}) for name in OPEN_PICTURES]
urlpatterns += [path(f"guide/files/{name}", document_file, {"name": name}) for name in FILES]
urlpatterns.append(path("guide/pictures/<str:picture>", picture, name="guide_picture"))
urlpatterns.append(path("guide/<path:name>/", guide, name="guide"))
urlpatterns.append(path("limits/", include("qcapp.plans.calculators.urls")))

handler400 = "qcapp.lib.refusals.bad_request"
handler403 = "qcapp.lib.refusals.permission_denied"
handler404 = "qcapp.lib.refusals.page_not_found"
handler500 = "qcapp.lib.refusals.server_error"
