"""Pictures for looking: made from a scan's densities, kept in ``previews/``, made again where missing.

A measured negative is shown as a print: each density above base+fog prints the tone that the print target gives
it. What can't be measured is shown as the scan is, because a tone that isn't known is not made up.
"""

from __future__ import annotations

import contextlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from negcat import scans, sensitometry
from negcat.densitometry import Rebate, ScannerProfile
from negcat.errors import ScanError
from negcat.scans import Pyramid, Reduced
from negcat.work import scanned
from negcat.work.archive import Archive
from negcat.work.masters import find_master, reduced_of
from negcat.work.naming import known_scan
from negcat.work.planning import Equipment

__all__ = [
    "SIZES",
    "Size",
    "forget_previews",
    "make_previews",
    "mend_previews",
    "preview_path",
    "preview_size",
    "printed_tones",
    "pyramid_of",
    "zone_tones",
]

Size = Literal["wall", "page"]
SIZES: dict[Size, int] = {"wall": 640, "page": 1600}
"""Longest side of each picture in pixels: twice what a page shows, for screens of double density."""

FULL_CODE = 65535
PREVIEW_QUALITY = 88


def preview_path(archive: Archive, scan: str, size: Size) -> Path:
    """Give the file of a scan's picture, made again where it is missing.

    Parameters
    ----------
    archive : the archive.
    scan : the scan's id.
    size : ``wall`` or ``page``.

    Raises
    ------
    UnknownNameError : no such scan.
    ScanError : the picture is missing and the master can't be read.
    """
    row = known_scan(archive, scan)
    path = _path(archive, row, size)
    if not path.is_file():
        make_previews(archive, row, reduced_of(archive, row))
    return path


def pyramid_of(archive: Archive, scan: str) -> Pyramid:
    """Open a scan's pyramid, made again where it is missing or damaged.

    Parameters
    ----------
    archive : the archive.
    scan : the scan's id.

    Raises
    ------
    UnknownNameError : no such scan.
    ScanError : the pyramid is missing, and the master can't be read or the pyramid not be written.
    """
    row = known_scan(archive, scan)
    path = scans.pyramid_path(archive.previews, row["scan"])
    if path.is_file():
        try:
            return scans.open_pyramid(path)
        except ScanError:
            pass  # damaged, or of an older layout
    linear = scanned.codes_are_linear(archive.catalogue, row["scanner"], row["bits"], row["mode"])
    new = scans.NewPyramid(archive.previews, linear=linear)
    scans.take(find_master(archive, row), pyramid=new)
    if new.path != path:
        raise ScanError(new.fault or f"the master of scan {row['scan']} was changed; put it back")
    return scans.open_pyramid(path)


def preview_size(width: int, height: int, size: Size) -> tuple[int, int]:
    """Give the width and height of a picture in pixels.

    Examples
    --------
    >>> preview_size(4000, 5000, "wall"), preview_size(300, 200, "page")
    ((512, 640), (300, 200))
    """
    scale = min(1.0, SIZES[size] / max(width, height))
    return max(1, round(width * scale)), max(1, round(height * scale))


def make_previews(archive: Archive, row: Mapping[str, Any], reduced: Reduced) -> None:
    """Make a scan's pictures from the scan made small, in place of older ones."""
    printed = _printed(archive, row, reduced)
    own = pyramid_of(archive, row["scan"]) if printed is None else None
    folder = _path(archive, row, "wall").parent
    try:
        archive.previews.mkdir(exist_ok=True)
        folder.mkdir(exist_ok=True)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise ScanError(f"{folder}: pictures can't be written ({reason}); check the folder") from error
    for size in SIZES:
        wanted = preview_size(row["width"], row["height"], size)
        tones = own.draw(*wanted) if own is not None else printed
        assert tones is not None
        scans.write_preview(tones, _path(archive, row, size), PREVIEW_QUALITY, size=wanted)


def mend_previews(archive: Archive, row: Mapping[str, Any]) -> bool:
    """Make a scan's pictures again where one is missing or damaged.

    Parameters
    ----------
    archive : the archive.
    row : the scan, as the catalogue keeps it.

    Returns
    -------
    Whether any was made.

    Raises
    ------
    ScanError : one is missing, and the master can't be read or the picture not be written.
    """
    pyramid = scans.pyramid_path(archive.previews, row["scan"])
    try:
        # A level is read, too: where bytes were lost, it shows there sooner than in the file's length.
        was_there = pyramid.is_file() and scans.open_pyramid(pyramid).draw(1, 1) is not None
    except ScanError:
        pyramid.unlink(missing_ok=True)
        was_there = False
    whole = all(
        scans.preview_is_whole(_path(archive, row, size), *preview_size(row["width"], row["height"], size))
        for size in SIZES
    )
    if was_there and whole:
        return False
    pyramid_of(archive, row["scan"])
    if not whole:
        make_previews(archive, row, reduced_of(archive, row))
    return True


def forget_previews(archive: Archive, row: Mapping[str, Any]) -> None:
    """Let go of a scan's pictures; they are made again when they are asked for."""
    for size in SIZES:
        with contextlib.suppress(OSError):
            _path(archive, row, size).unlink(missing_ok=True)


def _path(archive: Archive, row: Mapping[str, Any], size: Size) -> Path:
    scan: str = row["scan"]
    return archive.previews / scan[:2] / f"{scan}-{size}.jpg"


def _printed(archive: Archive, row: Mapping[str, Any], reduced: Reduced) -> npt.NDArray[np.uint8] | None:
    """Draw the scan in printed tones; None where its densities aren't known."""
    catalogue = archive.catalogue
    record = catalogue.sheet(row["sheet"]) if row["sheet"] else None
    equipment = Equipment(catalogue)
    film_channel = equipment.film(record.film).channel if record else "grey"
    channel = scanned.channel_of(film_channel, row["mode"])
    profile = scanned.profile_of_scan(catalogue, row, channel[1]) if channel else None
    rebate = scanned.rebate_of(row)
    findings = catalogue.findings(record.sheet) if record else None
    base_fog = None
    if findings is not None and findings.base_fog is not None and findings.scan == row["scan"]:
        base_fog = findings.base_fog["density"]
    elif isinstance(rebate, Rebate):
        base_fog = rebate.density
    if row["unmeasured"] is None and channel and profile and base_fog is not None:
        target = equipment.target(record.print_target if record else None)
        table = printed_tones(profile.fitted, base_fog, target)
        codes = np.clip(np.rint(reduced.codes[:, :, channel[0]]), 0, FULL_CODE).astype(np.intp)
        return table[codes]
    return None


def printed_tones(
    profile: ScannerProfile, base_fog: float, target: sensitometry.TargetCurve
) -> npt.NDArray[np.uint8]:
    """Make the table from code value to the tone it prints.

    Parameters
    ----------
    profile : of the scanner.
    base_fog : density.
    target : what net density prints as which zone.

    Returns
    -------
    uint8 (65536,): sRGB grey of each code's print lightness. Codes outside the profile's range take the tone
    of its nearest end: a picture is for looking, and no density is told from it.
    """
    codes = np.arange(FULL_CODE + 1, dtype=np.float64)
    low, high = 10.0 ** np.array([profile.log_codes[0], profile.log_codes[-1]])
    inside = np.clip(codes, *sorted((low, high)))
    net = profile.density(inside) - base_fog
    # At the ends of the range, rounding may fall outside by a hair.
    known = np.isfinite(net)
    net = np.interp(codes, codes[known], net[known])
    return zone_tones(target.zone(net))


def zone_tones(zones: npt.NDArray[np.float64]) -> npt.NDArray[np.uint8]:
    """Give the sRGB greys in which print zones print, uint8 of the same shape.

    Examples
    --------
    >>> zone_tones(np.array([0.0, 5.0, 10.0])).tolist()
    [22, 121, 242]
    """
    return np.rint(255 * scans.srgb_encoded(_luminance(sensitometry.print_lightness(zones)))).astype(np.uint8)


def _luminance(lightness: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Give the luminance factor Y (0 to 1) of a CIE 1976 lightness L* (0 to 100), ISO/CIE 11664-4."""
    return np.where(lightness > 8, ((lightness + 16) / 116) ** 3, lightness * 27 / 24389)
