"""QR codes (ISO/IEC 18004), drawn as filled areas."""

from __future__ import annotations

from typing import Final

import segno

from negcat.papers.page import Paper

__all__ = ["QUIET", "draw_code"]

QUIET: Final = 4
"""Modules left white around a code, as the standard asks."""


def draw_code(paper: Paper, x: float, y: float, side: float, text: str) -> None:
    """Draw the QR code of a text.

    Parameters
    ----------
    paper : it is drawn on.
    x, y : its top left, mm; the white around it is inside.
    side : its width and height, mm.
    text : any text, as UTF-8.

    Notes
    -----
    Error correction M: a code is still read with a seventh of it worn off.
    """
    code = segno.make_qr(text, error="m", boost_error=False)
    rows = [bytes(row) for row in code.matrix]
    module = side / (len(rows) + 2 * QUIET)
    for down, row in enumerate(rows):
        begin: int | None = None
        for right, dark in enumerate((*row, 0)):
            if dark and begin is None:
                begin = right
            elif not dark and begin is not None:
                # A run of dark modules is one area, and each a hair too large: no white seam shows between.
                paper.black(
                    x + (QUIET + begin) * module,
                    y + (QUIET + down) * module,
                    (right - begin) * module,
                    module * 1.02,
                )
                begin = None
