"""Scans: the only room that opens image files.

`identify` tells what a file is, `read_reduced` reads it whole as means of blocks, `read_patch` reads a part
at full resolution, `take` does the first two in one pass and makes the pyramid, `open_pyramid` gives that
back, `write_preview` writes a derivative. Code values
are 16-bit everywhere (8 bits × 257), upright, and more = more light reached the sensor. Masters are only
ever read.
"""

from negcat.scans.bounds import LIMIT_PIXELS, SMALLEST_SIDE
from negcat.scans.encoding import Encoding, encoded
from negcat.scans.files import let_go, sha256_of
from negcat.scans.making import NewPyramid, write_pyramid
from negcat.scans.model import Reduced, ScanHeader, ScanInfo
from negcat.scans.previews import clear_unfinished, preview_is_whole, preview_of, write_preview
from negcat.scans.pyramid import Pyramid, open_pyramid, pyramid_path
from negcat.scans.reading import identify, read_header, read_patch, read_patches, read_reduced, take
from negcat.scans.tones import ToneCurve, srgb_encoded, tone_curve
from negcat.scans.workers import decoding_threads

__all__ = [
    "LIMIT_PIXELS",
    "SMALLEST_SIDE",
    "Encoding",
    "NewPyramid",
    "Pyramid",
    "Reduced",
    "ScanHeader",
    "ScanInfo",
    "ToneCurve",
    "clear_unfinished",
    "decoding_threads",
    "encoded",
    "identify",
    "let_go",
    "open_pyramid",
    "preview_is_whole",
    "preview_of",
    "pyramid_path",
    "read_header",
    "read_patch",
    "read_patches",
    "read_reduced",
    "sha256_of",
    "srgb_encoded",
    "take",
    "tone_curve",
    "write_preview",
    "write_pyramid",
]
