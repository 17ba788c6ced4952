"""The server of the metrics, put together from the settings."""

from importlib.util import find_spec
from typing import TYPE_CHECKING

from sillward.config.settings import Settings
from sillward.errors import ConfigError
from sillward.service.tally import Tally

if TYPE_CHECKING:
    from sillward.page.server import PageServer


def metrics_server(settings: Settings, tally: Tally) -> "PageServer | None":
    """Build the server of a run's metrics; None if the settings name no address for it.

    Raise ConfigError unless the libraries for it are installed.
    """
    address = settings.metrics.host_port
    if address is None:
        return None
    if not all(map(find_spec, ("prometheus_client", "waitress"))):
        msg = (
            "metrics need prometheus-client and waitress: pip install '.[metrics]' in the checkout"
        )
        raise ConfigError([msg])
    # Only now: a daemon without metrics has neither library in memory.
    from sillward.metrics import exposition
    from sillward.page.server import PageServer

    return PageServer(exposition.application(tally), *address, name="metrics")
