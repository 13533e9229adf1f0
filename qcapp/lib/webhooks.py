"""Sends a signed message to an address that the keeper named, and to no other: no redirect, no private network."""

from __future__ import annotations

import hashlib
import hmac
import http.client
import ipaddress
import socket
import ssl
from dataclasses import dataclass
from datetime import datetime
from urllib.parse import urlsplit

from qcapp.core.errors import Refused

PATIENCE = 10.0  # seconds
MOST_READ = 1024


@dataclass(frozen=True)
class Place:
    """Where a message goes: the address as named, and the one host address that was looked at."""

    host: str
    port: int
    path: str
    secure: bool
    address: str


def place_of(url: str, *, private: bool) -> Place:
    """The address taken apart and looked up once, so that a name cannot turn to another host afterwards.

    Raises Refused `webhook_address` for plain http, for a name that has no address, and for any address that is not
    public (loopback, private, link-local, metadata …), unless `private` says that this is wanted.
    """
    parts = urlsplit(url)
    secure = parts.scheme == "https"
    if not parts.hostname or parts.username or not (secure or (private and parts.scheme == "http")):
        raise Refused("webhook_address", "The webhook's address must begin with https:// and hold no password.")
    port = parts.port or (443 if secure else 80)
    try:
        found = {str(one[4][0]) for one in socket.getaddrinfo(parts.hostname, port, type=socket.SOCK_STREAM)}
    except OSError:
        raise Refused("webhook_address", f"The webhook's host {parts.hostname} has no address now.") from None
    if not private and not all(_public(address) for address in found):
        message = f"The webhook's host {parts.hostname} is inside a private network. Set QCAPP_WEBHOOK_PRIVATE=yes."
        raise Refused("webhook_address", message)
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    return Place(parts.hostname, port, path, secure, min(found))


def _public(address: str) -> bool:
    found = ipaddress.ip_address(address.split("%")[0])
    inner = getattr(found, "ipv4_mapped", None) or getattr(found, "sixtofour", None)
    return found.is_global and not found.is_multicast and (inner is None or inner.is_global)


def signature_of(body: str, secret: bytes, at: datetime) -> str:
    """The header's value: the time and HMAC-SHA-256 (RFC 2104) over time, dot and body."""
    moment = str(int(at.timestamp()))
    return f"t={moment},v1={hmac.new(secret, f'{moment}.{body}'.encode(), hashlib.sha256).hexdigest()}"


def post(place: Place, body: str, headers: dict[str, str]) -> int:
    """Send the body; gives the status. Raises OSError or http.client.HTTPException when there is no answer."""
    connection = _Pinned(place)
    try:
        connection.request("POST", place.path, body.encode(), {"Content-Type": "application/json", **headers})
        answer = connection.getresponse()
        answer.read(MOST_READ)
        return answer.status
    finally:
        connection.close()


class _Pinned(http.client.HTTPConnection):
    """A connection to the address that was looked at, whatever the name says now."""

    def __init__(self, place: Place) -> None:
        super().__init__(place.host, place.port, timeout=PATIENCE)
        self.place = place

    def connect(self) -> None:
        plain = socket.create_connection((self.place.address, self.place.port), PATIENCE)
        context = ssl.create_default_context() if self.place.secure else None
        self.sock = context.wrap_socket(plain, server_hostname=self.place.host) if context else plain
