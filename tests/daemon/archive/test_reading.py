"""What a file is, found out by its content; and files that are none of it, or mean ill."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sillward.archive import read_archive
from sillward.archive import reading as readings
from sillward.errors import SourceError
from tests.daemon.archive.conftest import Read, Refused
from tests.support.past_files import (
    SITE,
    body,
    dumped,
    epw,
    epw_hours,
    hours,
    table,
    with_leads,
)

ONE_MONTH = hours()
CSV = table(ONE_MONTH, {"temperature_2m": "temperature"})
JSON = dumped(body(ONE_MONTH)).decode()
EPW = epw(epw_hours(ONE_MONTH))


@pytest.mark.parametrize(
    ("content", "source"),
    [
        (JSON, "Open-Meteo's archive"),
        (f"\ufeff\n {JSON}", "Open-Meteo's archive"),
        (f"[{JSON}]", "Open-Meteo's archive"),
        (
            dumped(body(with_leads(ONE_MONTH, [1], ["temperature_2m"]))),
            "Open-Meteo's previous runs",
        ),
        (CSV, "CSV file"),
        (f"\n{CSV}", "CSV file"),
        (EPW, "EPW file"),
        (EPW.replace("\n", "\r\n"), "EPW file"),
    ],
)
def test_a_file_is_known_by_its_content(read: Read, content: str | bytes, source: str) -> None:
    past = read(content)

    assert past.weather.source == source
    assert past.weather.times.tolist() == ONE_MONTH.times.tolist()


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "the file is empty"),
        (b" \n\t\n", "the file is empty"),
        (b"\x1f\x8b\x08rest", "the file is packed: unpack it first"),
        (b"PK\x03\x04rest", "the file is packed: unpack it first"),
        (b"<html><body>no</body></html>", "the file is a web page, not weather"),
        (b"{", "the file is not whole JSON"),
        (b"[1, 2]", "the file is not one forecast"),
        (b"LOCATION,a", "the file is an EPW file without any hour"),
        (
            b"\x89PNG\r\n\x1a\n\0\0",
            "the file is neither text nor any other kind of past weather that is known",
        ),
    ],
)
def test_what_is_none_of_these_is_refused(refused: Refused, content: bytes, said: str) -> None:
    assert refused(content) == said


def test_a_text_that_is_no_table_is_refused_with_its_beginning(refused: Refused) -> None:
    said = refused("Dear grower,\nit was cold last night.\n")

    assert said.endswith('heads for the time and the temperature; it begins with "Dear grower,"')


def test_a_file_that_is_not_there_or_no_file_is_refused(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    for name, said in (
        ("none", "none: cannot be read: No such file or directory"),
        ("pipe", "pipe: cannot be read: it is a pipe, not a file"),
        (".", ": cannot be read: it is a folder, not a file"),
    ):
        with pytest.raises(SourceError) as caught:
            read_archive(tmp_path / name, SITE)
        assert str(caught.value).endswith(said)


def test_a_file_that_is_too_large_is_refused_without_being_read(
    refused: Refused, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(readings, "MAX_BYTES", 1_000_000)

    assert refused(b" " * 1_000_001) == ("cannot be read: it is larger than 1 MB: give it in parts")


def test_a_name_with_control_characters_is_escaped(tmp_path: Path) -> None:
    path = tmp_path / "past\x1b[31m.csv"
    path.write_text("x")

    with pytest.raises(SourceError) as caught:
        read_archive(path, SITE)

    assert str(caught.value).startswith(r"past\x1b[31m.csv: the file ")


@given(st.one_of(st.binary(max_size=300), st.text(max_size=300).map(lambda text: text.encode())))
def test_any_bytes_are_refused_in_one_line(
    tmp_path_factory: pytest.TempPathFactory, content: bytes
) -> None:
    path = tmp_path_factory.getbasetemp() / "any"
    path.write_bytes(content)
    with pytest.raises(SourceError) as caught:
        read_archive(path, SITE)
    assert str(caught.value).isprintable()


BOMBS = {
    "lists": b"[" * 5_000_000,
    "objects": b"[" + b"{}," * 3_000_000 + b"{}]",
    "numbers": b'{"latitude":[' + b"1.5," * 1_000_000 + b"1]}",
    "heads": b"time (UTC),temperature\n" + b"," * 5_000_000,
    "quote": b'time (UTC),temperature\n2021-01-01 00:00,"' + b"x\n" * 1_000_000,
    "lines": b"time (UTC),temperature\n" + b"\n" * 1_000_000,
    "times": b"time (UTC),temperature\n" + b"x,1\n" * 500_000,
    "hours": b"LOCATION,\n" + b"1,\n" * 1_000_000,
}

BOUNDED = """
import resource, sys
from pathlib import Path
from sillward.archive import read_archive
from sillward.errors import SourceError
from tests.support.past_files import SITE
resource.setrlimit(resource.RLIMIT_AS, (800_000_000, 800_000_000))
for name in sys.argv[1:]:
    try:
        read_archive(Path(name), SITE)
    except SourceError as error:
        print(error)
"""


def test_files_that_would_fill_the_memory_are_refused(tmp_path: Path) -> None:
    for name, content in BOMBS.items():
        (tmp_path / name).write_bytes(content)

    done = subprocess.run(
        [sys.executable, "-c", BOUNDED, *(str(tmp_path / name) for name in BOMBS)],
        capture_output=True,
        text=True,
        check=False,
    )

    assert done.returncode == 0, done.stderr
    assert [line.partition(": the file ")[0] for line in done.stdout.splitlines()] == [*BOMBS]
