"""The real process, a real forecast server, a real channel: stopped, killed, restarted."""

import json
import re
import signal
import socket
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from tests.support.ical_rules import events_in
from tests.support.installation import Installation, a_place, an_installation, utc_now, wait_for
from tests.support.loopback_server import dripping, serving


@pytest.fixture
def installation(tmp_path: Path) -> Iterator[Installation]:
    with an_installation(tmp_path) as installation:
        yield installation


def test_a_dusk_round_arrives_once_and_a_restart_sends_nothing_again(
    installation: Installation,
) -> None:
    daemon = installation.start()
    assert wait_for(lambda: installation.states == ["sent"])

    assert installation.stop(daemon) == 0

    (push,) = installation.sink.pushes
    assert push["title"].startswith("Carry in 2 plants by ")
    assert "bench" in push["message"]
    assert installation.asked[0].startswith("/v1/forecast?")

    installation.enqueue_another()
    again = installation.start()
    assert wait_for(lambda: installation.states == ["sent", "sent"])
    assert installation.stop(again) == 0
    assert installation.sink.titles == [push["title"], "Another"]
    assert len(installation.asked) == 1  # a fresh forecast is in the ledger


def test_an_edited_collection_is_taken_over_at_a_hangup_and_a_wrong_one_is_not(
    installation: Installation,
) -> None:
    daemon = installation.start()
    assert wait_for(lambda: installation.states == ["sent"])
    path = installation.folder / "collection.toml"
    text = path.read_text(encoding="utf-8")

    path.write_text(text.replace('name = "Right pot"', 'name = "Third pot"'), encoding="utf-8")
    daemon.send_signal(signal.SIGHUP)
    assert wait_for(
        lambda: installation.logged("collection.taken_over file=collection.toml plants=2")
    )
    assert wait_for(lambda: len(installation.sink.pushes) == 2)
    assert "Third pot" in installation.sink.pushes[-1]["message"]

    path.write_text(text.replace('home = "bench"', 'home = "bank"'), encoding="utf-8")
    daemon.send_signal(signal.SIGHUP)
    assert wait_for(lambda: installation.logged("collection.refused errors=1"))
    assert wait_for(lambda: len(installation.sink.pushes) == 3)
    assert installation.sink.titles[-1] == "Your edited collection has an error"

    asked = installation.call("status")
    assert asked.returncode == 78
    assert '"bank"' in asked.stderr
    assert "Afternoon court: `sillward run` goes by the collection that it read" in asked.stderr
    assert installation.stop(daemon) == 0

    again = installation.start()  # the one from before, though the file is wrong
    assert wait_for(lambda: installation.logged("daemon.started", 2))
    assert installation.logged("collection.from_before file=collection.toml")
    assert installation.stop(again) == 0
    assert len(installation.sink.pushes) == 3  # it was told already


def test_the_calendar_is_kept_beside_the_notices(
    installation: Installation, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = installation.folder / "sillward.ics"
    monkeypatch.setenv("SILLWARD_CALENDAR", str(path))

    daemon = installation.start()
    assert wait_for(path.exists)
    assert installation.stop(daemon) == 0

    told = [event.text("SUMMARY") for event in events_in(path.read_bytes())]
    assert "Carry in: 2 plants, bench to room" in told
    assert installation.states == ["sent"]


def test_a_calendar_that_cannot_be_written_keeps_no_notice(
    installation: Installation, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SILLWARD_CALENDAR", str(installation.folder))

    daemon = installation.start()
    assert wait_for(lambda: installation.states == ["sent"])
    assert wait_for(lambda: installation.logged("calendar.failed reason=calendar "))

    assert installation.stop(daemon) == 0


def test_an_end_that_is_asked_for_while_a_notice_is_sent_waits_for_it(
    installation: Installation,
) -> None:
    installation.sink.open.clear()
    daemon = installation.start()
    assert wait_for(lambda: installation.sink.pushes)

    daemon.send_signal(signal.SIGTERM)
    with pytest.raises(subprocess.TimeoutExpired):
        daemon.wait(0.2)
    installation.sink.open.set()

    assert daemon.wait(5) == 0
    assert installation.states == ["sent"]
    installation.enqueue_another()
    again = installation.start()
    assert wait_for(lambda: installation.states == ["sent", "sent"])
    assert installation.stop(again) == 0
    assert installation.sink.titles[1:] == ["Another"]


def test_a_daemon_killed_while_it_sends_costs_one_repeat_that_says_so(
    installation: Installation,
) -> None:
    installation.sink.open.clear()
    daemon = installation.start()
    assert wait_for(lambda: installation.sink.pushes)

    daemon.kill()
    daemon.wait(5)
    assert installation.states == ["sending"]
    installation.sink.open.set()
    again = installation.start()

    assert wait_for(lambda: installation.states == ["sent"])
    first, second = installation.sink.titles
    assert second == f"(repeat) {first}"
    assert installation.stop(again) == 0
    installation.call("send", "--round", "dusk")
    assert len(installation.sink.pushes) == 2


def test_a_daemon_killed_before_it_sends_loses_nothing(installation: Installation) -> None:
    """The channel is down, the notice waits, the process is killed, the channel comes back."""
    installation.sink.close()
    daemon = installation.start()
    assert wait_for(lambda: installation.logged("notice.failed"))
    daemon.kill()
    daemon.wait(5)
    installation.sink.start()
    later = (utc_now() - timedelta(seconds=1)).isoformat(timespec="seconds")
    database = sqlite3.connect(installation.ledger)  # instead of waiting for the thirty seconds
    database.execute("UPDATE notice SET next_at = ?", (later,))
    database.commit()
    database.close()

    again = installation.start()

    assert wait_for(lambda: installation.states == ["sent"])
    assert installation.stop(again) == 0
    (title,) = installation.sink.titles
    assert title.startswith("Carry in ")  # it was refused, so nothing is repeated


def test_a_notice_that_cannot_be_sent_waits_and_status_says_so(installation: Installation) -> None:
    installation.sink.close()
    daemon = installation.start()
    assert wait_for(lambda: installation.logged("notice.failed"))

    report = json.loads(installation.call("status", "--json").stdout)

    (notice,) = report["notices"]
    assert notice["state"] == "waiting"
    assert notice["attempts"] == 1
    assert notice["last_error"] == "channel phone: cannot be reached"
    assert report["forecast"]["source"] == "Open-Meteo"
    assert report["fetch_failed"] is None
    assert "dusk" in report["next"]
    assert installation.stop(daemon) == 0


def test_sending_by_hand_beside_a_sending_daemon_sends_once(installation: Installation) -> None:
    installation.sink.open.clear()
    daemon = installation.start()
    assert wait_for(lambda: installation.sink.pushes)

    by_hand = installation.call("send", "--round", "dusk")
    installation.sink.open.set()

    assert "phone: sending" in by_hand.stdout
    assert wait_for(lambda: installation.states == ["sent"])
    assert installation.stop(daemon) == 0
    assert len(installation.sink.pushes) == 1


def test_sending_twice_by_hand_sends_once(installation: Installation) -> None:
    first = installation.call("send", "--round", "dusk")
    second = installation.call("send", "--round", "dusk")

    assert (first.returncode, second.returncode) == (0, 0)
    assert first.stdout.startswith("phone: sent ")
    assert "has already been told" in second.stderr
    assert len(installation.sink.pushes) == 1


def test_a_channel_that_is_down_fails_a_send_by_hand(installation: Installation) -> None:
    installation.sink.close()

    result = installation.call("send", "--round", "dusk")

    assert result.returncode == 1
    assert result.stdout == "phone: waiting (channel phone: cannot be reached)\n"
    assert "Traceback" not in result.stderr


def test_a_login_page_for_a_forecast_sends_a_cautious_notice_once(
    installation: Installation,
) -> None:
    installation.forecast.append(b"<!DOCTYPE html><html><title>Please log in</title></html>")

    first = installation.call("send", "--round", "dusk")
    second = installation.call("send", "--round", "dusk")

    assert (first.returncode, second.returncode) == (1, 1)
    assert "is a web page, not a forecast" in first.stderr
    assert "Traceback" not in first.stderr
    (push,) = installation.sink.pushes
    # How near sunset is depends on when this runs.
    title = r"(\d+ min left: )?Carry in 2 plants (now|by \d\d:\d\d)"
    assert re.fullmatch(title, push["title"]), push["title"]
    assert "assume it will be cold" in push["message"]
    report = json.loads(installation.call("status", "--json").stdout)
    assert "web page" in report["fetch_failed"]["why"]


def test_a_chore_that_is_done_is_known_as_done(installation: Installation) -> None:
    installation.call("send", "--round", "dusk")
    before = json.loads(installation.call("status", "--json").stdout)
    assert {plant["assumed"] for plant in before["plants"].values()} == {True}

    done = installation.call("done", "carry-in")

    assert done.returncode == 0
    assert done.stdout.startswith("done: ")
    after = json.loads(installation.call("status", "--json").stdout)
    told = {chore["id"]: chore["done"] for chore in after["chores"]}
    assert [bool(at) for id_, at in told.items() if "carry-in" in id_] == [True]
    assert {name: plant["spot"] for name, plant in after["plants"].items()} == {
        "Left pot": "room",
        "Right pot": "room",
    }
    assert {plant["assumed"] for plant in after["plants"].values()} == {False}


def test_a_daemon_without_a_channel_that_can_be_used_does_not_start(
    installation: Installation,
) -> None:
    path = installation.folder / "collection.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("json://", "nonesuch://secret@"), encoding="utf-8")

    result = installation.call("run")

    assert result.returncode == 78
    assert 'channels[0] "phone"' in result.stderr
    assert "secret" not in result.stderr
    assert not installation.ledger.exists()


def test_the_log_tells_no_url(installation: Installation, monkeypatch: pytest.MonkeyPatch) -> None:
    """At DEBUG, with a secret in the path of the channel and in its query."""
    path = installation.folder / "collection.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(
        text.replace("/push", "/tk_Zq81Lm90?+Authorization=Bearer%20s3cr3t"), encoding="utf-8"
    )
    monkeypatch.setenv("SILLWARD_LOG_LEVEL", "DEBUG")

    result = installation.call("send", "--round", "dusk")

    assert result.returncode == 0
    told = result.stdout + result.stderr
    assert "notice.sent" in told
    assert "tk_Zq81Lm90" not in told
    assert "s3cr3t" not in told
    assert "latitude" not in told


_HANGING = """
import threading
from sillward import cli
from sillward.service import daemon, desk
daemon.MAX_IDLE_S = daemon.TICK_S = 0.1
desk.Desk.tick = lambda self: threading.Event().wait()
cli.main(["run"])
"""


def test_a_daemon_whose_tick_hangs_ends_to_be_restarted(installation: Installation) -> None:
    """A stuck network call, say: the service manager can help only if the process ends."""
    process = subprocess.Popen(
        [sys.executable, "-c", _HANGING],
        cwd=installation.folder,
        env=installation.environment,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
    )
    installation.running.append(process)
    assert process.stderr is not None
    with process.stderr:
        said = any(b"daemon.stopped" in line for line in process.stderr)

    assert said
    assert wait_for(lambda: process.poll() is not None, 2)
    assert process.returncode == 1


def test_a_service_manager_is_told_when_it_is_there_that_it_lives_and_when_it_ends(
    installation: Installation, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without a forecast too: the network may come up later."""
    installation.forecast.append(b"<html>Please log in</html>")
    address = installation.folder / "notify"
    monkeypatch.setenv("NOTIFY_SOCKET", str(address))
    monkeypatch.setenv("WATCHDOG_USEC", "180000000")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(address))
        manager.settimeout(15)
        daemon = installation.start()
        told = set[str]()
        while not {"READY=1", "WATCHDOG=1"} <= told:
            told |= set(manager.recv(4096).decode().splitlines())
        assert installation.logged("forecast.failed")  # the first tick is through
        assert "STOPPING=1" not in told
        assert installation.stop(daemon) == 0
        told = set[str]()
        while "STOPPING=1" not in told:
            told |= set(manager.recv(4096).decode().splitlines())
    assert "READY=1" not in told


_SOON_OVER = """
from sillward import cli
from sillward.net import fetch
fetch.REQUEST_DEADLINE_S = 2.0
cli.main(["run"])
"""


def test_a_forecast_that_drips_holds_up_neither_a_notice_nor_the_end(
    installation: Installation,
) -> None:
    installation.call("send", "--round", "dusk")
    installation.enqueue_another()
    database = sqlite3.connect(installation.ledger)  # instead of waiting for the next call
    database.execute("UPDATE call_schedule SET next_at = '2026-01-01T00:00:00+00:00'")
    database.commit()
    database.close()
    with serving(dripping(b"HTTP/1.1 200 OK\r\n", b"X: 1\r\n")) as server:
        installation.forecast_port = int(server.address.rpartition(":")[2])
        daemon = installation.start("-c", _SOON_OVER)
        assert wait_for(lambda: server.asked)  # it hangs in the call

        assert installation.stop(daemon) == 0

    assert installation.states == ["sent", "sent"]
    assert installation.sink.titles[1:] == ["Another"]
    assert installation.logged("no whole answer within 2 s")
    assert installation.logged("daemon.stopped asked=True")


def test_the_place_has_its_afternoon_now() -> None:
    """Without this the rounds above would be due only at some hours of the day."""
    place = a_place()

    assert place.local.hour == 16
    assert abs(place.longitude) <= 180


def test_a_closed_port_stays_closed(installation: Installation) -> None:
    """What the tests above rest on."""
    installation.sink.close()

    with socket.socket() as caller:
        assert caller.connect_ex(("127.0.0.1", installation.sink.port)) != 0
