"""A fetch that says whom it asks when that takes long."""

from collections.abc import Callable
from typing import Any

from sillward.net.http import Answer, Query
from sillward.text.terminal import patience


def patient(ask: Callable[..., Answer]) -> Callable[..., Answer]:
    """The same call of a forecast source, which says whom it asks when that takes long."""

    def asked(query: Query, *, source: str, **how: Any) -> Answer:
        with patience(f"asking {source} ..."):
            return ask(query, source=source, **how)

    return asked
