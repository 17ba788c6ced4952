"""The names by which the page may be called, and where its forms may come from."""

import pytest
from werkzeug.test import EnvironBuilder
from werkzeug.wrappers import Request

from sillward.config.settings import PageSettings
from sillward.page.hosts import Hosts, Origin


def hosts(address: str, **more: str) -> Hosts:
    settings = PageSettings(address=address, **more)
    assert settings.host_port is not None
    return Hosts.of(settings, settings.host_port[0])


LOCAL = ["localhost", "LocalHost:8123", "localhost.", "127.0.0.1:8123", "127.9.9.9", "[::1]:8123"]
STRANGE = [
    "", "evil.example", "evil.example:8123", "localhost.evil.example", "127.0.0.1.evil.example",
    "evil.example#localhost", "localhost@evil.example", "user@localhost", "localhost:8123:9",
    "localhost:x", "localhost, evil.example", "localhost evil.example", " localhost", "[::1",
    "::1", "[::1]evil", "2130706433", "0x7f.1", "localhost\x00", "löcalhost", "127.1", "0.0.0.0",
    "[::ffff:127.0.0.1]", "localhost:999999", "/localhost", "http://localhost",
]  # fmt: skip


@pytest.mark.parametrize("header", LOCAL)
def test_this_machine_s_own_names_are_always_right(header: str) -> None:
    assert Hosts().has(header)
    assert hosts("192.168.1.20:8123").has(header)


@pytest.mark.parametrize("header", STRANGE)
def test_any_other_name_is_refused(header: str) -> None:
    """So no foreign site can have its own name lead here (DNS rebinding)."""
    assert not Hosts().has(header)
    assert not hosts("127.0.0.1:8123", hosts="yard", url="https://plants.example").has(header)


def test_the_address_at_which_it_listens_is_right_and_its_neighbours_are_not() -> None:
    at_home = hosts("192.168.1.20:8123")

    assert at_home.has("192.168.1.20:8123")
    assert at_home.has("192.168.1.20")
    assert not at_home.has("192.168.1.21:8123")
    assert hosts("[2001:db8::1]:80").has("[2001:db8:0::1]")


@pytest.mark.parametrize("address", ["0.0.0.0:8123", "[::]:8123"])
def test_listening_everywhere_takes_any_address_but_no_name(address: str) -> None:
    everywhere = hosts(address)

    assert everywhere.has("192.168.1.20:8123")
    assert everywhere.has("[2001:db8::7]:8123")
    assert not everywhere.has("yard.example:8123")
    assert not everywhere.has("yard")


def test_names_that_the_settings_give_are_right() -> None:
    named = hosts("127.0.0.1:1", hosts="Yard.local, box, [fd00::1]", url="https://Plants.Example/x")

    for header in ("yard.local:8123", "BOX", "plants.example", "[fd00::1]:9"):
        assert named.has(header)
    assert not named.has("other.local")


@pytest.mark.parametrize(
    ("origin", "scheme", "host", "own"),
    [
        ("http://localhost:8123", "http", "localhost:8123", True),
        ("http://localhost", "http", "localhost:80", True),
        ("https://plants.example", "https", "plants.example", True),
        ("https://plants.example:443", "http", "127.0.0.1:8123", True),  # by its url
        ("http://localhost:8124", "http", "localhost:8123", False),
        ("https://localhost:8123", "http", "localhost:8123", False),
        ("http://127.0.0.1:8123", "http", "localhost:8123", False),
        ("http://plants.example", "http", "127.0.0.1:8123", False),
        ("null", "http", "localhost:8123", False),
        ("", "http", "localhost:8123", False),
        ("http://localhost:8123.evil.example", "http", "localhost:8123", False),
        ("http://localhost:x", "http", "localhost:8123", False),
        ("http://[::1", "http", "[::1]", False),
        ("file://localhost:8123", "http", "localhost:8123", False),
    ],
)
def test_where_a_form_may_come_from(origin: str, scheme: str, host: str, own: bool) -> None:
    request = Request(
        EnvironBuilder(base_url=f"{scheme}://x/", headers=[("Host", host)]).get_environ()
    )

    known = Hosts(url="https://plants.example").is_own_origin(origin, request)

    assert known is own


def test_without_a_url_nothing_stands_for_it() -> None:
    request = Request(EnvironBuilder(headers=[("Host", "")]).get_environ())

    assert not Hosts().is_own_origin("null", request)
    assert Origin.of("") is None
