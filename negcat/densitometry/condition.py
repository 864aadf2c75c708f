"""What is wrong with a scan, as far as its codes tell."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from negcat.densitometry.boxes import Box
from negcat.densitometry.layout import find_notches, sheets_seen
from negcat.densitometry.profile import FULL_SCALE, ScannerProfile
from negcat.densitometry.rebate import NoRebate, Rebate
from negcat.densitometry.tonality import Tonality, blocks_seen, read_histogram, usual_power

__all__ = ["Condition", "assess"]

_CLIPPED = 0.0005  # share of a picture's pixels: less is dust and glints
_CLEARER_THAN_GLASS = 1.03
_SHARE_CLEARER = 0.02
_GLASS_BRIGHTER, _GLASS_DARKER = (
    -0.025,
    0.06,
)  # density: what open glass may seem to have; a shadow darkens it
_MASK_AT_LEAST = 2.2  # density
_ANOTHER_POWER = 0.4
_EIGHT_BIT_LEVELS = 256


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
    levels : how many different codes the scan holds, at most 65536; 256 or fewer in a scan of 8 bits.
    measurable : whether densities can be had from the scan as far as its codes tell.
    reason : why not, a clause that goes on from "the scan can't be measured:"; empty where it can.
    eight_bit : whether it holds no more than 256 levels, whatever its file says.
    lossy : whether it was compressed with loss; None where that wasn't looked for.
    other_curve : whether it was made with another tone curve than the profile's; None where nothing tells.
    sheets : how many sheets of film lie in it.
    mirrored : whether the film's notches show that the picture is reversed; None where none are seen.
    """

    positive: bool | None
    stretched: bool
    clipped_low: float
    clipped_high: float
    notes: tuple[str, ...]
    levels: int = 0
    measurable: bool = True
    reason: str = ""
    eight_bit: bool = False
    lossy: bool | None = None
    other_curve: bool | None = None
    sheets: int = 1
    mirrored: bool | None = None


def assess(
    image: NDArray[Any],
    rebate: Rebate | NoRebate,
    profile: ScannerProfile | None = None,
    *,
    px_per_mm: float | None = None,
    histogram: NDArray[Any] | None = None,
    bits: int | None = None,
    lossy: bool | None = None,
    patch: NDArray[Any] | None = None,
) -> Condition:
    """Say what is wrong with a scan, and whether it can be measured all the same.

    Parameters
    ----------
    image : array (h, w), 16-bit-scaled codes of one channel of the whole scan, reduced or not.
    rebate : what `find_rebate` made of the same image.
    profile : of that channel; with it a scan lighter than open glass, or made with another tone curve, is
        recognised.
    px_per_mm : pixels of `image` a millimetre; with it the film's code notches are looked for.
    histogram : array (65536,), pixels of each code of that channel in the unreduced scan.
    bits : bits a sample of the file.
    lossy : whether its file says that it was compressed with loss.
    patch : array (h, w), a piece of the scan at full size, 64 pixels a side or more; with it traces of lossy
        compression are looked for in a file that is not lossy itself.

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
    # In a plain scan of a negative the film's base lies well below full scale and its densest part above
    # zero.
    margin = rebate.code if isinstance(rebate, Rebate) else 0.0
    brightest = max(float(np.percentile(picture, 99.9)), margin)
    stretched = float(np.percentile(picture, 0.1)) <= 1e-4 * FULL_SCALE and brightest >= 0.998 * FULL_SCALE
    if positive is None and profile is not None and not stretched and _lighter_than_glass(picture, profile):
        positive = True
        notes.append(
            "Much of the scan is lighter than open glass would be: it is a positive, or was scanned "
            "otherwise."
        )
    elif positive:
        notes.append("The scan is a positive (inverted): a density can't be had from it.")
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
    counts = (
        np.bincount(np.asarray(picture, dtype=np.int64).ravel(), minlength=65536)
        if histogram is None
        else np.asarray(histogram)
    )
    tonality = read_histogram(counts)
    eight_bit = bits == 8 or (histogram is not None and tonality.levels <= _EIGHT_BIT_LEVELS)
    if eight_bit:
        inside = "" if bits in (None, 8) else f" in a file of {bits}"
        notes.append(
            f"The scan holds 8 bits a sample{inside}, {tonality.levels} levels: its dense parts are coarse; scan "
            "with 16 bits."
        )
    elif histogram is not None and tonality.spacing is not None and tonality.spacing >= 32:
        notes.append(
            f"The scan's codes lie {tonality.spacing} apart: its dense parts are coarser than 16 bits promise."
        )
    if lossy is None and patch is not None:
        lossy = blocks_seen(patch)
        if lossy:
            notes.append(
                "The blocks of a lossy compression are seen in the scan: grain and dense parts are blurred by it."
            )
    elif lossy:
        notes.append("The file is compressed with loss: grain and dense parts are blurred by it.")
    other_curve, contradiction = _contradiction(rebate, profile, tonality if histogram is not None else None)
    if contradiction:
        notes.append(contradiction)
    sheets = sheets_seen(image)
    if sheets > 1:
        notes.append(f"{sheets} sheets of film lie in this scan: crop it to one.")
    mirrored = None
    if px_per_mm is not None and isinstance(rebate, Rebate):
        notches = find_notches(image, rebate, px_per_mm)
        mirrored = None if notches is None else notches.mirrored
        if notches is not None and notches.mirrored:
            notes.append(
                f"The film's notches lie in its {notches.side} edge as seen from the emulsion side: the picture "
                "is "
                "mirror-reversed."
            )
    reason = _unmeasurable(positive, stretched, other_curve, sheets)
    return Condition(
        positive,
        stretched,
        low,
        high,
        tuple(notes),
        tonality.levels,
        measurable=not reason,
        reason=reason,
        eight_bit=eight_bit,
        lossy=lossy,
        other_curve=other_curve,
        sheets=sheets,
        mirrored=mirrored,
    )


def _unmeasurable(positive: bool | None, stretched: bool, other_curve: bool | None, sheets: int) -> str:
    if positive:
        return "it is a positive, whose tones say nothing of the negative's densities"
    if stretched:
        return (
            "its levels were stretched by an automatic correction, so its codes don't follow the scanner's "
            "profile; scan it again with every automatic correction off"
        )
    if other_curve:
        return (
            "its codes contradict the scanner's profile; scan it with the settings that the step tablet was scanned "
            "with, or calibrate anew with these"
        )
    if sheets > 1:
        return f"it holds {sheets} sheets of film, and nothing tells which is meant; crop it to one"
    return ""


def _contradiction(
    rebate: Rebate | NoRebate, profile: ScannerProfile | None, tonality: Tonality | None
) -> tuple[bool | None, str]:
    """Return whether a scan was made with another tone curve than its profile, and what shows it."""
    if profile is None:
        return None, ""
    told = False
    if isinstance(rebate, Rebate) and rebate.outside_code is not None:
        told = True
        code = rebate.outside_code
        seen = -float(np.log10(max(float(profile.transmittance(code)), 1e-6)))
        if rebate.surround == "glass":
            clipped = code >= 0.998 * FULL_SCALE
            if seen < _GLASS_BRIGHTER or (seen > _GLASS_DARKER and not clipped):
                than = "lighter" if seen < 0 else "darker"
                return True, (
                    f"Open glass has code {code:.0f}, by the profile density {seen:.2f}: the scan is {than} than the "
                    "tablet's was, with another exposure or tone curve."
                )
        elif seen < min(_MASK_AT_LEAST, profile.density_range[1] - 0.1):
            return True, (
                f"The black mask has code {code:.0f}, by the profile density {seen:.2f}, which lets light through: the "
                "scan was made with another tone curve than the tablet's."
            )
    if tonality is not None and tonality.power is not None:
        told = True
        own = usual_power(profile)
        if abs(tonality.power - own) > _ANOTHER_POWER:
            return True, (
                f"The gaps between the scan's codes show a tone curve of power {tonality.power:.1f} laid over it, the "
                f"profile was made with {own:.1f}."
            )
    if tonality is not None and tonality.stretched:
        return (False if told else None), (
            "Codes are missing at even distances: levels were stretched after the scan. Scan tablet and negatives "
            "alike."
        )
    return (False if told else None), ""


def _lighter_than_glass(picture: NDArray[Any], profile: ScannerProfile) -> bool:
    """Return whether a good part of a picture passes more light than open glass: no film does."""
    light = profile.transmittance(picture.ravel()[:: max(1, picture.size // 50000)])
    return float(np.mean(light > _CLEARER_THAN_GLASS)) > _SHARE_CLEARER
