"""Setting a reading's spot from the sheet page, as ``negcat measure --spot`` does."""

from __future__ import annotations

from math import isfinite
from typing import Any
from urllib.parse import quote, unquote

from negcat.errors import NegcatError, NotationError
from negcat.web import answering, reading
from negcat.work.archive import Archive
from negcat.work.measure import SpotChange, measure_sheet

__all__ = ["pages"]


def pages() -> list[tuple[str, answering.View]]:
    """List the address with the function that answers it."""
    return [(r"^/sheet/(?P<sheet>[^/]+)/spots$", _spots)]


@answering.writing
async def _spots(datasette: Any, request: Any, attached: reading.Attached, sent: answering.Sent) -> Any:
    """Set one spot, or confirm those that were carried over, and measure the sheet again."""
    sheet = unquote(request.url_vars["sheet"])
    if sent.is_json:
        raise NegcatError("Send the spot as a form.")
    confirm = sent.fields.get("confirm") == "yes"
    changes = () if confirm else (_change(sent),)

    def measure(archive: Archive) -> str:
        return measure_sheet(archive, sheet, changes, confirm=confirm, via="web").sheet

    measured = await answering.write(attached, measure)
    return answering.see_other(datasette, f"/sheet/{quote(measured, safe='')}")


def _change(sent: answering.Sent) -> SpotChange:
    """Read the form: a reading's name, percentages of the scan's width and height, and a diameter in mm.

    Raises
    ------
    NotationError : a field is missing, is no number, or lies outside the scan.
    """
    name = sent.fields.get("reading", "").strip()
    if not name:
        raise NotationError("Choose the reading whose spot is set.")
    across = _number(sent, "x", "from the left")
    down = _number(sent, "y", "from the top")
    if not (0 <= across <= 100 and 0 <= down <= 100):
        raise NotationError(
            "The spot lies outside the scan: write 0 to 100 % from the left and from the top."
        )
    wide = _number(sent, "diameter", "the diameter") if sent.fields.get("diameter", "").strip() else None
    return SpotChange(name, across / 100, down / 100, wide)


def _number(sent: answering.Sent, field: str, called: str) -> float:
    text = sent.fields.get(field, "").strip()
    try:
        number = float(text.replace(",", "."))
    except ValueError:
        number = float("nan")
    if not isfinite(number):
        raise NotationError(f"“{text}” is no number for {called}: write one such as 42.5.")
    return number
