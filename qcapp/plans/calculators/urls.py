"""The address of the page "Limits"."""

from __future__ import annotations

from django.urls import path

from . import views

app_name = "limits"
urlpatterns = [path("", views.page, name="page")]
