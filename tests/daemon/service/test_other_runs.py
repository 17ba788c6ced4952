"""A second `sillward run` for the same site is never silent."""

import logging
import os
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

from sillward.ledger import Ledger
from sillward.service import health, other_runs
from sillward.service.other_runs import note_run, runs
from sillward.wording.voice import Voice
from tests.support.core import MENDOZA

NOW = datetime(2026, 5, 14, 20, tzinfo=UTC)
SITE = MENDOZA.name


@pytest.fixture
def ledger() -> Ledger:
    return Ledger(":memory:")


def test_the_first_run_is_alone_and_the_second_hears_of_it(ledger: Ledger) -> None:
    assert note_run(ledger, SITE, NOW, 10, lambda _: True) == []
    assert note_run(ledger, SITE, NOW, 11, lambda _: True) == [10]
    assert note_run(ledger, "another site", NOW, 12, lambda _: True) == []
    assert runs(ledger, SITE, lambda _: True) == [10, 11]


def test_one_that_has_ended_is_forgotten(ledger: Ledger) -> None:
    note_run(ledger, SITE, NOW, 10, lambda _: True)

    assert note_run(ledger, SITE, NOW, 11, lambda process: process != 10) == []
    assert runs(ledger, SITE, lambda _: True) == [11]


def test_a_process_on_another_machine_is_not_judged(ledger: Ledger) -> None:
    ledger.marks.set(f"{other_runs.RUNS_MARK}, {SITE}", NOW, "elsewhere.example 10")

    assert runs(ledger, SITE, lambda _: True) == []


@pytest.mark.skipif(not Path("/proc/self/cmdline").exists(), reason="needs /proc")
def test_a_process_is_a_daemon_only_by_its_own_command_line(ledger: Ledger) -> None:
    waits = [sys.executable, "-S", "-c", "print(flush=True); input()"]

    def started(word: str) -> subprocess.Popen[bytes]:
        pipe = subprocess.PIPE
        return subprocess.Popen([*waits, "sillward", word], stdin=pipe, stdout=pipe)

    with started("run") as daemon, started("sheet") as other:
        for process in (daemon, other):
            assert process.stdout is not None
            process.stdout.readline()  # before it runs, its command line may be empty
        note_run(ledger, SITE, NOW, other.pid)
        note_run(ledger, SITE, NOW, daemon.pid, lambda _: True)
        found = runs(ledger, SITE)
        for process in (daemon, other):
            process.communicate(b"\n")

    assert found == [daemon.pid]
    assert runs(ledger, SITE) == []


def test_two_are_logged_and_a_trouble(
    ledger: Ledger, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(other_runs, "_is_daemon", lambda _: True)
    note_run(ledger, SITE, NOW, 10)

    with caplog.at_level(logging.WARNING):
        other_runs.tell_of_others(ledger, MENDOZA.name, MENDOZA.label, NOW)

    (record,) = caplog.records
    assert record.message.startswith(
        f'run.another_is_at_work site="{MENDOZA.label}" processes=10: nothing is told twice'
    )
    (trouble,) = health._of_runs(ledger, Voice(MENDOZA))
    assert trouble.startswith(f"`sillward run` is at work 2 times for {MENDOZA.label} (processes ")
    assert f"10, {os.getpid()}" in trouble


def test_one_alone_is_no_trouble(ledger: Ledger, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(other_runs, "_is_daemon", lambda _: True)
    note_run(ledger, SITE, NOW)

    assert list(health._of_runs(ledger, Voice(MENDOZA))) == []
