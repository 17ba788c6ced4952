"""The known sources: every module of this folder that has a KEY and a `build`.

KEY is the name of the source in the settings. `build(setup)` returns the Source; it raises
ValueError, in words for the grower, if the settings lack something.
"""

import importlib
import pkgutil
from collections.abc import Callable
from functools import cache

from sillward.forecast.source import Source, SourceOptions

Build = Callable[[SourceOptions], Source]


@cache
def known() -> dict[str, Build]:
    """Return the functions that build the sources, by key."""
    modules = (
        importlib.import_module(f"{__name__}.{found.name}")
        for found in pkgutil.iter_modules(__path__)
    )
    return {module.KEY: module.build for module in modules if hasattr(module, "KEY")}
