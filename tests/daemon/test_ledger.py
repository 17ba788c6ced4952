"""The ledger on a real SQLite file: what goes in comes out, and nothing goes in by halves."""

import os
import sqlite3
import stat
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from sillward.errors import LedgerError
from sillward.ledger import Ledger, Notice
from sillward.ledger.store import _SCHEMA, SCHEMA_VERSION
from sillward_rules.collection import PlantState

NOW = datetime(2026, 5, 14, 20, 0, tzinfo=UTC)
PAUSE = timedelta(minutes=15)
UNTIL = NOW + timedelta(minutes=2)
DAY = date(2026, 5, 14)
SITE = "Test court"


@pytest.fixture(params=["file", "memory"])
def ledger(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Ledger]:
    path: Path | str = tmp_path / "kept.sqlite3" if request.param == "file" else ":memory:"
    opened = Ledger(path)
    yield opened
    opened.close()


@contextmanager
def opened(path: Path) -> Iterator[Ledger]:
    ledger = Ledger(path)
    try:
        yield ledger
    finally:
        ledger.close()


def a_notice(channel: str = "phone", **changes: Any) -> Notice:
    notice = Notice(
        key=f"{SITE}/{DAY}/dusk/{channel}",
        site=SITE,
        round="dusk",
        day=str(DAY),
        channel=channel,
        title="In by 17:15: 2 plants",
        body="17:15 bench > room: Test strap\nLeaf 3.1 °C at 07:00",
        state="waiting",
        attempts=0,
        next_at=NOW,
        expires_at=NOW + timedelta(hours=12),
    )
    return replace(notice, **changes)


def a_chore(before: str = "2026-05-14T17:15:00-03:00", **changes: Any) -> dict[str, Any]:
    return {
        "id": "2026-05-14-carry-in-bench-room",
        "chore": "carry-in",
        "plants": ["Test strap"],
        "from": "bench",
        "to": "room",
        "before": before,
        **changes,
    }


def keep(
    ledger: Ledger,
    *notices: Notice,
    chores: tuple[dict[str, Any], ...] = (),
    round_: str = "dusk",
    **states: PlantState,
) -> None:
    ledger.keep_round(
        SITE, round_, DAY, NOW, notices=list(notices), chores=list(chores), states=states
    )


# -- the file


def test_only_the_owner_can_read_a_new_ledger(tmp_path: Path) -> None:
    path = tmp_path / "deep" / "down" / "ledger.sqlite3"

    with opened(path) as ledger:
        keep(ledger, a_notice())

        kept = [path, *path.parent.glob("ledger.sqlite3-*")]
        assert [stat.S_IMODE(one.stat().st_mode) for one in kept] == [0o600] * len(kept)
        assert len(kept) == 3  # with -wal and -shm: these hold the same secrets
    assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700


def test_a_ledger_is_there_again_when_it_is_opened_again(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    with opened(path) as ledger:
        keep(ledger, a_notice())

    with opened(path) as again:
        assert again.notices(SITE) == [a_notice()]


def test_a_ledger_of_a_newer_version_is_refused_in_plain_words(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    with opened(path):
        pass
    database = sqlite3.connect(path)
    database.execute(f"PRAGMA user_version = {SCHEMA_VERSION + 1}")
    database.close()

    with pytest.raises(LedgerError, match=r"newer sillward \(version 3\); update first"):
        Ledger(path)


def test_a_file_that_is_no_ledger_is_refused_and_left_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    path.write_bytes(b"Dear diary, the strap-leaf has a new root. " * 100)
    before = path.read_bytes()

    with pytest.raises(LedgerError, match="not a database"):
        Ledger(path)

    assert path.read_bytes() == before


def test_a_folder_in_place_of_the_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(LedgerError, match="directory"):
        Ledger(tmp_path)


def test_a_file_in_place_of_the_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "state").write_text("no folder")

    with pytest.raises(LedgerError, match="state"):
        Ledger(tmp_path / "state" / "ledger.sqlite3")


@contextmanager
def as_somebody_without_privileges() -> Iterator[None]:
    """File modes mean nothing to root, under which containers often run tests."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


def test_a_folder_that_cannot_be_written_is_refused(tmp_path: Path) -> None:
    folder = tmp_path / "read-only"
    folder.mkdir(mode=0o555)

    with (
        as_somebody_without_privileges(),
        pytest.raises(LedgerError, match="Permission denied"),
    ):
        Ledger(folder / "ledger.sqlite3")


def test_a_ledger_that_is_locked_by_another_is_an_error_in_plain_words(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    with opened(path) as ledger:
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        ledger._db.execute("PRAGMA busy_timeout = 0")  # do not wait for it here

        with pytest.raises(LedgerError, match="locked"):
            ledger.mark("fetch failed", NOW, "Invented source: answered 500")

        other.execute("ROLLBACK")
        other.close()
        ledger.mark("fetch failed", NOW, "Invented source: answered 500")


# -- round trips


def test_notices_come_back_as_they_were(ledger: Ledger) -> None:
    phone, mail = a_notice(), a_notice("mail", state="not needed", title="Nothing – °C ✓")

    keep(ledger, phone, mail)

    assert ledger.of_round(SITE, "dusk", DAY) == [mail, phone]
    assert ledger.round_told_at(SITE, "dusk", DAY) == NOW


def test_chores_come_back_as_they_were_and_by_deadline(ledger: Ledger) -> None:
    late = a_chore("2026-05-15T10:00:00-03:00", id="2026-05-15-carry-out-room-bench")

    keep(ledger, chores=(late, a_chore()))

    first, second = ledger.chores(SITE, NOW - timedelta(days=1))
    assert (first.document, second.document) == (a_chore(), late)
    assert first.before == datetime(2026, 5, 14, 20, 15, tzinfo=UTC)
    assert first.kind == "carry-in"
    assert first.done_at is None


def test_chores_whose_deadline_is_over_are_left_out(ledger: Ledger) -> None:
    keep(ledger, chores=(a_chore(),))

    assert ledger.chores(SITE, datetime(2026, 5, 14, 20, 16, tzinfo=UTC)) == []


def test_a_chore_that_is_told_again_takes_the_new_deadline_and_stays_done(ledger: Ledger) -> None:
    keep(ledger, chores=(a_chore(),))
    ledger.finish(SITE, a_chore()["id"], NOW, {})

    keep(ledger, chores=(a_chore("2026-05-14T16:45:00-03:00"),), round_="morning")

    (chore,) = ledger.chores(SITE, NOW - timedelta(days=1))
    assert chore.before == datetime(2026, 5, 14, 19, 45, tzinfo=UTC)
    assert chore.done_at == NOW


def test_states_come_back_as_they_were(ledger: Ledger) -> None:
    rich = PlantState("room", NOW, False, NOW - timedelta(hours=9), NOW - timedelta(days=6), NOW)
    plain = PlantState("bench")

    keep(ledger, strap=rich, curls=plain)

    assert ledger.states(SITE) == {"strap": rich, "curls": plain}


def test_a_new_state_replaces_the_old_one_of_that_plant_only(ledger: Ledger) -> None:
    keep(ledger, strap=PlantState("bench"), curls=PlantState("bench"))

    ledger.finish(SITE, "any", NOW, {"strap": PlantState("room", NOW, assumed=False)})

    assert {name: state.spot for name, state in ledger.states(SITE).items()} == {
        "strap": "room",
        "curls": "bench",
    }


def test_the_last_forecast_of_a_site_is_kept_byte_by_byte(ledger: Ledger) -> None:
    body = bytes(range(256)) * 40

    ledger.keep_forecast(SITE, "Invented source", NOW - timedelta(hours=1), b"older")
    ledger.keep_forecast(SITE, "Invented source", NOW, body)
    ledger.keep_forecast("Elsewhere", "Invented source", NOW, b"not here")

    assert ledger.last_forecast(SITE) == ("Invented source", NOW, body)
    assert ledger.last_forecast("Nowhere") is None


def test_a_mark_remembers_the_last_time(ledger: Ledger) -> None:
    ledger.mark("fetch failed", NOW - timedelta(hours=1), "answered 500")
    ledger.mark("fetch failed", NOW, "cannot be reached")

    mark = ledger.marks()["fetch failed"]
    assert (mark.at, mark.text) == (NOW, "cannot be reached")


def test_times_of_any_zone_are_the_same_moments(ledger: Ledger) -> None:
    there = NOW.astimezone(datetime.fromisoformat("2026-05-14T17:00:00-03:00").tzinfo)

    keep(ledger, a_notice(next_at=there))

    assert [notice.key for notice in ledger.waiting(SITE, NOW, PAUSE)] == [a_notice().key]


def test_sites_do_not_see_each_other(ledger: Ledger) -> None:
    keep(ledger, a_notice(), chores=(a_chore(),), strap=PlantState("room"))

    assert ledger.notices("Elsewhere") == []
    assert ledger.chores("Elsewhere", NOW - timedelta(days=9)) == []
    assert ledger.states("Elsewhere") == {}
    assert ledger.round_told_at("Elsewhere", "dusk", DAY) is None


# -- all or nothing


def test_a_round_that_was_told_before_leaves_nothing_behind(ledger: Ledger) -> None:
    keep(ledger, a_notice())

    with pytest.raises(LedgerError):
        keep(ledger, a_notice("mail"), chores=(a_chore(),), strap=PlantState("room"))

    assert ledger.notices(SITE) == [a_notice()]
    assert ledger.chores(SITE, NOW - timedelta(days=1)) == []
    assert ledger.states(SITE) == {}


def test_a_round_whose_last_part_fails_leaves_nothing_behind(ledger: Ledger) -> None:
    keep(ledger, a_notice("mail"))

    with pytest.raises(LedgerError):
        keep(ledger, a_notice("phone"), a_notice("mail"), round_="morning")

    assert ledger.round_told_at(SITE, "morning", DAY) is None
    assert [notice.channel for notice in ledger.notices(SITE)] == ["mail"]


def test_a_state_that_a_notice_cannot_have_is_refused(ledger: Ledger) -> None:
    with pytest.raises(LedgerError, match="CHECK"):
        keep(ledger, a_notice(state="lost"))


def test_an_error_of_somebody_else_within_a_transaction_undoes_it(ledger: Ledger) -> None:
    def write_and_fail() -> None:
        with ledger.transaction():
            ledger._db.execute("INSERT INTO mark VALUES ('half', '2026-05-14', 'done')")
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_and_fail()

    assert ledger.marks() == {}
    ledger.mark("whole", NOW, "done")


# -- the life of a notice


def test_notices_wait_for_their_time_and_come_oldest_first(ledger: Ledger) -> None:
    keep(
        ledger,
        a_notice("later", next_at=NOW + timedelta(seconds=1)),
        a_notice("second", next_at=NOW),
        a_notice("first", next_at=NOW - timedelta(seconds=30)),
        a_notice("silent", state="not needed"),
    )

    assert [notice.channel for notice in ledger.waiting(SITE, NOW, PAUSE)] == ["first", "second"]


def test_a_notice_is_claimed_once(ledger: Ledger) -> None:
    keep(ledger, a_notice())

    assert ledger.claim(a_notice().key, UNTIL)

    assert not ledger.claim(a_notice().key, UNTIL)
    assert ledger.waiting(SITE, NOW, PAUSE) == []
    (notice,) = ledger.notices(SITE)
    assert (notice.state, notice.attempts) == ("sending", 1)


def test_nothing_is_claimed_that_is_not_there(ledger: Ledger) -> None:
    assert not ledger.claim("Test court/2026-05-14/dusk/nobody", UNTIL)


def test_a_sent_notice_keeps_when_and_forgets_its_error(ledger: Ledger) -> None:
    keep(ledger, a_notice(last_error="refused"))
    ledger.claim(a_notice().key, UNTIL)

    ledger.sent(a_notice().key, NOW + timedelta(seconds=2))

    (notice,) = ledger.notices(SITE)
    assert notice.state == "sent"
    assert notice.sent_at == NOW + timedelta(seconds=2)
    assert notice.last_error is None
    assert not ledger.claim(notice.key, UNTIL)


def test_a_notice_put_back_waits_with_its_reason(ledger: Ledger) -> None:
    keep(ledger, a_notice())
    ledger.claim(a_notice().key, UNTIL)

    ledger.put_back(a_notice().key, NOW + timedelta(seconds=30), "channel phone: refused")

    assert ledger.waiting(SITE, NOW + timedelta(seconds=29), PAUSE) == []
    (notice,) = ledger.waiting(SITE, NOW + timedelta(seconds=30), PAUSE)
    assert (notice.attempts, notice.last_error) == (1, "channel phone: refused")


def test_notices_whose_time_is_over_are_given_up_and_told(ledger: Ledger) -> None:
    keep(ledger, a_notice(expires_at=NOW), a_notice("mail", expires_at=NOW + timedelta(seconds=1)))

    given_up = ledger.expire(NOW)

    assert [(notice.channel, notice.state) for notice in given_up] == [("phone", "expired")]
    assert [notice.channel for notice in ledger.waiting(SITE, NOW, PAUSE)] == ["mail"]
    assert ledger.expire(NOW) == []


def test_what_is_sent_or_not_needed_does_not_expire(ledger: Ledger) -> None:
    keep(ledger, a_notice(state="sent"), a_notice("mail", state="not needed"))

    assert ledger.expire(NOW + timedelta(days=9)) == []


def test_claims_of_a_killed_process_are_released_with_their_attempts(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    with opened(path) as ledger:
        keep(ledger, a_notice(), a_notice("mail", state="sent"))
        ledger.claim(a_notice().key, UNTIL)

    with opened(path) as again:
        assert again.release_claims(NOW) == 1

        (notice,) = again.waiting(SITE, NOW, PAUSE)
        assert (notice.channel, notice.attempts) == ("phone", 1)
        assert again.release_claims(NOW) == 0


def test_the_latest_notices_come_first_and_at_most_so_many(ledger: Ledger) -> None:
    for offset in range(5):
        day = str(DAY + timedelta(days=offset))
        keep(ledger, a_notice(key=day, day=day), round_=f"round {offset}")

    assert [notice.day for notice in ledger.notices(SITE, most=2)] == ["2026-05-18", "2026-05-17"]


# -- two at once


def test_two_connections_see_each_others_writes_and_share_no_claim(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    with opened(path) as daemon, opened(path) as by_hand:
        keep(daemon, a_notice())

        assert by_hand.waiting(SITE, NOW, PAUSE) == [a_notice()]
        assert by_hand.claim(a_notice().key, UNTIL)
        assert not daemon.claim(a_notice().key, UNTIL)
        by_hand.sent(a_notice().key, NOW)
        assert daemon.notices(SITE)[0].state == "sent"
        with pytest.raises(LedgerError):
            keep(by_hand, a_notice("mail"))


def test_two_processes_may_open_a_new_ledger_at_once(tmp_path: Path) -> None:
    """At the first start: the service, and a `sillward status` to see how it does."""
    path = tmp_path / "ledger.sqlite3"
    waits, outcome = threading.Event(), list[Exception]()

    class Second(Ledger):
        @contextmanager
        def transaction(self) -> Iterator[None]:
            waits.set()
            with super().transaction():
                yield

    def open_second() -> None:
        try:
            Second(path).close()
        except LedgerError as error:
            outcome.append(error)

    first = sqlite3.connect(path, isolation_level=None)
    first.execute("PRAGMA journal_mode=WAL")
    first.execute("BEGIN IMMEDIATE")
    second = threading.Thread(target=open_second)
    second.start()
    waits.wait(5)
    for statement in _SCHEMA.split(";"):
        first.execute(statement)
    first.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")
    first.execute("COMMIT")
    first.close()
    second.join(10)

    assert outcome == []
