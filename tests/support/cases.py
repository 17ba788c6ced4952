"""One test of many small cases.

pytest takes some milliseconds for each test, a hundred times what it takes to look at one more of
the values, names or messages that the same few lines are to hold for. One that fails is named.
"""

from collections.abc import Callable, Iterable

import pytest

Test = Callable[..., None]


def for_each(
    cases: Iterable[object], name: Callable[..., str] | None = None, *, slow: Iterable[object] = ()
) -> Callable[[Test], Test]:
    """Make a check of one case a test of all of them.

    cases: what the check takes; a tuple is several arguments.
    name: what a case is called, from the same arguments.
    slow: cases of the slow set.
    """
    usual, rest = [_arguments(case) for case in cases], [_arguments(case) for case in slow]
    assert usual
    sets = [pytest.param(usual, id="usual"), pytest.param(rest, id="slow", marks=pytest.mark.slow)]

    def of(check: Test) -> Test:
        def test(subtests: pytest.Subtests, cases: list[tuple[object, ...]]) -> None:
            for case in cases:
                with subtests.test(name(*case) if name else ", ".join(map(repr, case))):
                    check(*case)

        test.__name__, test.__doc__, test.__module__ = (
            check.__name__,
            check.__doc__,
            check.__module__,
        )
        return pytest.mark.parametrize("cases", sets if rest else sets[:1])(test)

    return of


def _arguments(case: object) -> tuple[object, ...]:
    return case if isinstance(case, tuple) else (case,)
