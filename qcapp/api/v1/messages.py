"""A person's messages, and which of them come by e-mail as well."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.messages.kinds import Kind
from qcapp.messages.queries import inbox, mail_kinds, undelivered
from qcapp.messages.services import choose_mail, mark_read
from qcapp.messages.services.delivering import try_again
from qcapp.people.access import SIGNED_IN
from qcapp.people.roles import Act

from ..acts import ActView, Refusal
from ..errors import plain


class Message(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    kind = serializers.CharField()
    subject = serializers.CharField()
    text = serializers.CharField()
    link = serializers.CharField(allow_blank=True, help_text="an address of this site")
    about = serializers.CharField(allow_blank=True)
    at = serializers.DateTimeField()
    read_at = serializers.DateTimeField(allow_null=True)
    picture_alternative = serializers.CharField(allow_blank=True, help_text="what the message's chart shows, in words")


class MessageList(serializers.Serializer[Any]):
    unread = serializers.IntegerField()
    older = serializers.IntegerField(allow_null=True, help_text="give it as before= for the next page")
    messages = Message(many=True)


class Mail(serializers.Serializer[Any]):
    kinds = serializers.ListField(child=serializers.ChoiceField(choices=[k.value for k in Kind]), max_length=20)


class Undelivered(serializers.Serializer[Any]):
    undelivered = serializers.ListField(child=serializers.DictField())


class Nothing(serializers.Serializer[Any]):
    """An empty body."""


class MessagesView(ActView):
    act = {"GET": SIGNED_IN}

    @extend_schema(
        parameters=[OpenApiParameter("before", int), OpenApiParameter("show", str, description="unread, or all")],
        responses={200: MessageList, 400: Refusal, 401: Refusal},
        operation_id="MessageList",
    )
    def get(self, request: Request) -> Response:
        """My messages, the latest first."""
        typed = request.query_params.get("before", "")
        before = int(typed) if typed.isascii() and typed.isdigit() and len(typed) < 19 else None
        unread_only = request.query_params.get("show") == "unread"
        found = inbox(self.person, unread_only=unread_only, before=before)
        names = list(Message().fields)
        lines = [{name: plain(asdict(one))[name] for name in names} for one in found.messages]
        return Response({"unread": found.unread, "older": found.older, "messages": lines})


class MessageReadView(ActView):
    act = {"POST": SIGNED_IN}

    @extend_schema(request=Nothing, responses={200: MessageList, 401: Refusal, 404: Refusal})
    def post(self, request: Request, message_id: int) -> Response:
        """Mark a message as read; 0 marks all."""
        mark_read(by=self.person, message_id=message_id or None, at=self.at)
        found = inbox(self.person)
        names = list(Message().fields)
        lines = [{name: plain(asdict(one))[name] for name in names} for one in found.messages]
        return Response({"unread": found.unread, "older": found.older, "messages": lines})


class MailView(ActView):
    act = {"GET": SIGNED_IN, "POST": SIGNED_IN}

    @extend_schema(responses={200: Mail, 401: Refusal})
    def get(self, request: Request) -> Response:
        """For which kinds I get e-mail as well."""
        return Response({"kinds": sorted(mail_kinds(self.person))})

    @extend_schema(request=Mail, responses={200: Mail, 400: Refusal, 401: Refusal})
    def post(self, request: Request) -> Response:
        """Choose them."""
        choose_mail(by=self.person, kinds=self.read(Mail)["kinds"], at=self.at)
        return Response({"kinds": sorted(mail_kinds(self.person))})


class UndeliveredView(ActView):
    act = {"GET": Act.KEEP_MAIL}

    @extend_schema(responses={200: Undelivered, 401: Refusal, 403: Refusal})
    def get(self, request: Request) -> Response:
        """E-mails that the mail server did not take."""
        return Response({"undelivered": [plain(asdict(one)) for one in undelivered()]})


class MailAgainView(ActView):
    act = {"POST": Act.KEEP_MAIL}

    @extend_schema(request=Nothing, responses={200: Undelivered, 401: Refusal, 403: Refusal, 404: Refusal})
    def post(self, request: Request, message_id: int) -> Response:
        """Try one at the next run."""
        try_again(by=self.person, message_id=message_id, at=self.at)
        return Response({"undelivered": [plain(asdict(one)) for one in undelivered()]})
