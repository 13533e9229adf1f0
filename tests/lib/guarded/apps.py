from django.apps import AppConfig


class GuardedConfig(AppConfig):
    name = "tests.lib.guarded"
    label = "guarded"
