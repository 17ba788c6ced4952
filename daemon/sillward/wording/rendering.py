"""Lines rendered from macros: the grower's own where they work, otherwise the packaged ones."""

import logging
from collections.abc import Mapping
from html import escape
from typing import Any

from sillward.wording.budget import Budget, BudgetError
from sillward.wording.macro_check import error_line, fault_in
from sillward.wording.macros import Macros, Wording, render

log = logging.getLogger(__name__)

MAX_CALLS = 1_000
"""Calls of the grower's macros for one line. Judgement: enough for any line, and soon done."""

LINES_OF_A_PAGE = 50
"""How many lines' worth of work a page may take. Judgement: the packaged page takes a tenth."""


class Renderer:
    """Renders lines by the names of their macros, and the page of the weekly mail.

    A macro of the grower's that fails or leaves something out is logged once and replaced by the
    packaged one: wording must never cost a notice.
    """

    def __init__(self, wording: Wording, filters: Mapping[str, Any], budget: Budget) -> None:
        self.wording = wording
        self._budget = budget
        self._macros = Macros(wording, filters, _Say(self), budget)
        self._running: set[str] = set()
        """The grower's macros that are being rendered."""
        self._exhausting: set[str] = set()
        """The grower's macros that exceeded their budget: they are not tried again."""
        self._logged: set[str] = set()
        """Macros whose failure has been logged; they may be used in every line of a message."""
        self._calls = 0
        """Calls of the grower's macros for the present line."""

    def line(self, name: str, facts: Mapping[str, Any]) -> str:
        """Return the line of a macro: the grower's own, unless it fails or `fault_in` objects."""
        ours = self.packaged_line(name, facts)
        if name not in self.wording.own or name in self._running or name in self._exhausting:
            return ours
        try:
            own = self.own_line(name, facts)
            fault = fault_in(own, ours, facts)
        except BudgetError as error:
            self._exhausting.add(name)
            fault = error_line(error)
        except Exception as error:
            fault = error_line(error)
        if fault is None:
            return own
        if name not in self._logged:
            self._logged.add(name)
            log.warning("wording.failed macro=%s reason=%s", name, fault)
        return ours

    def packaged_line(self, name: str, facts: Mapping[str, Any]) -> str:
        """Return what the packaged macro says. Raise KeyError if there is none."""
        return render(self._macros.ours(name), facts)

    def own_line(self, name: str, facts: Mapping[str, Any]) -> str:
        """Return what the grower's macro says. Raise what it raises, KeyError if there is none.

        Inside the macro, the line of its own name is the packaged one. So it may add words to that
        line, and cannot recur endlessly.
        """
        outermost = not self._running
        if outermost:
            self._calls = 0
            self._budget.renew()
        self._calls += 1
        if self._calls > MAX_CALLS:
            msg = f"more than {MAX_CALLS} macros for one line"
            raise ArithmeticError(msg)
        self._running.add(name)
        try:
            return render(self._macros.own(name), facts)
        finally:
            self._running.discard(name)
            if outermost:
                self._budget.pause()

    def page(self, facts: Mapping[str, Any], *, strict: bool) -> str:
        """Return the page of the weekly mail: the grower's own, unless it fails or says too little.

        strict: raise what is wrong with the grower's page, instead of using the packaged one.
        """
        if self.wording.page is not None:
            try:
                return self._own_page(facts)
            except Exception as error:
                if strict:
                    raise
                log.warning("wording.failed page reason=%s", error_line(error))
        return self._macros.page(own=False).render(facts)

    def _own_page(self, facts: Mapping[str, Any]) -> str:
        self._budget.renew(LINES_OF_A_PAGE)
        try:
            page = self._macros.page(own=True).render(facts)
        finally:
            self._budget.pause()
        if str(escape(facts["sentence"])) not in page:
            msg = "it does not tell `sentence`, the week in one sentence"
            raise ValueError(msg)
        return page


class _Say:
    """`say` in a template: `say.plants(3)` renders another macro, the grower's if there is one."""

    def __init__(self, renderer: Renderer) -> None:
        self._renderer = renderer

    def __getattr__(self, name: str) -> Any:
        if name.startswith("_") or name not in self._renderer.wording.ours:
            raise AttributeError(name)
        fact_names = self._renderer.wording.ours[name].facts

        def macro(*values: Any, **facts: Any) -> str:
            positional = dict(zip(fact_names, values, strict=False))
            return self._renderer.line(name, {**positional, **facts})

        return macro
