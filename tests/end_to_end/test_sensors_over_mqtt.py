"""The real daemon and a real broker: what a sensor sends is kept, and the password is not told."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.support.installation import Installation, an_installation, wait_for
from tests.support.mosquitto import MISSING, PASSWORD, PROGRAM, USER, a_mosquitto, password_file


@pytest.fixture
def installation(tmp_path: Path) -> Iterator[Installation]:
    with an_installation(tmp_path) as installation:
        yield installation


def add_sensor(installation: Installation, port: int) -> None:
    with (installation.folder / "collection.toml").open("a", encoding="utf-8") as file:
        file.write(
            f'[mqtt]\nhost = "127.0.0.1"\nport = {port}\nuser = "{USER}"\nversion = "5"\n'
            '[[sensors]]\nspot = "bench"\nquantity = "temperature"\ntopic = "garden/bench"\n'
        )


@pytest.mark.skipif(PROGRAM is None, reason=MISSING)
def test_a_reading_arrives_in_the_ledger(
    installation: Installation, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "mqtt-password").write_text(f"{PASSWORD}\n", encoding="utf-8")
    monkeypatch.setenv("SILLWARD_CREDENTIALS", str(tmp_path))
    with a_mosquitto(tmp_path, f"password_file {password_file(tmp_path)}") as broker:
        add_sensor(installation, broker.port)
        daemon = installation.start()
        assert wait_for(lambda: installation.logged("mqtt.connected"))
        broker.publish("garden/bench", b"\xff", user=USER)
        broker.publish("garden/bench", "11.4", user=USER)
        assert wait_for(lambda: installation.states == ["sent"])
        assert installation.stop(daemon) == 0

    assert installation.rows("SELECT last FROM reading_hour") == [1140]
    assert installation.rows("SELECT reason FROM set_aside") == ["the message is not UTF-8 text"]
    assert not installation.logged(PASSWORD)
