"""Print zones in words and in colours.

The colours rise evenly in CIE lightness from zone 0 to zone X, so that they stay in order and apart for
every kind of colour sight and on a grey print too; the hue, from blue over green to yellow, only helps. Words go
with them everywhere.
"""

from __future__ import annotations

import math

__all__ = ["ZONE_WORDS", "zone_colours"]

ZONE_WORDS = (
    "paper black",
    "just off black",
    "first texture",
    "textured shadow",
    "dark middle",
    "middle grey",
    "light middle",
    "textured highlight",
    "last texture",
    "just off white",
    "paper white",
)
"""What each zone from 0 to X looks like in a print."""

_DARKEST, _LIGHTEST = 10.0, 93.0
_HUES = (305.0, 110.0)
"""Degrees of CIE hue at zone 0 and zone X: from blue through green to yellow. By way of red, which the eye without
its red cones sees dark, zones I and II would come too near to each other."""
_CHROMA = 50.0


def zone_colours() -> tuple[str, ...]:
    """Give the colours of zones 0 to X as sRGB hex triples.

    Notes
    -----
    CIE 1976 L*a*b* (ISO/CIE 11664-4) for D65, to sRGB (IEC 61966-2-1). Where a colour lies outside sRGB, its
    chroma is lowered until it lies inside; its lightness and hue stay.

    Examples
    --------
    >>> zone_colours()[0], zone_colours()[10]
    ('#170d54', '#eaf28f')
    """
    colours = []
    for zone in range(11):
        lightness = _DARKEST + (_LIGHTEST - _DARKEST) * zone / 10
        hue = math.radians(_HUES[0] + (_HUES[1] - _HUES[0]) * zone / 10)
        chroma = _CHROMA
        while (rgb := _srgb(lightness, chroma * math.cos(hue), chroma * math.sin(hue))) is None:
            chroma -= 0.5
        colours.append("#" + "".join(f"{round(255 * part):02x}" for part in rgb))
    return tuple(colours)


def _srgb(lightness: float, a: float, b: float) -> tuple[float, float, float] | None:
    """Turn L*a*b* into encoded sRGB, each 0 to 1; None outside it."""
    fy = (lightness + 16) / 116
    x, y, z = (
        white * (f**3 if f > 6 / 29 else 3 * (6 / 29) ** 2 * (f - 4 / 29))
        for white, f in zip((0.95047, 1.0, 1.08883), (fy + a / 500, fy, fy - b / 200), strict=True)
    )
    linear = (
        3.2406 * x - 1.5372 * y - 0.4986 * z,
        -0.9689 * x + 1.8758 * y + 0.0415 * z,
        0.0557 * x - 0.2040 * y + 1.0570 * z,
    )
    if min(linear) < -1e-4 or max(linear) > 1.0001:
        return None
    red, green, blue = (
        12.92 * max(part, 0.0) if part <= 0.0031308 else min(1.055 * part ** (1 / 2.4) - 0.055, 1.0)
        for part in linear
    )
    return red, green, blue
