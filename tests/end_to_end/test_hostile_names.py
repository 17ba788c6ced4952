"""What growers may call things, from the file to push and mail: text stays text.

A name is never a header, a line of its own, markup or a template.
"""

import socket
from collections.abc import Iterator
from dataclasses import dataclass, field
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path
from typing import Any

import pytest
from aiosmtpd.controller import Controller
from click.testing import CliRunner

from sillward import cli
from tests.support.installation import SITE, Installation, an_installation

NAMES = {
    "tags": "<b>Ann & Co</b>",
    "marks": "*x* _y_ [a](http://b)",
    "header": "Bcc: x@y.test, Subject: z",
    "templates": "{0} {x} ${HOME} {{7*7}} %s %(a)s",
    "escapes": r"a\r\nBcc: b\x1b[31m \u0041",
    "shell": "$(touch x); `id` | cat",
    "encoded word": "=?utf-8?q?Bcc:_x?=",
    "right to left": "סחלב אדום",
}
"""Each is a plant's and a spot's, and the site's."""

CONTROLS = {
    "end of line": r"Fern\r\nBcc: x@y.test",
    "escape": r"Fern \u001b[31m",
    "nothing": r"Fern \u0000",
    "separator": r"Fern \u2028 x",
    "next line": r"Fern \u0085 x",
    "override": r"Fern \u202e x",
}
"""As TOML writes them; the last turns what comes after it around."""


@dataclass
class Mailbox:
    port: int
    mails: list[tuple[list[str], bytes]] = field(default_factory=list)

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:  # noqa: N802
        self.mails.append((envelope.rcpt_tos, envelope.content))
        return "250 OK"


@pytest.fixture
def mailbox() -> Iterator[Mailbox]:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        box = Mailbox(listener.getsockname()[1])
    controller = Controller(box, hostname="127.0.0.1", port=box.port)
    controller.start()
    yield box
    controller.stop()


@pytest.fixture
def installation(tmp_path: Path) -> Iterator[Installation]:
    with an_installation(tmp_path) as installation:
        yield installation


def renamed(installation: Installation, **names: str) -> None:
    """Other names in the collection, each as TOML has it."""
    path = installation.folder / "collection.toml"
    text = path.read_text(encoding="utf-8")
    for old, new in {"Left pot": names.get("plant"), SITE: names.get("site")}.items():
        text = text.replace(f'"{old}"', f'"{new or old}"')
    spot = names.get("spot", "bench")
    text = text.replace("[spots.bench]", f'[spots."{spot}"]').replace('"bench"', f'"{spot}"')
    if "rule" in names:
        text += (
            f'\n[[rules]]\nname = "{names["rule"]}"\nwatch = "gust"\nabove = "5 m/s"\n'
            'asks = "note"\n'
        )
    path.write_text(text, encoding="utf-8")


def in_toml(name: str) -> str:
    return name.replace("\\", "\\\\").replace('"', '\\"')


@pytest.mark.parametrize("name", NAMES.values(), ids=NAMES)
def test_a_name_arrives_as_text_and_as_nothing_else(
    name: str, installation: Installation, mailbox: Mailbox
) -> None:
    toml = in_toml(name)
    renamed(installation, plant=toml, site=toml, spot=toml, rule=toml)
    mail = f"mailto://127.0.0.1:{mailbox.port}/?from=desk@court.test&to=grower@court.test"
    with (installation.folder / "collection.toml").open("a", encoding="utf-8") as file:
        file.write(f'\n[[channels]]\nname = "mail"\nurl = "{mail}"\nrounds = ["dusk"]\n')

    result = installation.call("send", "--round", "dusk")

    assert result.returncode == 0, result.stderr
    (push,) = installation.sink.pushes
    assert name in push["message"]
    assert "\n" not in push["title"]
    ((recipients, content),) = mailbox.mails
    parsed = message_from_bytes(content, policy=policy.default)
    assert isinstance(parsed, EmailMessage)
    body = parsed.get_body(("plain",))
    assert body is not None
    assert recipients == ["grower@court.test"]
    assert parsed.get_all("Subject") == [push["title"]]
    assert parsed["Bcc"] is None
    assert parsed["Cc"] is None
    assert name in " ".join(body.get_content().split())
    assert parsed.get_body(("html",)) is None


@pytest.mark.parametrize("what", ["plant", "site", "spot", "rule"])
@pytest.mark.parametrize("name", CONTROLS.values(), ids=CONTROLS)
def test_a_name_that_controls_is_refused(
    what: str, name: str, installation: Installation, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SILLWARD_COLLECTION", str(installation.folder / "collection.toml"))
    assert CliRunner().invoke(cli.main, ["check"]).exit_code == 0
    renamed(installation, **{what: name})

    result = CliRunner().invoke(cli.main, ["check"])

    assert result.exit_code == 78
    assert "on one line" in result.stderr
    assert all(line.isprintable() for line in result.stderr.split("\n"))
