"""Where a Web Push goes: what a browser gave for it, and the URL of a channel that holds that."""

import ipaddress
import json
from dataclasses import asdict, dataclass, field
from typing import Self
from urllib.parse import urlsplit

from pydantic import SecretStr

from sillward.channels.push_identity import PushIdentity, from_base64, to_base64
from sillward.errors import UsageError

MAX_ENDPOINT = 1_000
"""Characters of an endpoint. Judgement: those of the usual services have 200 to 600."""

_SCHEME = "webpush:"

_POINT_BYTES, _SECRET_BYTES = 65, 16
"""Lengths of a point on P-256 and of the secret that comes with it (RFC 8291, section 2)."""

_UNCOMPRESSED = 4
"""How the octets of a point begin that are both its coordinates (SEC 1, section 2.3.3)."""

_NAT64 = ipaddress.IPv6Network("64:ff9b::/96")
"""Where an IPv4 address is the end of an IPv6 one (RFC 6052, section 2.1)."""


@dataclass(frozen=True, slots=True)
class Subscription:
    """What a browser gives to whom may send to it (Push API): where to, and the keys for it."""

    endpoint: str = field(repr=False)
    p256dh: str = field(repr=False)
    auth: str = field(repr=False)

    @classmethod
    def checked(cls, endpoint: str, p256dh: str, auth: str) -> Self:
        """Return a subscription. Raise UsageError for what no browser would give."""
        if len(endpoint) > MAX_ENDPOINT or not (
            _may_be_called(endpoint) and _are_keys(p256dh, auth)
        ):
            msg = "what the browser gave is not where a push can be sent to"
            raise UsageError(msg)
        return cls(endpoint, p256dh, auth)

    @property
    def origin(self) -> str:
        """The push service, as its signature names it (RFC 6454, section 6.2)."""
        parts = urlsplit(self.endpoint)
        port = f":{parts.port}" if parts.port not in (None, 443) else ""
        host = f"[{parts.hostname}]" if ":" in (parts.hostname or "") else parts.hostname
        return f"https://{host}{port}"


@dataclass(frozen=True, slots=True)
class PushAddress:
    """A subscription, and by whom what is sent to it is signed."""

    to: Subscription
    by: PushIdentity

    @property
    def url(self) -> SecretStr:
        """The URL of a channel that stands for it."""
        packed = json.dumps({"to": asdict(self.to), "by": asdict(self.by)}).encode()
        return SecretStr(f"{_SCHEME}{to_base64(packed).decode()}")

    @classmethod
    def of_url(cls, url: SecretStr) -> Self | None:
        """Return what a URL stands for; None for `NOBODY`."""
        if url.get_secret_value() == _SCHEME:
            return None
        packed = json.loads(from_base64(url.get_secret_value().removeprefix(_SCHEME)))
        return cls(Subscription(**packed["to"]), PushIdentity(**packed["by"]))


NOBODY = SecretStr(_SCHEME)
"""The URL of a phone while there is nobody who could sign what is sent to it."""


def is_push(url: SecretStr | None) -> bool:
    """Whether what is sent to this URL is a Web Push."""
    return url is not None and url.get_secret_value().startswith(_SCHEME)


def is_public(address: str) -> bool:
    """Whether an IP address is that of a machine anywhere on the internet.

    An endpoint comes from a browser, and must not lead to a machine of the household's own network.
    """
    ip = ipaddress.ip_address(address.partition("%")[0])
    if isinstance(ip, ipaddress.IPv6Address):
        if ip in _NAT64:
            return is_public(str(ipaddress.IPv4Address(int(ip) & 0xFFFF_FFFF)))
        if ip.ipv4_mapped or ip.sixtofour or ip.teredo:
            return False
    return ip.is_global and not ip.is_multicast


def _may_be_called(endpoint: str) -> bool:
    """Whether an endpoint is an address by https that may lead to a push service.

    What a name leads to is looked at when it is dialled.
    """
    if not (endpoint.isascii() and endpoint.isprintable()) or " " in endpoint:
        return False
    try:
        parts = urlsplit(endpoint)
        host, _ = parts.hostname, parts.port
    except ValueError:
        return False
    if parts.scheme != "https" or not host or "@" in parts.netloc:
        return False
    try:
        return is_public(host)
    except ValueError:  # a name
        return True


def _are_keys(p256dh: str, auth: str) -> bool:
    try:
        point, secret = from_base64(p256dh), from_base64(auth)
    except ValueError:
        return False
    return len(point) == _POINT_BYTES and point[0] == _UNCOMPRESSED and len(secret) == _SECRET_BYTES
