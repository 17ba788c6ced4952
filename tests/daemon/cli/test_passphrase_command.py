"""`sillward passphrase`: what it keeps, what it refuses, and that it shows no secret."""

import stat
from pathlib import Path

import pytest
from click.testing import Result

from sillward.page.people import passphrases
from tests.support import commands
from tests.support.page_people import quick_hash
from tests.support.paths import EXAMPLES

GOOD = "three brave geese"


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "secrets"
    monkeypatch.setenv("SILLWARD_CREDENTIALS", str(folder))
    monkeypatch.setattr(passphrases, "hash_of", quick_hash)
    return folder


def yard(tmp_path: Path, *people: str) -> Path:
    path = tmp_path / "yard.toml"
    text = (EXAMPLES / "courtyard.toml").read_text(encoding="utf-8")
    named = ", ".join(f'"{name}"' for name in people)
    path.write_text(f"{text}\n[page]\npeople = [{named}]\n", encoding="utf-8")
    return path


def call(path: Path, *words: str, typed: tuple[str, str] = (GOOD, GOOD)) -> Result:
    answers = "".join(f"{line}\n" for line in typed)
    return commands.call("passphrase", *words, "--collection", path, typed=answers)


def test_a_hash_is_kept_that_only_its_owner_can_read(tmp_path: Path, folder: Path) -> None:
    result = call(yard(tmp_path, "Inés"), "inés")

    path = folder / "page-passphrase-In=C3=A9s"
    assert result.exit_code == 0
    assert f"written:{path};" in "".join(result.stdout.split())
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert passphrases.is_hash(path.read_bytes())
    assert GOOD not in result.output + path.read_text()


def test_one_for_all_replaces_the_one_before(tmp_path: Path, folder: Path) -> None:
    call(yard(tmp_path))
    first = (folder / "page-passphrase").read_text()

    assert call(yard(tmp_path)).exit_code == 0
    assert (folder / "page-passphrase").read_text() != first


def test_it_can_be_printed_instead(tmp_path: Path, folder: Path) -> None:
    result = call(yard(tmp_path), "--print")

    assert passphrases.is_hash(result.stdout.encode())
    assert result.stderr.endswith("This is for the credential page-passphrase.\n")
    assert not folder.exists()


@pytest.mark.parametrize(
    ("people", "words", "typed", "status", "said"),
    [
        ((), (), ("short", "short"), 2, "fewer than 12 characters"),
        ((), (), ("a" * 20, "a" * 20), 2, "fewer than 5 different"),
        ((), ("Inés",), (GOOD, GOOD), 2, "which names nobody"),
        (("Inés",), (), (GOOD, GOOD), 2, "must be one of the people"),
        (("Inés",), ("Ines",), (GOOD, GOOD), 2, 'did you mean "Inés"?'),
        ((), (), (GOOD, GOOD[::-1]), 1, "do not match"),
    ],
)
def test_what_is_refused_is_not_kept(
    tmp_path: Path,
    folder: Path,
    people: tuple[str, ...],
    words: tuple[str, ...],
    typed: tuple[str, str],
    status: int,
    said: str,
) -> None:
    result = call(yard(tmp_path, *people), *words, typed=typed)

    assert result.exit_code == status
    assert said in result.output
    assert not folder.exists()


@pytest.mark.parametrize("content", ["three brave geese\n", "a letter\n", "\xff"])
def test_what_it_did_not_write_is_left_as_it_is(tmp_path: Path, folder: Path, content: str) -> None:
    folder.mkdir()
    path = folder / "page-passphrase"
    path.write_text(content, encoding="latin-1")
    path.chmod(0o640)

    result = call(yard(tmp_path))

    assert result.exit_code == 78
    assert path.read_text(encoding="latin-1") == content
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert list(folder.iterdir()) == [path]


def test_without_a_folder_it_says_what_to_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("SILLWARD_CREDENTIALS", raising=False)

    result = call(yard(tmp_path))

    assert result.exit_code == 78
    assert "SILLWARD_CREDENTIALS: names no folder" in result.output


@pytest.mark.parametrize(
    ("people", "said"),
    [
        ('["Ana", "ana"]', "names somebody twice"),
        ('["' + "ñ" * 60 + '"]', "too long for the name of a file"),
        ('[""]', "people[0]"),
        ('["a\\nb"]', "plain text on one line"),
        ('"Ana"', "people"),
        ("[3]", "people[0]"),
    ],
)
def test_people_that_cannot_be_told_apart_or_named_are_errors(
    tmp_path: Path, people: str, said: str
) -> None:
    path = tmp_path / "yard.toml"
    text = (EXAMPLES / "courtyard.toml").read_text(encoding="utf-8")
    path.write_text(f"{text}\n[page]\npeople = {people}\n", encoding="utf-8")

    result = commands.call("check", "--collection", path)

    assert result.exit_code == 78
    assert said in result.output
    assert "page" in result.output
