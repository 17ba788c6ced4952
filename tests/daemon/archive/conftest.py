"""How a test of this folder reads a file."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from sillward.archive import PastWeather, read_archive
from sillward.archive.table import Table, past_weather
from sillward.errors import SourceError
from sillward.forecast.parsing import Reading
from sillward_rules.arrays import HOUR_S
from sillward_rules.weather.hourly import SERIES
from sillward_rules.weather.site import Site
from tests.support.past_files import SITE

Read = Callable[..., PastWeather]
Refused = Callable[..., str]


@pytest.fixture
def read(tmp_path: Path) -> Read:
    """Reads a file with this content."""

    def from_file(content: str | bytes, site: Site = SITE) -> PastWeather:
        path = tmp_path / "past"
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return read_archive(path, site)

    return from_file


@pytest.fixture
def refused(read: Read) -> Refused:
    """What is said of a file that is refused, after its name: one line that can be shown."""

    def said(content: str | bytes, site: Site = SITE) -> str:
        with pytest.raises(SourceError) as caught:
            read(content, site)
        text = str(caught.value)
        assert text.startswith("past: ")
        assert text.isprintable()
        assert len(text) < 400
        return text.removeprefix("past: ")

    return said


def check_read_or_refused(table: Callable[[], Table]) -> None:
    """Whatever a file holds, it makes sound weather, or is refused in one line."""
    said: tuple[str, ...] = ()
    try:
        past = past_weather(table(), SITE, Reading("past", "the file"))
    except SourceError as error:
        said = (str(error),)
    else:
        said = past.remarks
        for weather in (past.weather, *past.by_lead_day.values()):
            assert np.all(np.diff(weather.times) == HOUR_S)
            assert not np.isinf([getattr(weather, name) for name in SERIES]).any()
    assert all(line.isprintable() and len(line) < 400 for line in said)
