"""Sillward's shell: settings, forecast clients, ledger, rounds, notices and the command line.

The decisions are made by `sillward_rules`; nothing here knows a threshold.
"""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    __version__: str
else:

    def __getattr__(name: str) -> str:
        """The version, looked up when it is asked for: most commands do not say it."""
        if name != "__version__":
            msg = f"module {__name__!r} has no attribute {name!r}"
            raise AttributeError(msg)
        from importlib.metadata import version

        return version("sillward")
