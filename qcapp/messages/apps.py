from django.apps import AppConfig


class MessagesConfig(AppConfig):
    name = "qcapp.messages"
    label = "shop_messages"  # Django has an app labelled messages
