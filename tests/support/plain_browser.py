"""A browser over a real connection: cookies, forms with their token, and nothing else."""

import http.client
import re
import socket
from collections.abc import Mapping
from contextlib import closing
from dataclasses import dataclass, field
from urllib.parse import urlencode

_TOKEN = re.compile(r'name="form_token" value="([0-9a-f]+)"')


def free_port() -> int:
    """Return a port of this machine at which nobody listens."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        return int(free.getsockname()[1])


@dataclass
class Browser:
    """A browser with a session."""

    port: int
    cookies: dict[str, str] = field(default_factory=dict)

    def ask(self, path: str, fields: Mapping[str, str] | None = None) -> tuple[int, str]:
        """Return the status and the text of an answer. fields: of a form."""
        headers = {"Cookie": "; ".join(f"{name}={value}" for name, value in self.cookies.items())}
        body = None
        if fields is not None:
            body = urlencode(fields)
            headers["Content-Type"] = "application/x-www-form-urlencoded"
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        with closing(connection):
            connection.request("POST" if body else "GET", path, body, headers)
            answer = connection.getresponse()
            text = answer.read().decode("utf-8", "replace")
        for line in answer.headers.get_all("Set-Cookie", []):
            name, _, value = line.partition(";")[0].partition("=")
            self.cookies[name] = value
        return answer.status, text

    def form(self, shown: str, path: str, **fields: str) -> int:
        """Send a form of a page; return the status."""
        found = _TOKEN.search(self.ask(shown)[1])
        if found is None:
            msg = f"{shown} has no form"
            raise RuntimeError(msg)
        return self.ask(path, {"form_token": found[1], **fields})[0]
