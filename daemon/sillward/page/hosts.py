"""The names and addresses by which the page may be called, and where its forms come from."""

import ipaddress
import re
from collections.abc import Collection
from dataclasses import dataclass
from typing import NamedTuple, Self
from urllib.parse import urlsplit

from werkzeug.wrappers import Request

from sillward.config.settings import PageSettings, is_loopback

_HOST = re.compile(r"([a-z0-9_.-]+|\[[0-9a-f:.]+\])(?::([0-9]{1,5}))?", re.ASCII)

_PORTS = {"http": 80, "https": 443}


class Origin(NamedTuple):
    """Where a page comes from, as browsers tell pages apart (RFC 6454, section 4)."""

    scheme: str
    host: str
    port: int

    @classmethod
    def of(cls, address: str) -> Self | None:
        """Return the origin of a web address; None if it has none, as "null" has."""
        try:
            parts = urlsplit(address)
            port = parts.port
        except ValueError:
            return None
        if parts.scheme not in _PORTS or not parts.hostname:
            return None
        return cls(parts.scheme, parts.hostname, port or _PORTS[parts.scheme])


@dataclass(frozen=True, slots=True)
class Hosts:
    """What the page is called by. This machine's own names for itself are always right.

    names: in small letters; an address of IPv6 without brackets.
    any_address: whether every literal address is right, because the page listens at all of this
        machine's. A foreign page can have a name point here, but never an address.
    url: what phones call the page by: its forms may come from there, whatever a web server in
        between makes of the host.
    """

    names: Collection[str] = ()
    any_address: bool = False
    url: str | None = None

    @classmethod
    def of(cls, settings: PageSettings, listening: str) -> Self:
        """Return those of the settings, for a page that listens at an address."""
        names = [_alike(name.strip("[]")) for name in settings.host_names]
        own = Origin.of(settings.url) if settings.url else None
        if own is not None:
            names.append(_alike(own.host))
        everywhere = listening in ("0.0.0.0", "::")
        if not everywhere:
            names.append(_alike(listening.lower()))
        return cls(tuple(names), everywhere, settings.url)

    def has(self, header: str) -> bool:
        """Whether this is the header `Host` of a request for this page."""
        found = _HOST.fullmatch(header.lower())
        if found is None:
            return False
        host = _alike(found[1].strip("[]").rstrip("."))
        if host in self.names or is_loopback(host):
            return True
        return self.any_address and _is_address(host)

    def is_own_origin(self, origin: str, request: Request) -> bool:
        """Whether the header `Origin` of a form names this page."""
        known = Origin.of(origin)
        here = Origin.of(f"{request.scheme}://{request.environ.get('HTTP_HOST', '')}")
        return known is not None and known in (here, Origin.of(self.url or ""))


def _is_address(host: str) -> bool:
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return False
    return True


def _alike(host: str) -> str:
    """Return an address in the one way in which it is compared; a name as it is."""
    return str(ipaddress.ip_address(host)) if _is_address(host) else host
