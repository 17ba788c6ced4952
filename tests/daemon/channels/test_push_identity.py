"""The key by which push services know this sillward: made once, kept private."""

from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric import ec

from sillward.channels.push_identity import NAME, PushIdentity
from sillward.errors import ConfigError
from tests.support.push_service import IDENTITY, bytes_of

SUBJECT = "https://plants.example"


def test_it_is_made_once_and_for_its_owner_alone(tmp_path: Path) -> None:
    ledger = tmp_path / "state" / "ledger.sqlite3"
    made = PushIdentity.kept_or_made(None, ledger, SUBJECT)

    assert PushIdentity.kept_or_made(None, ledger, SUBJECT) == made
    assert (tmp_path / "state" / NAME).stat().st_mode & 0o777 == 0o600


def test_its_halves_belong_together(tmp_path: Path) -> None:
    made = PushIdentity.kept_or_made(None, tmp_path / "ledger.sqlite3", SUBJECT)

    key = ec.derive_private_key(int.from_bytes(bytes_of(made.private)), ec.SECP256R1())
    numbers = key.public_key().public_numbers()
    assert bytes_of(made.public) == b"\x04" + numbers.x.to_bytes(32) + numbers.y.to_bytes(32)


def test_that_of_the_credentials_folder_comes_first(tmp_path: Path) -> None:
    ledger, credentials = tmp_path / "ledger.sqlite3", tmp_path / "credentials"
    PushIdentity.kept_or_made(None, ledger, SUBJECT)
    credentials.mkdir()
    (credentials / NAME).write_text(f"{IDENTITY.private} {IDENTITY.public}\n")

    assert PushIdentity.kept_or_made(credentials, ledger, SUBJECT) == IDENTITY


@pytest.mark.parametrize("content", ["hunter2", "a b", f"{IDENTITY.private}", "x" * 200])
def test_what_is_no_key_is_refused_without_being_told(tmp_path: Path, content: str) -> None:
    (tmp_path / NAME).write_text(content)

    with pytest.raises(ConfigError, match="this is not a key for pushes") as caught:
        PushIdentity.kept_or_made(None, tmp_path / "ledger.sqlite3", SUBJECT)
    assert content not in str(caught.value)
    assert (tmp_path / NAME).read_text() == content
