"""Pictures for looking: kept in ``previews/``, made again where missing."""

from __future__ import annotations

import contextlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from negcat import scans
from negcat.densitometry import Rebate
from negcat.errors import ScanError
from negcat.scans import Pyramid
from negcat.work import scanned
from negcat.work.archive import Archive
from negcat.work.drawing import SIZES, Printed, Size, plain_pictures, preview_size, printed_pictures
from negcat.work.in_hand import InHand
from negcat.work.masters import find_master, reduced_of
from negcat.work.naming import known_scan
from negcat.work.planning import Equipment
from negcat.work.scanned import Profile

__all__ = [
    "forget_previews",
    "make_previews",
    "mend_previews",
    "preview_path",
    "pyramid_of",
]


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
        make_previews(archive, row)
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


def make_previews(archive: Archive, row: Mapping[str, Any], in_hand: InHand | None = None) -> None:
    """Make a scan's pictures, in place of older ones.

    Parameters
    ----------
    archive : the archive.
    row : the scan, as the catalogue keeps it.
    in_hand : the scan; None: its master is read.

    Raises
    ------
    ScanError : the master can't be read or the pictures not be written.
    """
    in_hand = in_hand or InHand(lambda: reduced_of(archive, row))
    printed, profile = _printed(archive, row)
    pictures = in_hand.pictures(printed)
    size = row["width"], row["height"]
    if pictures is None and printed is not None and profile is not None:
        pictures = printed_pictures(in_hand.reduced, printed, profile.fitted, *size)
    elif pictures is None:
        pictures = plain_pictures(pyramid_of(archive, row["scan"]), *size)
    folder = _path(archive, row, "wall").parent
    try:
        archive.previews.mkdir(exist_ok=True)
        folder.mkdir(exist_ok=True)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise ScanError(f"{folder}: pictures can't be written ({reason}); check the folder") from error
    for name, picture in pictures.items():
        scans.write_preview(picture, _path(archive, row, name))


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
        make_previews(archive, row)
    return True


def forget_previews(archive: Archive, row: Mapping[str, Any]) -> None:
    """Let go of a scan's pictures; they are made again when they are asked for."""
    for size in SIZES:
        with contextlib.suppress(OSError):
            _path(archive, row, size).unlink(missing_ok=True)


def _path(archive: Archive, row: Mapping[str, Any], size: Size) -> Path:
    scan: str = row["scan"]
    return archive.previews / scan[:2] / f"{scan}-{size}.jpg"


def _printed(archive: Archive, row: Mapping[str, Any]) -> tuple[Printed | None, Profile | None]:
    """Tell what a scan is printed with, and the profile of it; None where its densities aren't known."""
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
        return Printed(profile.number, channel[0], base_fog, target), profile
    return None, None
