"""Charts drawn with matplotlib: the only package that needs it (`pip install '.[charts]'`).

Made for a phone: text has at least 9 points at a width of 600 pixels. Lines differ in dashes and
weight as well as in colour, and every line is named in words.
"""

import io
import re

from matplotlib.figure import Figure
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from sillward.charts.data import Chart, ChartData, CorrectionChart, ReadingsChart, YearChart
from sillward.charts.draw.night import night_figure
from sillward.charts.draw.skill import skill_figure
from sillward.charts.draw.spot_nights import correction_figure, readings_figure
from sillward.charts.draw.style import GREY, LARGE, SMALL, USUAL, chart_style
from sillward.charts.draw.water import water_figure
from sillward.charts.draw.year import footer_lines, year_figure
from sillward.charts.process import MADE_BY, Form

PNG_DPI = 150
"""Finer than the layout. Judgement: sharp on a phone, and small enough for a mail."""

COLOURS = 64
"""Colours of a PNG, including blends at the edges of letters. Judgement: fewer can be seen."""

_DOCTYPE = re.compile(rb"<!DOCTYPE.*?>\s*", re.DOTALL)
_METADATA = re.compile(rb"\s*<metadata>.*?</metadata>", re.DOTALL)


def image(data: Chart, form: Form) -> bytes:
    """Return the chart as a picture. An SVG refers to nothing outside of itself."""
    with chart_style():
        figure, picture = figure_of(data), io.BytesIO()
        if form == "png":
            figure.savefig(picture, format="png", dpi=PNG_DPI)
            return _with_palette(picture, data.title)
        figure.savefig(picture, format="svg", metadata={"Date": None})
    svg = _METADATA.sub(b"", _DOCTYPE.sub(b"", picture.getvalue()))
    return svg.replace(b"?>\n", f"?>\n<!-- {MADE_BY} -->\n".encode(), 1)


def _with_palette(picture: io.BytesIO, title: str) -> bytes:
    """Return the same PNG with a palette, in a third of the bytes, because it is sent by mail."""
    about = PngInfo()
    about.add_itxt("Software", MADE_BY)
    about.add_itxt("Title", title)
    reduced = Image.open(picture).convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)
    png = io.BytesIO()
    reduced.save(png, format="png", optimize=True, pnginfo=about)
    return png.getvalue()


def figure_of(data: Chart) -> Figure:
    """Return the chart as a figure, to which more may be added."""
    with chart_style():
        figure = _figure(data)
        inch = 1 / figure.get_figheight()
        figure.text(0.02, 1 - 0.1 * inch, data.title, size=LARGE, weight="bold", va="top")
        figure.text(0.02, 1 - 0.33 * inch, data.subtitle, size=USUAL, va="top")
        foot = "\n".join(_footer(data))
        figure.text(0.02, 0.06 * inch, foot, size=SMALL, color=GREY, va="bottom")
        return figure


def _figure(data: Chart) -> Figure:
    if isinstance(data, YearChart):
        return year_figure(data)
    if isinstance(data, ReadingsChart):
        return readings_figure(data)
    if isinstance(data, CorrectionChart):
        return correction_figure(data)
    if not isinstance(data, ChartData):
        return skill_figure(data)
    return night_figure(data) if data.kind == "night" else water_figure(data)


def _footer(data: Chart) -> list[str]:
    if isinstance(data, YearChart):
        return footer_lines(data)
    if not isinstance(data, ChartData):
        return list(data.footer)
    band = [] if data.band_origin is None else [f"likely range: 2 nights in 3; {data.band_origin}"]
    return [data.forecast, *band, data.made]
