"""Colours, sizes and fonts of the charts."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import matplotlib as mpl

BLUE, SKY, VERMILLION, GREEN = "#0072B2", "#56B4E9", "#D55E00", "#009E73"
ORANGE, YELLOW, PURPLE = "#E69F00", "#F0E442", "#CC79A7"
"""From the palette of Okabe and Ito, "Color universal design" (2008); values from memory."""

GREY, INK = "#6B6B6B", "#1A1A1A"
NIGHT = "#EDEDED"

WIDTH_IN = 6.0
LEFT_IN, PANEL_IN = 0.5, 3.9
"""Left edge and width of every panel [in]; the labels of limits stand to the right of it."""

HEAD_IN, FOOT_IN = 0.78, 0.98
"""Heights above the first panel (title, dates) and beneath the last (hours, footer) [in]."""

DPI = 100

SMALL, USUAL, LARGE = 9.0, 9.5, 12.0
"""Sizes of letters [points]."""

LINE_PT = 11.5
"""Height of a line of small letters [points]."""

_STYLE: dict[Any, Any] = {
    "font.family": "DejaVu Sans",
    "font.size": USUAL,
    "text.parse_math": False,  # a plant may be called "$5 fern"
    "text.color": INK,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.8,
    "xtick.labelsize": SMALL,
    "ytick.labelsize": SMALL,
    "svg.fonttype": "path",
    "svg.hashsalt": "sillward",
}


@contextmanager
def chart_style() -> Iterator[None]:
    """Apply our own style, whatever a matplotlibrc says."""
    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(_STYLE)
        yield
