"""What tests of pictures look at: the texts of a figure, where they are, and contrasts."""

from collections.abc import Callable
from itertools import combinations

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.transforms import Bbox


def words(figure: Figure) -> list[Text]:
    """Return every text of a figure."""
    found = list(figure.texts)
    for axes in figure.axes:
        found += [child for child in axes.get_children() if isinstance(child, Text)]
        legend = axes.get_legend()
        found += legend.get_texts() if legend else []
        for axis in (axes.xaxis, axes.yaxis):
            low, high = sorted(axis.get_view_interval())
            ticks = [*axis.get_major_ticks(), *axis.get_minor_ticks()]
            found += [tick.label1 for tick in ticks if low <= tick.get_loc() <= high]
    return [text for text in found if text.get_visible() and text.get_text().strip()]


def said(figure: Figure) -> str:
    return "\n".join(text.get_text() for text in words(figure))


def laid_out(figure: Figure) -> Callable[[Text], Bbox]:
    """Draw the figure, and return a function that gives the box of a text [pixels]."""
    figure.draw_without_rendering()
    canvas = figure.canvas
    assert isinstance(canvas, FigureCanvasAgg)
    renderer = canvas.get_renderer()  # type: ignore[no-untyped-call]
    # An annotation's own extent has its arrow in it.
    return lambda text: Text.get_window_extent(text, renderer)


def require_readable(figure: Figure) -> None:
    """Fail unless every text is large enough, on the page, and covers no other."""
    box = laid_out(figure)

    assert figure.get_figwidth() == 6.0
    assert figure.dpi == 100
    texts = words(figure)
    assert min(float(text.get_fontsize()) for text in texts) >= 9.0
    page = figure.bbox
    placed = [(text.get_text(), box(text)) for text in texts]
    for text, place in placed:
        assert page.x0 <= place.x0 < place.x1 <= page.x1, text
        assert page.y0 <= place.y0 < place.y1 <= page.y1, text
    for (text, first), (other, second) in combinations(placed, 2):
        common = Bbox.intersection(first, second)
        # The two rows of hours and dates have empty lines in them.
        if common is not None and not (text.startswith("\n") or other.startswith("\n")):
            assert min(common.width, common.height) < 2.5, (text, other)


def luminance(colour: object) -> float:
    """Return the relative luminance, as WCAG 2.1 defines it."""

    def linear(part: float) -> float:
        return part / 12.92 if part <= 0.04045 else float(((part + 0.055) / 1.055) ** 2.4)

    red, green, blue = (linear(part) for part in to_rgb(colour))  # type: ignore[arg-type]
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(colour: object, ground: object) -> float:
    """Return the contrast ratio, as WCAG 2.1 defines it."""
    light, dark = sorted((luminance(colour), luminance(ground)), reverse=True)
    return (light + 0.05) / (dark + 0.05)
