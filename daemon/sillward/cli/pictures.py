"""How commands write pictures: the form by the ending of the file, and only over our own."""

from pathlib import Path

from sillward import files
from sillward.charts import process as charting
from sillward.charts.data import Chart
from sillward.errors import ChartError, NotOursError, UsageError


def form_of(out: Path | None, option: str) -> charting.Form:
    """Return the form of picture that the name of a file asks for. Raise UsageError."""
    ending = ".png" if out is None else out.suffix.lower()
    if ending not in (".png", ".svg"):
        msg = f'{option} "{out}": a chart is a .png or an .svg'
        raise UsageError(msg)
    return "svg" if ending == ".svg" else "png"


def write_picture(file: Path, data: Chart, form: charting.Form) -> None:
    """Draw a chart and write it. Raise UsageError for a file of something else, or ChartError."""
    try:
        place = files.destination(file, charting.is_ours, charting.HEAD)
        files.write_to(place, charting.picture(data, form))
    except NotOursError as error:
        raise UsageError(str(error)) from None
    except OSError as error:
        msg = f"{file}: the chart cannot be written: {error.strerror}"
        raise ChartError(msg) from None
