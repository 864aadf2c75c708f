"""What is wrong with a scan, as far as its codes tell."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from negcat.densitometry.boxes import Box
from negcat.densitometry.profile import FULL_SCALE, ScannerProfile
from negcat.densitometry.rebate import NoRebate, Rebate

__all__ = ["Condition", "assess"]

_CLIPPED = 0.0005  # share of a picture's pixels: less is dust and glints
_CLEARER_THAN_GLASS = 1.03
_SHARE_CLEARER = 0.02


@dataclass(frozen=True)
class Condition:
    """A scan's condition.

    Parameters
    ----------
    positive : whether the scan is a positive (inverted); None where it can't be told.
    stretched : whether its levels fill the whole scale at both ends, as automatic levels make them.
    clipped_low : share of the picture's pixels at zero, 0 to 1.
    clipped_high : share of the picture's pixels at full scale, 0 to 1.
    notes : sentences for the user.
    levels : how many different codes the picture holds, at most 65536; some 250 in a scan of 8 bits.
    """

    positive: bool | None
    stretched: bool
    clipped_low: float
    clipped_high: float
    notes: tuple[str, ...]
    levels: int = 0


def assess(
    image: NDArray[Any], rebate: Rebate | NoRebate, profile: ScannerProfile | None = None
) -> Condition:
    """Say what is wrong with a scan.

    Parameters
    ----------
    image : array (h, w), 16-bit-scaled codes of one channel of the whole scan.
    rebate : what `find_rebate` made of the same image.
    profile : of that channel; with it a scan lighter than open glass is recognised.

    Returns
    -------
    The condition. Nothing is claimed that the codes do not show: `positive` is False only where a margin was
    found that is the clearest part of the scan.

    Examples
    --------
    >>> codes = np.full((100, 100), 30000, np.uint16)
    >>> codes[:, :20], codes[:, 80:] = 0, 65535
    >>> condition = assess(codes, NoRebate("cropped away"))
    >>> condition.stretched, condition.positive, round(condition.clipped_high, 2)
    (True, None, 0.2)
    """
    frame = rebate.picture_frame if isinstance(rebate, Rebate) and rebate.picture_frame else Box(0, 0, 1, 1)
    rows, columns = frame.pixels(*image.shape)
    picture = image[rows, columns]
    low, high = float(np.mean(picture <= 0)), float(np.mean(picture >= FULL_SCALE))
    if isinstance(rebate, NoRebate):
        positive = rebate.positive
    else:
        # An even border alone could as well be the white mask round a positive.
        positive = None if rebate.surround is None and rebate.density is None else False
    notes = []
    if positive is None and profile is not None and _lighter_than_glass(picture, profile):
        positive = True
        notes.append(
            "Much of the scan is lighter than open glass would be: it is a positive, or was scanned "
            "otherwise."
        )
    elif positive:
        notes.append("The scan is a positive (inverted): a density can't be had from it.")
    # In a plain scan of a negative the film's base lies well below full scale and its densest part above
    # zero.
    margin = rebate.code if isinstance(rebate, Rebate) else 0.0
    brightest = max(float(np.percentile(picture, 99.9)), margin)
    stretched = float(np.percentile(picture, 0.1)) <= 1e-4 * FULL_SCALE and brightest >= 0.998 * FULL_SCALE
    if stretched:
        notes.append("The codes fill the whole scale at both ends, as automatic levels make them.")
    if low > _CLIPPED:
        notes.append(f"{low:.1%} of the picture is clipped at zero: its densest parts hold no density.")
    if high > _CLIPPED:
        notes.append(
            f"{high:.1%} of the picture is clipped at full scale: its clearest parts hold no density."
        )
    if margin >= 0.995 * FULL_SCALE:
        notes.append("The film's margin is clipped at full scale: base+fog can't be had from this scan.")
    levels = int(np.count_nonzero(np.bincount(np.asarray(picture, dtype=np.int64).ravel(), minlength=65536)))
    return Condition(positive, stretched, low, high, tuple(notes), levels)


def _lighter_than_glass(picture: NDArray[Any], profile: ScannerProfile) -> bool:
    """Return whether a good part of a picture passes more light than open glass: no film does."""
    light = profile.transmittance(picture.ravel()[:: max(1, picture.size // 50000)])
    return float(np.mean(light > _CLEARER_THAN_GLASS)) > _SHARE_CLEARER
