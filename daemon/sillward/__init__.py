"""Sillward's shell: settings, forecast clients, ledger, rounds, notices and the command line.

The decisions are made by `sillward_rules`; nothing here knows a threshold.
"""

from importlib.metadata import version

__version__ = version("sillward")
