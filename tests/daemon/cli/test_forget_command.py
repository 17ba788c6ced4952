"""`sillward forget`: a household has left."""

from contextlib import closing
from functools import partial
from pathlib import Path

import pytest

from sillward.ledger.address import PostgresAddress
from sillward.ledger.house import open_one, open_shared
from sillward.service.households_status import keep_standing, standings
from tests.support import commands
from tests.support.desks import local

NOW = local("17:00")


@pytest.fixture(autouse=True)
def _settings(tmp_path: Path, postgres: PostgresAddress, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "patio").mkdir()
    monkeypatch.setenv("SILLWARD_COLLECTIONS", str(tmp_path))
    monkeypatch.setenv("SILLWARD_LEDGER", postgres.url)


call = partial(commands.call, "forget")


def test_who_left_is_gone_from_ledger_and_status(postgres: PostgresAddress) -> None:
    for name in ("casa", "patio"):
        with closing(open_one(postgres, name)) as ledger:
            ledger.marks.set("told", NOW, "")
        with closing(open_shared(postgres)) as shared:
            keep_standing(shared, name, "all is well", 0, NOW)

    assert call("casa", typed="n\n").exit_code == 1
    result = call("casa", typed="y\n")

    assert (result.exit_code, result.stdout) == (0, "1 row of casa deleted.\n")
    with closing(open_shared(postgres)) as shared:
        assert [each.name for each in standings(shared)] == ["patio"]
    with closing(open_one(postgres, "patio")) as ledger:
        assert ledger.marks.get("told") is not None


def test_who_is_there_is_not_forgotten(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert "remove this folder first" in call("patio", "--yes").stderr
    assert "not a valid household name" in call("../x", "--yes").stderr
    monkeypatch.setenv("SILLWARD_LEDGER", str(tmp_path / "ledgers"))
    assert "ledgers/casa" in call("casa", "--yes").stderr
