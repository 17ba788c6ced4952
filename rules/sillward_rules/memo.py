"""A memo of a few results that are asked for again and again."""

from collections.abc import Callable, Hashable
from contextlib import suppress
from typing import Any, TypeVar

Result = TypeVar("Result")


class Memo:
    """Keeps a few results by their keys; the oldest gives way to a new one.

    Threads may share it: two that ask at once may both make a result, and either is kept.
    """

    def __init__(self, most: int) -> None:
        """Keep no more than so many."""
        self._most = most
        self._kept: dict[Hashable, Any] = {}

    def of(self, key: Hashable, make: Callable[[], Result]) -> Result:
        """Return the result of this key, made now if it is not kept."""
        kept = self._kept.get(key, self)
        if kept is not self:
            result: Result = kept
            return result
        result = make()
        if len(self._kept) >= self._most:
            with suppress(RuntimeError, StopIteration):  # another thread has made room meanwhile
                self._kept.pop(next(iter(self._kept)), None)
        self._kept[key] = result
        return result
