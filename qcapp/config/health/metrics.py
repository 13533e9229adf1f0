"""Metrics in the text format of Prometheus, for whoever knows the token.

Counts and times of requests are this process's own (gunicorn's, when PROMETHEUS_MULTIPROC_DIR names a folder that all
share); everything else is read when it is asked for.
"""

from __future__ import annotations

import hmac
import os
from collections.abc import Iterator

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe
from prometheus_client import CONTENT_TYPE_LATEST, REGISTRY, CollectorRegistry, generate_latest, multiprocess
from prometheus_client.metrics_core import GaugeMetricFamily, Metric
from prometheus_client.registry import Collector

from qcapp.people.access import public

from .checks import readiness
from .watched import NEAR, OUT, Fact, facts

STATES = {OUT: 2.0, NEAR: 1.0}


class Watched(Collector):
    """What the keeper's page says, in numbers."""

    def collect(self) -> Iterator[Metric]:
        told = facts(timezone.now())
        state = GaugeMetricFamily("qcapp_watched_state", "0 good, 1 near a limit, 2 out", labels=["fact"])
        for fact in told:
            state.add_metric([fact.name], STATES.get(fact.state, 0.0))
        ready = GaugeMetricFamily("qcapp_ready", "1 where a readiness check holds", labels=["check"])
        for name, holds in readiness().items():
            ready.add_metric([name], float(holds))
        yield state
        yield ready
        yield from _numbers(told)


def _numbers(told: list[Fact]) -> Iterator[Metric]:
    for fact in told:
        for name, value in fact.numbers.items():
            yield GaugeMetricFamily(f"qcapp_{name}", fact.title, value=value)
        if fact.each:
            name, told_by, values = fact.each
            several = GaugeMetricFamily(f"qcapp_{name}", fact.title, labels=[told_by])
            for which, value in values.items():
                several.add_metric([which], value)
            yield several


@public
@never_cache
@require_safe
def metrics(request: HttpRequest) -> HttpResponse:
    """Everything measured; 404 to whoever does not send the token, and where none is set."""
    token, sent = settings.QCAPP_METRICS_TOKEN, request.headers.get("Authorization", "")
    if not token or not hmac.compare_digest(sent.encode(), f"Bearer {token}".encode()):
        raise Http404
    return HttpResponse(_processes() + generate_latest(_watched()), content_type=CONTENT_TYPE_LATEST)


def _watched() -> CollectorRegistry:
    registry = CollectorRegistry()
    registry.register(Watched())
    return registry


def _processes() -> bytes:
    if "PROMETHEUS_MULTIPROC_DIR" not in os.environ:
        return generate_latest(REGISTRY)
    shared = CollectorRegistry()
    multiprocess.MultiProcessCollector(shared)
    return generate_latest(shared)
