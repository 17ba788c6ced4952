"""One GET against everything that a server can do wrong, over real wires on loopback.

Each fault has its words for the grower, a bound on time, and leaves no thread and no socket.
"""

import _socket
import gzip
import logging
import os
import socket
import ssl
import threading
import time
import tracemalloc
import zlib
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import requests
import responses
import trustme
from hypothesis import given
from hypothesis import strategies as st

from sillward.errors import SourceError
from sillward.net import deadline, transport
from sillward.net.fetch import accepted, ask
from sillward.net.http import Answer, Query
from tests.support.loopback_server import (
    CHUNKED,
    LONG_S,
    SHORT_S,
    Talk,
    dripping,
    hanging,
    head,
    nothing_left,
    pouring,
    resetting,
    saying,
    serving,
    whole,
)

KEY = "very-secret-key"
NOW = datetime(2026, 5, 15, 20, tzinfo=UTC)


# -- what is asked of every test here


@pytest.fixture(autouse=True)
def _nothing_left() -> Iterator[None]:
    """No thread and no socket stays behind."""
    with nothing_left():
        yield


def query(address: str, *, follow: bool = False) -> Query:
    return Query(f"{address}/v1/forecast", {"apikey": KEY}, {"X-Contact": "Łódź"}, follow=follow)


def got(address: str, *, deadline_s: float = LONG_S) -> Answer:
    return ask(query(address), source="Here", deadline_s=deadline_s)


def failed(address: str, *, deadline_s: float = LONG_S) -> SourceError:
    """What a call fails with, in time, without a word of the query."""
    began = time.monotonic()
    with pytest.raises(SourceError) as caught:
        got(address, deadline_s=deadline_s)
    assert time.monotonic() - began < LONG_S
    text = str(caught.value)
    assert KEY not in text
    assert "127.0.0.1" not in text
    assert "\n" not in text
    assert caught.value.__cause__ is None
    assert caught.value.__suppress_context__ or caught.value.__context__ is None
    return caught.value


# -- an answer


def test_a_body_comes_with_its_status_and_headers() -> None:
    with serving(whole(b"{}", "X-Who: Me", 'ETag: W/"5"')) as server:
        answer = got(server.address)

    assert (answer.status, answer.body) == (200, b"{}")
    assert (answer.headers["x-who"], answer.etag) == ("Me", 'W/"5"')


def test_the_request_is_one_get_that_says_who_asks() -> None:
    with serving(whole(b"")) as server:
        ask(
            query(server.address),
            source="Here",
            conditions={"If-Modified-Since": "Fri, 15 May 2026 19:00:00 GMT"},
        )

    (asked,) = server.asked
    lines = asked.decode().split("\r\n")
    assert lines[0] == f"GET /v1/forecast?apikey={KEY} HTTP/1.1"
    assert "Accept-Encoding: gzip" in lines
    assert "If-Modified-Since: Fri, 15 May 2026 19:00:00 GMT" in lines
    assert "X-Contact: Łódź" in lines
    assert [line for line in lines if line.startswith("User-Agent: sillward/")]


def test_a_query_may_name_another_caller() -> None:
    with serving(whole(b"")) as server:
        ask(Query(server.address, {}, {"user-agent": "someone/1"}), source="Here")

    assert server.asked[0].lower().count(b"user-agent:") == 1
    assert b": someone/1\r\n" in server.asked[0]


def test_a_query_shows_no_secrets() -> None:
    shown = repr(Query("http://own.example", {"apikey": KEY}, {"Authorization": KEY}))

    assert "own.example" in shown
    assert KEY not in shown


@pytest.mark.parametrize(
    "talk",
    [
        saying(head(CHUNKED) + b"3;x=y\r\n{\"a\r\n4\r\n\":1}\r\n0\r\n\r\n"),
        saying(head() + b'{"a":1}'),
        whole(b'{"a":1}', "Content-Length: 7"),
        saying(head("Content-Length: 7, 7") + b'{"a":1}'),
        whole(b'{"a":1}, and more than was announced'[:7], "Content-Encoding: identity"),
        saying(head("Content-Length: 7") + b'{"a":1}, and more than was announced'),
        whole(gzip.compress(b'{"a":1}'), "Content-Encoding: gzip"),
        whole(gzip.compress(b'{"a"') + gzip.compress(b":1}"), "Content-Encoding: X-GZip"),
        saying(head(status="100 Continue") * 3 + head("Content-Length: 7") + b'{"a":1}'),
    ],
    ids=[
        "chunks", "until the end", "a length twice", "a length twice in a line", "identity",
        "more than announced", "gzip", "gzip of two members", "after 100 Continue",
    ],
)  # fmt: skip
def test_all_good_forms_of_a_body_give_the_same(talk: Talk) -> None:
    with serving(talk) as server:
        assert got(server.address).body == b'{"a":1}'


@pytest.mark.parametrize("status", [204, 304])
def test_an_answer_without_a_body_is_empty(status: int) -> None:
    lines = ("Content-Encoding: gzip", "Content-Length: 300")
    with serving(hanging(head(*lines, status=f"{status} Nothing"))) as server:
        answer = got(server.address)

    assert (answer.status, answer.body) == (status, b"")


def test_status_103_is_told_as_it_is() -> None:
    """Nobody asked for a hint ahead of the answer."""
    with serving(saying(head(status="103 Early Hints"), head())) as server:
        assert got(server.address).status == 103


# -- time


@pytest.mark.parametrize(
    "talk",
    [
        hanging(),
        hanging(b"HTTP/1.1 200"),
        hanging(b"HTTP/1.1 200 OK\r\nContent-Len"),
        hanging(head("Content-Length: 90")),
        hanging(head("Content-Length: 90"), b"{"),
        hanging(head(CHUNKED), b"5\r\nab"),
        dripping(b"", b"H"),
        dripping(b"HTTP/1.1 200 OK\r\nX: ", b"x"),
        dripping(b"HTTP/1.1 200 OK\r\n", b"X: 1\r\n"),
        dripping(b"", head(status="100 Continue")),
        dripping(head("Content-Length: 99999"), b" "),
        dripping(head(CHUNKED), b"1\r\n \r\n"),
        dripping(head(CHUNKED), b"0"),
        dripping(head(CHUNKED) + b"0\r\n", b"X: 1\r\n"),
        dripping(head(), b" "),
        dripping(head("Content-Length: 99999", status="503 Busy"), b" "),
        pouring(b"", head(status="100 Continue")),
        pouring(head(CHUNKED) + b"0\r\n", b"X: 1\r\n" * 1_000),
    ],
    ids=[
        "nothing", "half a status", "half the headers", "no body", "half a body", "half a chunk",
        "status drip", "header drip", "headers drip", "100 drip", "body drip", "chunks drip",
        "chunk size drip", "trailers drip", "endless drip", "error drip", "100 flood",
        "trailers flood",
    ],
)  # fmt: skip
def test_a_server_that_keeps_us_waiting_is_given_up_at_the_deadline(talk: Talk) -> None:
    with serving(talk) as server:
        error = failed(server.address, deadline_s=SHORT_S)

    assert str(error) == "Here: no whole answer within 0.25 s"
    assert (error.passing, error.wait) == (False, None)


def test_a_handshake_that_hangs_is_given_up_at_the_deadline() -> None:
    with serving(hanging()) as server:
        error = failed(server.address.replace("http:", "https:"), deadline_s=SHORT_S)

    assert str(error) == "Here: no whole answer within 0.25 s"


def test_a_deadline_that_has_passed_before_costs_no_call() -> None:
    with serving(whole(b"{}")) as server:
        error = failed(server.address, deadline_s=-1.0)

    assert str(error) == "Here: no whole answer within -1 s"
    assert server.asked == []


def test_a_server_that_stops_is_given_up_before_the_deadline(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(transport, "READ_S", SHORT_S)
    with serving(hanging(head("Content-Length: 90"), b"{")) as server:
        in_body = failed(server.address)
    with serving(hanging()) as server:
        before = failed(server.address)

    assert str(in_body) == str(before) == "Here: stopped answering"
    assert not in_body.passing


def test_the_deadline_is_by_the_clock_that_is_given() -> None:
    """A machine that slept for an hour in the middle of a body."""
    looks = iter([0.0, *[1.0] * 2, *[3600.0] * 100])
    with (
        serving(dripping(head("Content-Length: 99999"), b" ")) as server,
        pytest.raises(SourceError, match="Here: no whole answer within 40 s"),
    ):
        ask(query(server.address), source="Here", monotonic=lambda: next(looks))


def test_a_clock_that_stands_still_does_not_hold_us() -> None:
    with (
        serving(dripping(head("Content-Length: 99999"), b" ")) as server,
        pytest.raises(SourceError, match=r"Here: no whole answer within 0\.25 s"),
    ):
        ask(query(server.address), source="Here", deadline_s=SHORT_S, monotonic=lambda: 0.0)


def test_many_addresses_share_the_deadline(monkeypatch: pytest.MonkeyPatch) -> None:
    """A name with a hundred addresses, none of which answers."""
    clock = [0.0]
    tried: list[float] = []

    def addresses(*_: object, **__: object) -> list[tuple[int, int, int, str, tuple[str, int]]]:
        return [(2, 1, 6, "", (f"127.0.0.{last}", 80)) for last in range(1, 101)]

    def silent(address: tuple[str, int], timeout: float, **_: object) -> socket.socket:
        tried.append(timeout)
        clock[0] += timeout
        raise TimeoutError

    monkeypatch.setattr(socket, "getaddrinfo", addresses)
    monkeypatch.setattr(deadline, "create_connection", silent)
    with pytest.raises(SourceError, match="Here: cannot be reached in time"):
        ask(query("http://own.example"), source="Here", deadline_s=12.0, monotonic=lambda: clock[0])

    assert tried == [5.0, 5.0, 2.0]


# -- connections that fail


def test_a_server_that_is_not_there_cannot_be_reached() -> None:
    with serving(hanging()) as server:
        pass

    error = failed(server.address)

    assert str(error) == "Here: cannot be reached"
    assert not error.passing


def test_a_name_that_is_not_there_cannot_be_reached(monkeypatch: pytest.MonkeyPatch) -> None:
    def unknown(*_: object, **__: object) -> None:
        raise socket.gaierror(socket.EAI_NONAME, "Name or service not known")

    monkeypatch.setattr(socket, "getaddrinfo", unknown)

    assert str(failed("http://own.example")) == "Here: cannot be reached"


ZIPPED = gzip.compress(bytes(range(256)) * 20)


@pytest.mark.parametrize(
    ("talk", "told", "passing"),
    [
        (resetting(), "cannot be reached", True),
        (saying(), "cannot be reached", True),
        (
            resetting(head("Content-Length: 90"), b"{"),
            "broke off in the middle of its answer",
            True,
        ),
        (saying(head("Content-Length: 90") + b"{"), "broke off in the middle of its answer", True),
        (saying(head(CHUNKED) + b"5\r\nab"), "broke off in the middle of its answer", True),
        (saying(head(CHUNKED) + b"2\r\nab\r\n"), "broke off in the middle of its answer", True),
        (saying(head(CHUNKED) + b"zz\r\nab\r\n"), "broke off in the middle of its answer", True),
        (saying(head(CHUNKED) + b"1" * 70_000), "broke off in the middle of its answer", True),
        (
            saying(head("Content-Encoding: gzip") + ZIPPED[:-20]),
            "broke off in the middle of its answer",
            True,
        ),
        (
            whole(b"no gzip at all", "Content-Encoding: gzip"),
            "sent an answer that cannot be unpacked",
            False,
        ),
        (
            whole(ZIPPED[:-8] + bytes(8), "Content-Encoding: gzip"),
            "sent an answer that cannot be unpacked",
            False,
        ),
        (
            whole(b"x", "Content-Encoding: gzip, gzip"),
            "sent an answer that cannot be unpacked",
            False,
        ),
        (whole(b"x", "Content-Encoding: br"), "sent an answer that cannot be unpacked", False),
        (
            saying(head("Transfer-Encoding: garbage") + b"{}"),
            "sent an answer that cannot be unpacked",
            False,
        ),
        (
            saying(head("Transfer-Encoding: gzip, chunked") + b"0\r\n\r\n"),
            "sent an answer that cannot be unpacked",
            False,
        ),
        (saying(head("Content-Length: abc") + b"{}"), "sent an answer of unclear length", False),
        (saying(head("Content-Length: -2") + b"{}"), "sent an answer of unclear length", False),
        (saying(head("Content-Length: 2, 3") + b"{}"), "sent an answer of unclear length", False),
        (saying(head("Content-Length:") + b"{}"), "sent an answer of unclear length", False),
        (
            saying(head(f"Content-Length: {'9' * 30}") + b"{}"),
            "broke off in the middle of its answer",
            True,
        ),
        (saying(b"Garbage\r\n\r\n"), "sent an answer that cannot be read", False),
        (saying(b"\x00\xff\xfe\r\n\r\n"), "sent an answer that cannot be read", False),
        (saying(b"HTTP/1.1 two OK\r\n\r\n"), "sent an answer that cannot be read", False),
        (saying(b"HTTP/1.1 20000 OK\r\n\r\n"), "sent an answer that cannot be read", False),
        (saying(b"HTTP/7.0 200 OK\r\n\r\n"), "sent an answer that cannot be read", False),
        (saying(b"<html>HTTP/0.9 has no head</html>"), "sent an answer that cannot be read", False),
        (saying(b"H" * 100_000), "sent an answer that cannot be read", False),
        (saying(head(f"X: {'x' * 100_000}")), "sent an answer that cannot be read", False),
        (
            saying(head(*[f"X-{number}: 1" for number in range(10_000)])),
            "sent an answer that cannot be read",
            False,
        ),
    ],
)
def test_a_broken_answer_is_told_in_words(talk: Talk, told: str, passing: bool) -> None:
    with serving(talk) as server:
        error = failed(server.address)

    assert str(error) == f"Here: {told}"
    assert (error.passing, error.wait) == (passing, None)
    assert len(server.asked) == 1, "asked once: whether to ask again is not decided here"


@pytest.mark.parametrize(
    ("error", "told"),
    [
        (requests.exceptions.SSLError, "its certificate cannot be trusted"),
        (requests.exceptions.ConnectTimeout, "cannot be reached in time"),
        (requests.exceptions.ReadTimeout, "stopped answering"),
        (requests.exceptions.ChunkedEncodingError, "broke off in the middle of its answer"),
        (requests.exceptions.ContentDecodingError, "sent an answer that cannot be unpacked"),
        (requests.exceptions.ConnectionError, "cannot be reached"),
        (requests.exceptions.InvalidURL, "has no usable address"),
        (requests.exceptions.RetryError, "failed (RetryError)"),
        (OSError, "failed (OSError)"),
    ],
)
def test_a_failure_is_told_without_addresses(error: type[OSError], told: str) -> None:
    with responses.RequestsMock() as mock:
        mock.get("http://own.example/v1/forecast", body=error(f"http://own.example?apikey={KEY}"))

        assert str(failed("http://own.example")) == f"Here: {told}"


@pytest.mark.parametrize(
    "address",
    [
        "http://[::1",
        "http://own.example:x",
        "http://.",
        "own.example",
        "gopher://own.example",
    ],
)
def test_an_address_that_is_none_is_told(address: str) -> None:
    assert str(failed(address)) == "Here: has no usable address"


@pytest.mark.parametrize("host", ["own..example", "a" * 70 + ".example"])
def test_a_host_name_that_is_none_is_told(host: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The real look-up: it refuses such a name before it asks anybody."""
    monkeypatch.setattr(socket, "getaddrinfo", _socket.getaddrinfo)

    assert str(failed(f"http://{host}")) == "Here: has no usable address"


def test_torn_headers_do_not_bring_the_query_into_the_log(
    caplog: pytest.LogCaptureFixture,
) -> None:
    caplog.set_level(logging.INFO)
    with serving(saying(head("no colon", "Content-Length: 2") + b"{}")) as server:
        assert got(server.address).status == 200

    assert KEY not in caplog.text


# -- size


def counted(talk: Talk, sent: list[int]) -> Talk:
    """The same, noting how many bytes were taken."""

    class Counting(socket.socket):
        def sendall(self, data: bytes, flags: int = 0) -> None:  # type: ignore[override]
            super().sendall(data, flags)
            sent.append(len(data))

    def spied(connection: socket.socket, gone: threading.Event) -> None:
        with Counting(fileno=os.dup(connection.fileno())) as spy:
            spy.settimeout(connection.gettimeout())
            talk(spy, gone)

    return spied


@pytest.mark.parametrize(
    ("start", "piece"),
    [
        (head("Content-Length: 50000000"), b" " * 100_000),
        (head(CHUNKED), b"186a0\r\n" + b" " * 100_000 + b"\r\n"),
        (head(), b" " * 100_000),
    ],
    ids=["length", "chunks", "until the end"],
)
def test_a_body_of_fifty_megabytes_is_given_up_at_five(start: bytes, piece: bytes) -> None:
    sent: list[int] = []
    with serving(counted(pouring(start, piece), sent)) as server:
        error = failed(server.address)

    assert str(error) == "Here: the answer is larger than 5 MB"
    assert not error.passing
    assert sum(sent) < 30_000_000


def bomb(connection: socket.socket, gone: threading.Event) -> None:
    """A gigabyte of nothing, packed while it is sent."""
    packer = zlib.compressobj(wbits=31)
    connection.sendall(head("Content-Encoding: gzip"))
    for _ in range(1_000):
        connection.sendall(packer.compress(bytes(1_000_000)))
    connection.sendall(packer.flush())


def test_a_gzip_bomb_is_given_up_in_little_memory() -> None:
    tracemalloc.start()
    try:
        with serving(bomb) as server:
            error = failed(server.address)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()

    assert str(error) == "Here: the answer is larger than 5 MB"
    # It was 11 MB; 15 with all of each piece unpacked.
    assert peak < 13_000_000


def test_packed_nothing_is_given_up_by_what_it_takes_on_the_wire() -> None:
    empty = gzip.compress(b"") * 5_000
    with serving(pouring(head("Content-Encoding: gzip"), empty)) as server:
        assert str(failed(server.address)) == "Here: the answer is larger than 5 MB"


def test_a_body_of_just_the_most_is_taken() -> None:
    body = b" " * transport.MAX_ANSWER_BYTES
    with serving(whole(body)) as server:
        assert got(server.address).body == body


def test_as_many_headers_as_there_may_be_are_read() -> None:
    lines = [f"X-{number}: {'x' * 60_000}" for number in range(90)]
    with serving(saying(head(*lines, "Content-Length: 2"), b"{}")) as server:
        assert got(server.address).body == b"{}"


# -- certificates


@pytest.fixture(scope="module")
def authority() -> trustme.CA:
    return trustme.CA()


@pytest.fixture
def _trusted(authority: trustme.CA, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The system trusts the authority of these tests, and nobody else."""
    bundle = tmp_path / "trusted.pem"
    authority.cert_pem.write_to_path(str(bundle))
    monkeypatch.setenv("REQUESTS_CA_BUNDLE", str(bundle))


def presenting(certificate: trustme.LeafCert) -> ssl.SSLContext:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    certificate.configure_cert(context)
    return context


PAST, LONG_PAST = datetime(2002, 1, 1, tzinfo=UTC), datetime(2001, 1, 1, tzinfo=UTC)
FUTURE, FAR_FUTURE = datetime(2100, 1, 1, tzinfo=UTC), datetime(2101, 1, 1, tzinfo=UTC)


@pytest.mark.usefixtures("_trusted")
def test_a_certificate_that_is_trusted_lets_the_body_through(authority: trustme.CA) -> None:
    with serving(whole(b"{}"), presenting(authority.issue_cert("127.0.0.1"))) as server:
        assert got(server.address).body == b"{}"


@pytest.mark.usefixtures("_trusted")
@pytest.mark.parametrize(
    "talk",
    [
        hanging(),
        dripping(b"HTTP/1.1 200 OK\r\n", b"X: 1\r\n"),
        dripping(head("Content-Length: 99999"), b" "),
        dripping(head(), b" "),
    ],
    ids=["nothing", "headers drip", "body drip", "endless drip"],
)
def test_the_deadline_holds_inside_tls(authority: trustme.CA, talk: Talk) -> None:
    with serving(talk, presenting(authority.issue_cert("127.0.0.1"))) as server:
        error = failed(server.address, deadline_s=SHORT_S)

    assert str(error) == "Here: no whole answer within 0.25 s"


@pytest.mark.usefixtures("_trusted")
@pytest.mark.parametrize(
    ("since", "until"), [(LONG_PAST, PAST), (FUTURE, FAR_FUTURE)], ids=["expired", "not yet"]
)
def test_a_certificate_of_another_time_may_be_a_wrong_clock(
    authority: trustme.CA, since: datetime, until: datetime
) -> None:
    leaf = authority.issue_cert("127.0.0.1", not_before=since, not_after=until)
    with serving(whole(b"{}"), presenting(leaf)) as server:
        error = failed(server.address)

    assert str(error) == (
        "Here: its certificate is out of date or not valid yet; is this machine's clock right?"
    )
    assert not error.passing


@pytest.mark.usefixtures("_trusted")
def test_a_certificate_for_another_host_cannot_be_trusted(authority: trustme.CA) -> None:
    with serving(whole(b"{}"), presenting(authority.issue_cert("own.example"))) as server:
        assert str(failed(server.address)) == "Here: its certificate cannot be trusted"


def test_a_certificate_of_nobody_we_know_cannot_be_trusted(authority: trustme.CA) -> None:
    with serving(whole(b"{}"), presenting(authority.issue_cert("127.0.0.1"))) as server:
        assert str(failed(server.address)) == "Here: its certificate cannot be trusted"


@pytest.mark.usefixtures("_trusted")
def test_a_certificate_signed_by_itself_cannot_be_trusted(tmp_path: Path) -> None:
    own, pem = trustme.CA(), tmp_path / "own.pem"
    own.cert_pem.write_to_path(str(pem))
    own.private_key_pem.write_to_path(str(pem), append=True)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(pem)
    with serving(whole(b"{}"), context) as server:
        error = failed(server.address)

    assert str(error) == "Here: its certificate cannot be trusted"


def test_a_server_without_tls_is_no_safe_connection() -> None:
    # No head comes: what arrives first is the caller's hello.
    with serving(whole(b""), ends=b"") as server:
        error = failed(server.address.replace("http:", "https:"))

    assert str(error) == "Here: no safe connection can be made"


# -- proxies


def test_a_proxy_is_asked_for_the_whole_address(monkeypatch: pytest.MonkeyPatch) -> None:
    with serving(whole(b"{}")) as proxy:
        monkeypatch.setenv("http_proxy", proxy.address)
        assert got("http://own.example").body == b"{}"

    assert proxy.asked[0].startswith(b"GET http://own.example/v1/forecast?")


@pytest.mark.parametrize(
    "talk",
    [
        hanging(),
        dripping(b"HTTP/1.1 200 OK\r\n", b"X: 1\r\n"),
        hanging(head(status="200 Connected")),
    ],
    ids=["nothing", "headers drip", "no handshake behind it"],
)
def test_the_deadline_holds_through_a_proxy(talk: Talk, monkeypatch: pytest.MonkeyPatch) -> None:
    with serving(talk) as proxy:
        monkeypatch.setenv("https_proxy", proxy.address)
        error = failed("https://own.example", deadline_s=SHORT_S)

    assert str(error) == "Here: no whole answer within 0.25 s"
    assert proxy.asked[0].startswith(b"CONNECT own.example:443 ")
    assert KEY.encode() not in proxy.asked[0]


def test_a_proxy_that_refuses_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    with serving(saying(head(status="407 Pay first"))) as proxy:
        monkeypatch.setenv("https_proxy", proxy.address)

        assert str(failed("https://own.example")) == "Here: cannot be reached through the proxy"


def test_a_proxy_of_another_kind_is_not_gone_past(monkeypatch: pytest.MonkeyPatch) -> None:
    with serving(whole(b"{}")) as server:
        monkeypatch.setenv("http_proxy", "socks5://127.0.0.1:9")

        assert str(failed(server.address)) == "Here: has a proxy that cannot be used"
    assert server.asked == []


# -- redirects


def test_a_redirect_to_a_login_page_is_not_followed() -> None:
    location = f"Location: http://127.0.0.1:9/login?k={KEY}"
    with serving(whole(b"<html>", location, status="302 Found")) as server:
        answer = got(server.address)

    assert len(server.asked) == 1
    with pytest.raises(SourceError) as caught:
        accepted(answer, "Here", NOW)
    assert str(caught.value) == "Here: sends us elsewhere (302); a login page in between?"
    assert (caught.value.passing, caught.value.wait) == (False, None)


@pytest.mark.parametrize("follow", [False, True])
def test_the_body_of_a_redirect_is_not_read(follow: bool) -> None:
    start = head("Location: http://portal.example/", CHUNKED, status="302 Found")
    sent: list[int] = []
    talk = counted(pouring(start, b"186a0\r\n" + b" " * 100_000 + b"\r\n"), sent)
    with serving(talk) as server:
        answer = ask(query(server.address, follow=follow), source="Here", deadline_s=LONG_S)

    assert (answer.status, answer.body) == (302, b"")
    assert sum(sent) < 30_000_000


def chain(hops: int, status: str = "302 Found") -> Talk:
    """So many redirects, then a body."""
    calls = iter(range(1, 100))

    def talk(connection: socket.socket, gone: threading.Event) -> None:
        call = next(calls)
        if call > hops:
            connection.sendall(head("Content-Length: 2") + b"{}")
            return
        location = f"Location: /hop/{call}?apikey={KEY}"
        connection.sendall(head(location, "Content-Length: 900", status=status))

    return talk


@pytest.mark.parametrize("status", ["301 Moved", "302 Found", "303 Other", "307 Now", "308 Ever"])
def test_three_redirects_at_one_server_are_followed(status: str) -> None:
    with serving(chain(3, status)) as server:
        answer = ask(
            query(server.address, follow=True), source="Here", conditions={"If-None-Match": '"5"'}
        )

    assert (answer.status, answer.body) == (200, b"{}")
    assert server.asked[3].startswith(f"GET /hop/3?apikey={KEY} HTTP".encode())
    assert all(b'If-None-Match: "5"\r\n' in request for request in server.asked)
    assert all(b"X-Contact: " in request for request in server.asked)


def test_a_fourth_redirect_is_not_followed() -> None:
    with serving(chain(4)) as server:
        answer = ask(query(server.address, follow=True), source="Here")

    assert answer.status == 302
    assert len(server.asked) == 4


def test_the_deadline_covers_all_hops_together() -> None:
    calls = iter(range(9))

    def talk(connection: socket.socket, gone: threading.Event) -> None:
        if next(calls) < 2:
            gone.wait(SHORT_S / 4)
            connection.sendall(head("Location: /on", "Content-Length: 0", status="302 Found"))
        else:
            gone.wait(2 * LONG_S)

    with serving(talk) as server:
        began = time.monotonic()
        with pytest.raises(SourceError, match=r"no whole answer within 0\.25 s"):
            ask(query(server.address, follow=True), source="Here", deadline_s=SHORT_S)
        assert time.monotonic() - began < LONG_S

    assert len(server.asked) == 3


API = "https://api.own.example/v1/forecast"


@pytest.mark.parametrize(
    ("url", "location"),
    [
        (API, "https://api.own.example/v2"),
        (API, "https://API.own.example:443/v2"),
        (API, "//api.own.example/v2"),
        (API, "/v2"),
        (API, "?again=1"),
        (API, "https://new.own.example/v2"),
        (API, "https://eu.api.own.example/v2"),
        ("http://api.own.example/", "https://api.own.example/v2"),
        ("http://api.own.example:8080/", "http://new.own.example:8080/v2"),
        ("http://localhost:8080/", "http://localhost:8080/v2"),
        ("http://own.example/", "http://www.own.example/v2"),
        ("http://10.0.0.5:8080/", "http://10.0.0.5:8080/v2"),
        ("http://[fd00::5]:8080/", "http://[fd00::5]:8080/v2"),
    ],
)
def test_a_redirect_within_the_house_is_followed(url: str, location: str) -> None:
    with responses.RequestsMock() as mock:
        mock.get(url, status=302, headers={"Location": location})
        mock.get(requests.compat.urljoin(url, location).lower(), body=b"{}")

        assert ask(Query(url, {}, follow=True), source="Here").status == 200


@pytest.mark.parametrize(
    ("url", "location"),
    [
        (API, ""),
        (API, "http://api.own.example/v2"),
        (API, "https://portal.example/"),
        (API, "https://own.example/"),
        (API, "https://evilown.example/"),
        (API, "https://api.own.example.portal.example/"),
        (API, "https://api.own.example:8443/"),
        (API, "https://new.own.example:8443/"),
        (API, "https://me@api.own.example/"),
        (API, "https://portal.example\\.own.example/"),
        (API, "https://portal.example\\@api.own.example/"),
        (API, "https://pörtal.own.example/"),
        (API, "https://api.own.example:99999/"),
        (API, "https://[api.own.example/"),
        (API, "https://api.own.example /"),
        (API, "ftp://api.own.example/"),
        (API, "javascript:alert(1)"),
        ("http://own.example/", "http://other.example/"),
        ("http://localhost:8080/", "http://localhost:9090/"),
        ("http://10.0.0.5/", "http://10.0.0.6/"),
        ("http://10.0.0.5/", "http://1.10.0.0.5/"),
        ("http://10.0.0.5/", "http://10.0.0.5:8080/"),
        ("http://10.0.0.5/", "http://x.0.0.5/"),
        ("http://[fd00::5]/", "http://[fd00::6]/"),
        ("http://a.0x7f.1/", "http://b.0x7f.1/"),
    ],
)
def test_a_redirect_out_of_the_house_is_not_followed(url: str, location: str) -> None:
    with responses.RequestsMock() as mock:
        mock.get(url, status=302, headers={"Location": location})

        assert ask(Query(url, {}, follow=True), source="Here").status == 302


@pytest.mark.parametrize("status", [300, 304, 305, 306])
def test_another_status_is_no_redirect(status: int) -> None:
    with responses.RequestsMock() as mock:
        mock.get(API, status=status, headers={"Location": "/v2"})

        assert ask(Query(API, {}, follow=True), source="Here").status == status


# -- what a status means


def refusal(status: int, body: bytes = b"", **headers: str) -> SourceError:
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    with pytest.raises(SourceError) as caught:
        accepted(Answer(status, named, body), "Here", NOW)
    return caught.value


def test_status_200_is_accepted() -> None:
    accepted(Answer(200, {}, b""), "Here", NOW)


@pytest.mark.parametrize(
    ("status", "told", "passing", "wait_h"),
    [
        (103, "answered 103", False, None),
        (203, "answered 203", False, None),
        (204, "answered 204", False, None),
        (206, "answered 206", False, None),
        (301, "sends us elsewhere (301); a login page in between?", False, None),
        (304, "answered 304", False, None),
        (400, "answered 400", False, None),
        (401, "answered 401", False, None),
        (403, "answered 403", False, 6),
        (404, "answered 404", False, None),
        (429, "too many requests (429)", False, 1),
        (500, "answered 500", True, None),
        (501, "answered 501", False, None),
        (502, "answered 502", True, None),
        (503, "answered 503", True, None),
        (504, "answered 504", True, None),
        (999, "answered 999", False, None),
    ],
)
def test_another_status_is_told(
    status: int, told: str, passing: bool, wait_h: float | None
) -> None:
    error = refusal(status, b"<html>Bad Gateway</html>")

    assert str(error) == f"Here: {told}"
    assert error.passing == passing
    assert error.wait == (None if wait_h is None else timedelta(hours=wait_h))


@pytest.mark.parametrize("status", [429, 503])
def test_how_long_to_wait_is_up_to_the_provider(status: int) -> None:
    error = refusal(status, retry_after="7200")

    assert (error.wait, error.passing) == (timedelta(hours=2), False)


@pytest.mark.parametrize(("status", "passing"), [(429, False), (503, True)])
def test_no_wait_at_all_is_no_wait(status: int, passing: bool) -> None:
    error = refusal(status, retry_after="0")

    assert (error.wait, error.passing) == (timedelta(0), passing)


def test_the_reason_that_is_given_in_json_is_told_in_one_clean_line() -> None:
    reason = b'{"reason": "Daily  limit\\r\\n\\u001b[2Jexceeded \\ud800."}'

    assert str(refusal(429, reason)) == (
        'Here: too many requests (429): "Daily limit [2Jexceeded ."'
    )
    assert len(str(refusal(400, b'{"reason": "%s"}' % (b"x" * 9_000)))) < 160


@pytest.mark.parametrize("body", [b"[" * 100_000, b"[]", b"{}", b"9" * 5_000, b"\xff", b"null"])
def test_a_body_without_a_reason_adds_nothing(body: bytes) -> None:
    assert str(refusal(400, body)) == "Here: answered 400"


def test_too_many_requests_returns_at_once() -> None:
    with serving(whole(b"", "Retry-After: 3600", status="429 Slow down")) as server:
        began = time.monotonic()
        answer = got(server.address)
        assert time.monotonic() - began < LONG_S

    assert len(server.asked) == 1
    assert refusal(answer.status, retry_after=answer.headers["retry-after"]).wait == timedelta(
        hours=1
    )


@pytest.mark.parametrize("status", ["403 No", "429 Slow down", "502 Bad Gateway"])
@pytest.mark.parametrize(
    ("lines", "body"),
    [
        (("Content-Length: 900",), b"<html>"),
        (("Content-Encoding: gzip",), b"garbage"),
        (("Content-Length: x",), b"{}"),
    ],
    ids=["truncated", "garbage", "unclear"],
)
def test_a_status_counts_even_if_its_body_is_broken(
    status: str, lines: tuple[str, ...], body: bytes
) -> None:
    with serving(saying(head(*lines, status=status) + body)) as server:
        answer = got(server.address)

    assert (answer.status, answer.body) == (int(status[:3]), b"")


# -- what the headers say


def told(**headers: str) -> Answer:
    return Answer(200, {name.replace("_", "-"): value for name, value in headers.items()}, b"")


@pytest.mark.parametrize(
    "text",
    # RFC 9110, 5.6.7: the form of today, RFC 850's and that of asctime.
    ["Sun, 06 Nov 1994 08:49:37 GMT", "Sunday, 06-Nov-94 08:49:37 GMT", "Sun Nov  6 08:49:37 1994"],
)
def test_all_three_forms_of_a_date_are_read(text: str) -> None:
    at = datetime(1994, 11, 6, 8, 49, 37, tzinfo=UTC)

    assert told(date=text).date == told(expires=text).expires == at


def test_a_date_from_a_cache_is_older_by_its_age() -> None:
    text = "Fri, 15 May 2026 19:00:00 GMT"

    assert told(date=text, age="600").date == datetime(2026, 5, 15, 19, 10, tzinfo=UTC)
    assert told(date=text, age="soon").date is None
    assert told(date=text, age="9" * 12).date is None
    assert told(date=text, age="9" * 100).date is None


@pytest.mark.parametrize("text", ["0", "-1", "never", "", "Fri, 32 May 2026 19:00:00 GMT"])
def test_a_date_that_is_none_is_unknown(text: str) -> None:
    assert told(expires=text).expires is None
    assert told(date=text).date is None


def test_without_headers_nothing_is_known() -> None:
    answer = told()

    assert (answer.date, answer.expires, answer.last_modified, answer.etag) == (None,) * 4
    assert answer.retry_after(NOW) is None


def test_what_is_sent_back_is_the_exact_text() -> None:
    text = "fri,  15 May 2026 19:00:00 +0000"

    assert told(last_modified=text).last_modified == text
    assert told(etag='W/"a b"').etag == 'W/"a b"'


@pytest.mark.parametrize("text", ["", "Ä", "a\r\n b", "a\x00", "x" * 201])
def test_what_cannot_be_sent_back_is_not_kept(text: str) -> None:
    assert told(last_modified=text).last_modified is None
    assert told(etag=text).etag is None


@pytest.mark.parametrize(
    ("text", "wait"),
    [
        ("120", timedelta(minutes=2)),
        ("0", timedelta(0)),
        ("86401", timedelta(hours=24)),
        ("9" * 15, timedelta(hours=24)),
        ("Fri, 15 May 2026 20:30:00 GMT", timedelta(minutes=30)),
        ("Fri, 15 May 2099 20:30:00 GMT", timedelta(hours=24)),
        ("Fri, 15 May 2026 19:59:59 GMT", None),
        ("-120", None),
        ("+120", None),
        ("1.5", None),
        ("1_0", None),
        ("²", None),
        ("soon", None),
        ("9" * 5_000, None),
    ],
)
def test_retry_after_is_seconds_or_a_date(text: str, wait: timedelta | None) -> None:
    assert told(retry_after=text).retry_after(NOW) == wait


anything = st.one_of(
    st.text(st.characters(max_codepoint=255), max_size=60),
    st.from_regex(
        r"[A-Z][a-z]{2}, [0-9]{1,9} [A-Z][a-z]{2} [0-9]{1,9} [0-9:]{0,9} [A-Z+0-9-]{0,9}"
    ),
    st.integers().map(str),
    st.datetimes().map(lambda at: f"{at:%a, %d %b} {at.year:04} {at:%H:%M:%S} -2359"),
)


@given(value=anything, age=anything)
def test_no_header_value_is_an_exception(value: str, age: str) -> None:
    names = ("date", "expires", "last-modified", "etag", "retry-after")
    answer = Answer(200, dict.fromkeys(names, value) | {"age": age}, b"")

    for at in (answer.date, answer.expires):
        assert at is None or at.utcoffset() == timedelta(0)
    assert answer.last_modified in (None, value)
    assert answer.etag in (None, value)
    wait = answer.retry_after(NOW)
    assert wait is None or timedelta(0) <= wait <= timedelta(hours=24)
