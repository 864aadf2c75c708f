"""From scene luminance to lux seconds at the film: stop, shutter, bellows, filter, cell, falloff, flare."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

F = NDArray[np.float64]

_FRACTIONS = {"½": "1/2", "⅓": "1/3", "⅔": "2/3", "¼": "1/4", "¾": "3/4"}
_FULL = {1.4: 1, 2: 2, 2.8: 3, 4: 4, 5.6: 5, 8: 6, 11: 7, 16: 8, 22: 9, 32: 10, 45: 11, 64: 12, 90: 13}
_MARKED = {2**k: (2, 4, 8, 15, 30, 60, 125, 250, 500, 1000)[k - 1] for k in range(1, 11)}


def f_number(mark: str) -> float:
    """The exact N of a mark such as `22`, `f/32`, `16 1/3`, `22½`: full stops and parts of a stop only."""
    text = mark.strip().removeprefix("f/")
    for k, v in _FRACTIONS.items():
        text = text.replace(k, " " + v)
    part = text.replace("+", " ").split()
    k = _FULL[float(part[0])] + (float(Fraction(part[1])) if len(part) > 1 else 0.0)
    return float(2 ** (k / 2))


def seconds(mark: str) -> float:
    """The exact time of `1/15`, `4 s`, `1m30s`, `2m`."""
    text = mark.replace(" ", "")
    if m := re.fullmatch(r"1/(\d+)", text):
        n = int(m[1])
        exact = {v: k for k, v in _MARKED.items()}
        return 1 / exact.get(n, n)
    if m := re.fullmatch(r"(?:(\d+)m)?(?:([\d.]+)s?)?", text):
        return 60 * float(m[1] or 0) + float(m[2] or 0)
    raise ValueError(mark)


@dataclass(frozen=True)
class Cell:
    focal_mm: float
    mounted: str = "whole"
    own_scale: bool = True
    to_stop_mm: float | None = None
    hidden_stops: float = 0.0  # what it passes beyond what its scale says: nobody's record knows


@dataclass(frozen=True)
class Lens:
    name: str
    cells: dict[str, Cell]
    shutter: dict[float, float] = field(default_factory=dict)  # marked → real seconds
    pupil_ratio: float = 1.0
    flare: float = 0.004

    def whole(self) -> Cell:
        for c in self.cells.values():
            if c.mounted == "whole":
                return c
        return next(iter(self.cells.values()))

    def widening(self, cell: str) -> float:
        """N of the cell for N = 1 on the whole lens: thin-lens pupils of the one diaphragm."""
        c, w = self.cells[cell], self.whole()
        if c is w:
            return 1.0
        if c.mounted == "front":
            return c.focal_mm / w.focal_mm
        front = next(q for q in self.cells.values() if q.mounted == "front")
        assert front.to_stop_mm is not None
        return c.focal_mm / w.focal_mm * front.focal_mm / (front.focal_mm - front.to_stop_mm)

    def true_n(self, marked: float, cell: str, scale: str | None) -> float:
        """What the diaphragm set to `marked` on a scale really makes of the cell, its hidden error apart."""
        c = self.cells[cell]
        whole = next((k for k, v in self.cells.items() if v.mounted == "whole"), cell)
        scale = scale or (cell if c.own_scale else whole)
        return marked * self.widening(cell) / self.widening(scale)

    def real_time(self, marked: float) -> float:
        for k, v in self.shutter.items():
            if abs(k / marked - 1) < 1e-3:
                return v
        return marked


def bellows_stops(focal: float, draw: float | None, pupil: float) -> float:
    if draw is None:
        return 0.0
    m = draw / focal - 1
    return float(-2 * np.log2(1 + m / pupil))


def falloff(
    shape: tuple[int, int], frame_mm: tuple[float, float], image_mm: float, rise: float, shift: float
) -> F:
    """cos⁴ of the angle from the lens's axis, which rise and shift move off the middle of the film."""
    ny, nx = shape
    u = ((np.arange(nx) + 0.5) / nx - 0.5) * frame_mm[0] + shift
    v = (0.5 - (np.arange(ny) + 0.5) / ny) * frame_mm[1] + rise
    r2 = (u[None] ** 2 + v[:, None] ** 2) / image_mm**2
    return np.asarray(1 / (1 + r2) ** 2)


def lux_seconds(luminance: F, n: float, seconds_: float, stops: float, vignette: F, flare: float) -> F:
    """H = 0.65 · L · t / N² with every other loss as stops, plus the veil of the whole picture's mean."""
    image = luminance * vignette
    veil = flare * float(image.mean())
    return np.asarray(0.65 * (image + veil) * seconds_ / n**2 * 2.0**stops)
