from django.apps import AppConfig


class CertificatesConfig(AppConfig):
    name = "qcapp.certificates"
