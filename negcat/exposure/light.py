"""Light in stops: exposure values, and the two zones of a reading.

One zone is one stop. The *exposure zone* is where a tone falls on the film; the *print zone* is where
development then puts it in the print.
"""

import math

from negcat.errors import QuantityError

__all__ = [
    "contrast",
    "ev100",
    "exposure_value",
    "exposure_zone_of",
    "luminance",
    "n_of_contrast",
    "print_zone_of",
]


def exposure_value(f_number: float, seconds: float) -> float:
    """Return the exposure value of a stop and a time, EV = log2(N²/t).

    Parameters
    ----------
    f_number : the exact f-number, more than 0.
    seconds : the time, more than 0.

    Returns
    -------
    EV, in stops; more is less light.

    Notes
    -----
    ISO 2720.

    Examples
    --------
    >>> exposure_value(8.0, 1.0)
    6.0
    """
    return 2 * math.log2(f_number) - math.log2(seconds)


def ev100(ev: float, meter_iso: float) -> float:
    """Return a meter reading as it would be at ISO 100, EV100 = EV − log2(meter_iso / 100).

    Parameters
    ----------
    ev : the reading.
    meter_iso : the film speed the meter was set to, more than 0.

    Returns
    -------
    EV100 in stops.

    Raises
    ------
    QuantityError
        Where the film speed is not more than 0.

    Examples
    --------
    >>> ev100(12.0, 400)
    10.0
    """
    if not 0 < meter_iso < math.inf:
        raise QuantityError(f"the meter's film speed {meter_iso:g} must be more than 0.")
    return ev - math.log2(meter_iso / 100)


def luminance(ev_100: float) -> float:
    """Return the luminance behind a reflected-light reading, L = 2^(EV100 − 3) cd/m².

    Parameters
    ----------
    ev_100 : the reading at ISO 100.

    Returns
    -------
    Luminance in cd/m².

    Notes
    -----
    ISO 2720 with the calibration constant K = 12.5: L = K/100 · 2^EV100.

    Examples
    --------
    >>> luminance(12.0)
    512.0
    """
    return float(2.0 ** (ev_100 - 3))


def contrast(n: float) -> float:
    """Return the contrast that N+n means, c(n) = 7 / (7 − n).

    Parameters
    ----------
    n : the number after N, less than 7.

    Returns
    -------
    Print zones per exposure zone: 1 for N, 1.167 for N+1, 0.875 for N−1.

    Raises
    ------
    QuantityError
        Where ``n`` is 7 or more: no subject range is left.

    Notes
    -----
    Adams, *The Negative*: N+n develops so that a subject range of 7 − n stops fills zones I to VIII.

    Examples
    --------
    >>> round(contrast(1), 3), contrast(-1)
    (1.167, 0.875)
    """
    if not n < 7:
        raise QuantityError(f"a development of N+{n:g} leaves no subject range: it must be less than N+7.")
    return 7 / (7 - n)


def n_of_contrast(c: float) -> float:
    """Return the n of N+n whose contrast is c, n = 7 − 7/c; the inverse of :func:`contrast`.

    Parameters
    ----------
    c : print zones per exposure zone, more than 0.

    Returns
    -------
    The number after N, less than 7.

    Raises
    ------
    QuantityError
        Where ``c`` is not more than 0.

    Examples
    --------
    >>> n_of_contrast(1.4)
    2.0
    """
    if not c > 0:
        raise QuantityError(f"a contrast of {c:g} belongs to no development: it must be more than 0.")
    return 7 - 7 / c


def print_zone_of(exposure_zone: float, n: float) -> float:
    """Return the zone in which development N+n prints an exposure zone.

    Parameters
    ----------
    exposure_zone : where the tone falls on the film.
    n : the number after N, less than 7.

    Returns
    -------
    1 + c(n)·(zone − 1) from zone I up; below it the zone itself, because development hardly moves Zone I.

    Notes
    -----
    Adams, *The Negative*; c(n) as :func:`contrast`.

    Examples
    --------
    >>> print_zone_of(4, 1), round(print_zone_of(7, 1), 9), print_zone_of(0.5, 1)
    (4.5, 8.0, 0.5)
    """
    return 1 + contrast(n) * (exposure_zone - 1) if exposure_zone >= 1 else exposure_zone


def exposure_zone_of(print_zone: float, n: float) -> float:
    """Return the exposure zone that development N+n prints in a zone; the inverse of :func:`print_zone_of`.

    Parameters
    ----------
    print_zone : where the tone prints.
    n : the number after N, less than 7.

    Returns
    -------
    Where the tone must fall on the film.

    Examples
    --------
    >>> round(exposure_zone_of(8, 1), 9)
    7.0
    """
    return 1 + (print_zone - 1) / contrast(n) if print_zone >= 1 else print_zone
