from django.urls import path

from . import views

app_name = "messages"
urlpatterns = [
    path("", views.inbox_page, name="inbox"),
    path("read/", views.read_all, name="read_all"),
    path("mail/", views.mail, name="mail"),
    path("outbox/", views.outbox, name="outbox"),
    path("outbox/<int:message_id>/again/", views.again, name="again"),
    path("<int:message_id>/open/", views.open_message, name="open"),
]
