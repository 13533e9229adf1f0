"""Addresses of the health checks."""

from __future__ import annotations

from django.urls import path

from . import metrics, views

app_name = "health"

urlpatterns = [
    path("live/", views.live, name="live"),
    path("ready/", views.ready, name="ready"),
    path("metrics/", metrics.metrics, name="metrics"),
]
