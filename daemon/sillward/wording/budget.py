"""How much work a grower's template may do for one line: steps, characters and processor time."""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

MAX_STEPS = 20_000
"""Steps for one line: turns of loops, calls, filters, pieces of text. Judgement: the packaged
macros take about a hundred."""

MAX_OUTPUT = 100_000
"""Characters put together for one line, intermediate results included. Judgement: far beyond any
line, and little memory."""

MAX_CPU_S = 0.2
"""Processor time for one line [s]; what else the machine does is not counted. Judgement: the
packaged macros take a thousandth of it."""


class BudgetError(ArithmeticError):
    """A template did more work than a line needs."""


@dataclass(slots=True)
class Budget:
    """The work that a grower's template may still do. Nothing is counted until it is renewed.

    clock: processor time of this thread [s].
    """

    clock: Callable[[], float] = time.thread_time
    _steps: int | None = None
    _output: int = field(default=0)
    _deadline: float = field(default=0.0)

    def renew(self, lines: int = 1) -> None:
        """Begin to count, with the budget of so many lines."""
        self._steps, self._output = lines * MAX_STEPS, lines * MAX_OUTPUT
        self._deadline = self.clock() + lines * MAX_CPU_S

    def pause(self) -> None:
        """Stop counting until the next `renew`."""
        self._steps = None

    @contextmanager
    def uncounted(self) -> Iterator[None]:
        """Leave the processor time of a step out, such as that of compiling a template."""
        began = self.clock()
        yield
        self._deadline += self.clock() - began

    def spend(self, characters: int = 0) -> None:
        """Count a step and the characters it wrote. Raise BudgetError when the budget is spent."""
        if self._steps is None:
            return
        self._steps -= 1
        self._output -= characters
        if self._steps < 0:
            msg = f"more than {MAX_STEPS:,} steps for one line"
        elif self._output < 0:
            msg = f"more than {MAX_OUTPUT:,} characters written for one line"
        elif self.clock() > self._deadline:
            msg = f"more than {MAX_CPU_S:g} s for one line"
        else:
            return
        raise BudgetError(msg)
