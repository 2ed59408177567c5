"""A matplotlib figure that belongs to no window and shows itself in a notebook."""

from __future__ import annotations

from io import BytesIO

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

DPI = 100  # dots an inch of a picture in a notebook; common practice


class ShownFigure(Figure):
    """A figure that a notebook draws when it ends a cell, whether or not pyplot was imported."""

    def _repr_png_(self) -> bytes:
        picture = BytesIO()
        FigureCanvasAgg(self).print_figure(picture, format="png", dpi=DPI)
        return picture.getvalue()
