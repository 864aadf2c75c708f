"""From 16-bit codes to the 8-bit tones of pictures for looking.

A screen expects tones encoded by the curve of IEC 61966-2-1 (sRGB). A scan whose codes are proportional to
light is given that curve, or its dark half would look black and keep a dozen of 256 tones: at density 2.0 a tone is
then 0.035 of density, without it 0.17. A scan that is encoded already stays as it is.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from negcat.scans.model import ScanHeader

__all__ = ["LINEAR_WITHIN", "ToneCurve", "srgb_encoded", "tone_curve"]

LINEAR_WITHIN = 0.2
"""Exponents this near to 1 are meant as linear; the flattest in use for display is 1.8."""

FULL_CODE = 65535


def srgb_encoded(light: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Encode linear light, 0 to 1, as IEC 61966-2-1 does; values outside are cut.

    Examples
    --------
    >>> srgb_encoded(np.array([0.0, 0.18, 1.0])).round(3).tolist()
    [0.0, 0.461, 1.0]
    """
    light = np.clip(light, 0, 1)
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


@dataclass(frozen=True)
class ToneCurve:
    """How a scan's codes become tones.

    Parameters
    ----------
    linear : the codes are proportional to light and are encoded; else they stay, cut to their upper 8 bits.
    reason : a clause that says how this is known.
    """

    linear: bool
    reason: str

    @property
    def table(self) -> npt.NDArray[np.uint8]:
        """The tone of every 16-bit code, uint8 (65536,), never falling."""
        light = np.arange(FULL_CODE + 1) / FULL_CODE
        return np.rint(255 * (srgb_encoded(light) if self.linear else light)).astype(np.uint8)

    def codes(self, bits: int) -> npt.NDArray[np.int64]:
        """Find the way back: for each of the 256 tones the middle one of the codes that become it.

        Parameters
        ----------
        bits : of the scan; of an 8-bit one that stays as it is, each tone comes from one code.

        Examples
        --------
        >>> curve = ToneCurve(True, "its profile says so")
        >>> curve.codes(16)[[0, 1, 128, 255]].tolist()
        [4, 19, 14147, 65389]
        """
        if bits == 8 and not self.linear:
            return np.arange(256) * 257
        first = np.searchsorted(self.table, np.arange(257))
        return (first[:-1] + first[1:] - 1) // 2


def tone_curve(scan: ScanHeader, linear: bool | None = None) -> ToneCurve:
    """Decide how a scan's codes become tones.

    Parameters
    ----------
    scan : its header. What the file says of itself goes first.
    linear : whether a profile of its scanner, made from a step tablet, has found the codes proportional to light;
        None where there is none.

    Returns
    -------
    ToneCurve
        Where neither says anything, 16-bit codes are taken as linear, as scanners give them, and 8-bit codes as made
        for the screen.
    """
    if scan.exponent is not None:
        said = abs(scan.exponent - 1) <= LINEAR_WITHIN
        what = "proportional to light" if said else f"light to the power of 1/{scan.exponent:.2f}"
        return ToneCurve(said, f"the file says that its codes are {what}")
    if scan.colour_profile is not None:
        return ToneCurve(False, f"the file has a colour profile ({scan.colour_profile})")
    if linear is not None:
        found = "proportional to light" if linear else "encoded"
        return ToneCurve(linear, f"its scanner's step tablet shows that its codes are {found}")
    if scan.bits == 16:
        return ToneCurve(True, "nothing says how its codes follow light; 16 bits are taken as linear")
    return ToneCurve(
        False, "nothing says how its codes follow light; 8 bits are taken as made for the screen"
    )
