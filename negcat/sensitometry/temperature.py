"""A developing time at another temperature.

Sources
-------
Arrhenius : by the usual rule of thumb for chemical reactions, 10 °C more make them about twice as fast (Q10 = 2);
    of developers figures between 1.5 and 2.5 are told, so that 2.0 ± 0.5 is one deviation.
"""

from math import exp, hypot, isfinite, log

from negcat.errors import QuantityError
from negcat.sensitometry.developing import Q10

__all__ = ["at_temperature"]

_LOG_Q10, _LOG_Q10_SD = log(Q10[0]), Q10[1] / Q10[0]
_NINETY = 1.6449  # deviations on either side that hold 90 % of a normal law


def at_temperature(
    time_s: float, low_s: float, high_s: float, from_c: float, to_c: float
) -> tuple[float, float, float]:
    """Turn a developing time and its interval into those at another temperature.

    Parameters
    ----------
    time_s, low_s, high_s : the time and its 90 % interval at `from_c`, seconds, more than 0.
    from_c, to_c : temperatures, °C.

    Returns
    -------
    Time, low and high at `to_c`: t·Q10^((from − to)/10) with Q10 = 2.0 ± 0.5 (Arrhenius), whose doubt widens the
    interval as the temperatures part.

    Raises
    ------
    QuantityError : a time that isn't more than 0, or a temperature that is no number.

    Examples
    --------
    >>> tuple(round(t) for t in at_temperature(600, 570, 630, 20, 20))
    (600, 570, 630)
    >>> tuple(round(t) for t in at_temperature(600, 570, 630, 20, 24))
    (455, 383, 540)
    """
    if not (
        all(isfinite(t) and t > 0 for t in (time_s, low_s, high_s)) and isfinite(from_c) and isfinite(to_c)
    ):
        raise QuantityError("A developing time is more than 0 s, and its temperature a number.")
    tens = (to_c - from_c) / 10.0
    factor = exp(-tens * _LOG_Q10)
    doubt = _NINETY * _LOG_Q10_SD * tens
    down, up = hypot(log(time_s / low_s), doubt), hypot(log(high_s / time_s), doubt)
    return time_s * factor, time_s * factor * exp(-down), time_s * factor * exp(up)
