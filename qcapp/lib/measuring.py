"""How long requests take and how they end, counted for the metrics."""

from __future__ import annotations

from collections.abc import Callable
from time import perf_counter

from django.http import HttpRequest, HttpResponseBase
from prometheus_client import Counter, Histogram

SECONDS = Histogram(
    "qcapp_request_seconds",
    "Time from a request to its answer",
    ["view", "method", "status"],
    buckets=(0.01, 0.025, 0.05, 0.1, 0.2, 0.3, 0.5, 1, 2, 5, 10),
)

SUBMITTED = Counter("qcapp_submitted_entries", "Entries of tablets and programs by how they were answered", ["outcome"])


class MeasuringMiddleware:
    """Notes each request by the name of its address, never by the address: serials stay out of the metrics."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        begun = perf_counter()
        response = self.get_response(request)
        match = request.resolver_match
        view = match.view_name if match is not None and match.view_name else "none"
        method = request.method if request.method in {"GET", "HEAD", "POST", "DELETE"} else "other"
        SECONDS.labels(view, method, f"{response.status_code // 100}xx").observe(perf_counter() - begun)
        return response
