"""A memo of a few results that are asked for again and again."""

from collections.abc import Callable, Hashable
from typing import Any, TypeVar

Result = TypeVar("Result")


class Memo:
    """Keeps a few results by their keys; the oldest gives way to a new one."""

    def __init__(self, most: int) -> None:
        """Keep no more than so many."""
        self._most = most
        self._kept: dict[Hashable, Any] = {}

    def of(self, key: Hashable, make: Callable[[], Result]) -> Result:
        """Return the result of this key, made now if it is not kept."""
        if key in self._kept:
            result: Result = self._kept[key]
            return result
        result = make()
        if len(self._kept) >= self._most:
            del self._kept[next(iter(self._kept))]
        self._kept[key] = result
        return result
