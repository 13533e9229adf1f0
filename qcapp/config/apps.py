"""Registers the checks of the settings, so that every command stops on a wrong one."""

from __future__ import annotations

from django.apps import AppConfig
from django.core import checks as django_checks


class SettingsConfig(AppConfig):
    """Not a room: it owns no tables."""

    name = "qcapp.config"
    label = "config"

    def ready(self) -> None:
        from .checks import check_database_roles, check_environment

        django_checks.register(check_environment)
        django_checks.register(check_database_roles, django_checks.Tags.database)
