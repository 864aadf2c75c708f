"""How figures are set on a paper: with the proper minus, in the parts of a stop that a scale has, as a clock shows."""

from __future__ import annotations

from typing import Final

__all__ = ["counted", "decimal", "factor", "parts", "ratio"]

_PARTS: Final = {0.0: "", 1 / 3: "⅓", 1 / 2: "½", 2 / 3: "⅔", 1.0: ""}


def decimal(value: float, places: int = 2, *, signed: bool = False) -> str:
    """Set a number with so many decimals; nought has no sign.

    Examples
    --------
    >>> decimal(-0.517), decimal(0.3333, signed=True), decimal(-0.001), decimal(2.0, 0)
    ('−0.52', '+0.33', '0.00', '2')
    """
    text = f"{abs(value):.{places}f}"
    if not any(figure in "123456789" for figure in text):
        return text
    return ("−" if value < 0 else "+" if signed else "") + text


def parts(stops: float) -> str:
    """Set stops in the nearest third or half, with the sign.

    Examples
    --------
    >>> parts(1.62), parts(-0.4), parts(0.1), parts(2), parts(0.34), parts(-0.5), parts(0.9)
    ('+1⅔', '−⅓', '0', '+2', '+⅓', '−½', '+1')
    """
    whole, rest = divmod(abs(stops), 1.0)
    nearest = min(_PARTS, key=lambda part: abs(part - rest))
    whole += nearest == 1
    text = (str(int(whole)) if whole else "") + _PARTS[nearest]
    return ("−" if stops < 0 else "+") + text if text else "0"


def factor(stops: float) -> str:
    """Set by what a time is multiplied to make up for stops.

    Examples
    --------
    >>> factor(1.0), factor(1 / 3), factor(3.5)
    ('× 2.0', '× 1.3', '× 11')
    """
    times = 2.0**stops
    return f"× {times:.1f}" if times < 9.95 else f"× {times:.0f}"


def counted(seconds: float) -> str:
    """Set an exposure as it is counted: tenths below ten seconds, minutes and seconds from a minute up.

    Examples
    --------
    >>> counted(2.46), counted(19.95), counted(154.2), counted(4.0), counted(119.8), counted(7260)
    ('2.5 s', '20 s', '2:34', '4 s', '2:00', '2:01:00')
    """
    if seconds < 9.95:
        return f"{seconds:.1f}".removesuffix(".0") + " s"
    minutes, rest = divmod(round(seconds), 60)
    if not minutes:
        return f"{rest} s"
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"


def ratio(scale: float) -> str:
    """Set a scale of reproduction: the picture's size to the subject's.

    Examples
    --------
    >>> ratio(0.122), ratio(1.0), ratio(1.245)
    ('1 : 8.2', '1 : 1', '1.2 : 1')
    """
    return f"1 : {1 / scale:.2g}" if scale < 1.05 else f"{scale:.2g} : 1"
