"""A stored forecast body in place of the network, read by the same parser."""

from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from sillward.errors import SourceError
from sillward.forecast import Forecast, Source
from sillward_rules.site import Site
from sillward_rules.weather import Weather


@dataclass(frozen=True, slots=True)
class Recorded:
    """A file that holds a body of another source."""

    path: Path
    of: Source

    @property
    def name(self) -> str:
        """The source's name, marked."""
        return f"{self.of.name} (recorded)"

    @property
    def attribution(self) -> str:
        """As the source asks for it."""
        return self.of.attribution

    def fetch(self, site: Site, now: datetime) -> Forecast:
        """Read the file as if it had been fetched now."""
        try:
            body = self.path.read_bytes()
        except OSError as error:
            msg = f"{self.path}: cannot be read: {error.strerror or error}"
            raise SourceError(msg) from error
        return Forecast(body, self.read(body, site, now))

    def read(self, body: bytes, site: Site, fetched_at: datetime) -> Weather:
        """Read a body as the source would."""
        return replace(self.of.read(body, site, fetched_at), source=self.name)
