"""A call that shows which source it waits for when that takes long."""

from collections.abc import Callable
from typing import Any

from sillward.net.http import Answer, Query
from sillward.text.terminal import patience


def patient(ask: Callable[..., Answer]) -> Callable[..., Answer]:
    """Return a function that makes the same call, and shows its source when that takes long."""

    def ask_and_show(query: Query, *, source: str, **options: Any) -> Answer:
        with patience(f"asking {source} ..."):
            return ask(query, source=source, **options)

    return ask_and_show
