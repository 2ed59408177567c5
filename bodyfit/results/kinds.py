"""Kinds of figures, and how those that stand side by side in summary.json are told apart in a class."""

from __future__ import annotations

from typing import Literal

Sensor = Literal["accelerometer", "gyroscope", "magnetometer", "orientation"]
Figure = float | None  # None: not known, or not finite
Span = tuple[float, float]  # [start, end], s of the capture's clock
Range = tuple[float, float]  # [low, high]
Vector = tuple[float, float, float]
Matrix = tuple[Vector, Vector, Vector]
Figures = tuple[Figure, Figure, Figure]
FigureMatrix = tuple[Figures, Figures, Figures]

# Metadata of a field that holds a group of figures, all there or none: it has no key of its own in the file;
# the keys of the group stand beside those of the class that holds it.
BESIDE = {"beside": True}
