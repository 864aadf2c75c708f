"""A review as text: what to change, what each thing did, how often each decision came out as planned."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from negcat.cli.output import clock, figure, signed, table
from negcat.cli.output import wrapped as folded
from negcat.work.review_words import FACTORS

__all__ = ["accepted_text", "review_text"]

Document = Mapping[str, Any]

LONGEST_LIST = 12

CAUTION = (
    "Caution: darkroom chemicals harm skin, eyes and lungs. Wear gloves and eye protection, air the room, and follow "
    "the product's safety data sheet."
)

SHOWN = ("cell", "tag", "zone", "rounding")
"""Decisions that are shown without being asked for."""

TITLES = {
    "cell": "cell",
    "film": "film",
    "tag": "tag",
    "developer": "developer",
    "batch": "batch",
    "stop": "stop",
    "time": "time",
    "zone": "shadow placed on",
    "rounding": "stop and time",
}


def wrapped(text: str, indent: str = "  ") -> str:
    """Fold a sentence to the page, and no figure away from its unit."""
    return folded(text.replace(" %", "\u00a0%"), indent)


def review_text(review: Document, by: str | None = None, *, brief: bool = False) -> str:
    """Set a review, as ``negcat review --json`` gives it, as text for a terminal.

    Parameters
    ----------
    review : the document.
    by : the kind of decision that was asked for; then only that is shown below the advice.
    brief : show the advice only.
    """
    parts = [_head(review), _advice(review)]
    if brief:
        return "\n\n".join(parts)
    if by is None:
        parts += [
            _factors(review),
            _developments(review),
            _films(review),
            _spoiled(review),
            _settling(review),
            *[_decided(one) for one in review["decisions"] if one["by"] in SHOWN],
            _asked(review),
        ]
    else:
        parts += [_decided(one) for one in review["decisions"]]
    return "\n\n".join(part for part in parts if part)


def _head(review: Document) -> str:
    count = review["sheets"]
    chosen = ", ".join(f"{name} {value}" for name, value in review["chosen"].items())
    lines = [
        (
            f"Review of {count:,} {'sheet' if count == 1 else 'sheets'}{f' ({chosen})' if chosen else ''}, "
            f"{review['measured']:,} of them measured."
        )
    ]
    return "\n".join([*lines, *(wrapped(sentence) for sentence in review["why"])])


def _advice(review: Document) -> str:
    if not review["advice"]:
        return (
            "What to change\n  Nothing that these sheets would bear out: wherever there is a figure, nought may be the "
            "truth of it."
        )
    lines = ["What to change"]
    for advice in review["advice"]:
        lines.append(wrapped(advice["sentence"], "  ").replace("  ", "• ", 1))
        if advice["doubt"]:
            lines.append(wrapped(advice["doubt"], "    "))
        lines.append(f"    sheets  {_some(advice['evidence'])}")
        if advice["accepted"]:
            lines.append(f"    accepted, holds since {advice['accepted'].replace('T', ' ')}")
        elif advice["not_accepted"]:
            lines.append(wrapped(f"can't be accepted: {advice['not_accepted']}", "    "))
        else:
            lines.append(f"    accept  negcat review --accept {advice['key']}")
    if any(advice["about"] == "development" for advice in review["advice"]):
        lines.append(wrapped(CAUTION))
    return "\n".join(lines)


def _some(names: Sequence[str]) -> str:
    more = len(names) - LONGEST_LIST
    return ", ".join(names[:LONGEST_LIST]) + (f" and {more:,} more" if more > 0 else "")


def _interval(low: float | None, high: float | None, places: int = 2) -> str:
    return "–" if low is None or high is None else f"{signed(low, places)} to {signed(high, places)}"


def _factors(review: Document) -> str:
    rows = []
    for one in review["factors"]:
        if one["is_reference"]:
            error, interval = "0", "held to be right"
        else:
            error, interval = signed(one["error_stops"]), _interval(one["low"], one["high"])
        rows.append(
            [
                f"  {FACTORS.get(one['factor'], one['factor'])}",
                one["level"],
                str(one["sheets"]),
                error,
                interval,
                _entangled(one),
            ]
        )
    if not rows:
        return ""
    head = ["  factor", "which", "sheets", "stops", "90 % interval", ""]
    return "\n".join(
        [
            "What each did to the exposure (stops; + is denser than the record says)",
            table(head, rows, right=(2, 3, 4)).replace("  –\n", "\n").removesuffix("  –"),
            wrapped(review["gauge"]),
        ]
    )


def _entangled(one: Document) -> str:
    if one["entangled_with"]:
        return "not told from " + "; ".join(one["entangled_with"])
    return "advice above" if one["advice"] else " "


def _developments(review: Document) -> str:
    rows = []
    for one in review["development"]:
        process = " ".join(part for part in (one["developer"], one["dilution"]) if part)
        warmth = f" {one['temperature_c']:g} °C" if one["temperature_c"] is not None else ""
        rows.append(
            [
                f"  {one['film']}",
                f"{process}{warmth}",
                one["tag"],
                str(one["sheets"]),
                signed(one["found_n"]),
                _interval(one["low_n"], one["high_n"]),
                clock(one["time_s"]),
                clock(one["advised_time_s"]),
                f"{clock(one['advised_low_s'])} to {clock(one['advised_high_s'])}"
                if one["advised_low_s"] is not None and one["advised_high_s"] is not None
                else "–",
            ]
        )
    if not rows:
        return ""
    head = [
        "  film",
        "developer",
        "tag",
        "sheets",
        "found N",
        "90 % interval",
        "time",
        "indicated",
        "90 % interval",
    ]
    return "What development came to, and the time that the tag would take\n" + table(
        head, rows, right=(3, 4, 5, 6, 7, 8)
    )


def _films(review: Document) -> str:
    exponents = {one["film"]: one for one in review["reciprocity"]}
    rows = []
    for one in review["exposure_index"]:
        law = exponents.get(one["film"])
        used = law and ("table" if law["exponent_used"] is None else figure(law["exponent_used"]))
        rows.append(
            [
                f"  {one['film']}",
                str(one["sheets"]),
                f"{one['used']:g}",
                f"{one['indicated']:.0f}",
                f"{one['low']:.0f} to {one['high']:.0f}",
                used or None,
                figure(law["exponent_indicated"]) if law else None,
                f"{figure(law['low'])} to {figure(law['high'])}" if law else None,
            ]
        )
    if not rows:
        return ""
    head = [
        "  film",
        "sheets",
        "EI used",
        "indicated",
        "90 % interval",
        "exponent",
        "indicated",
        "90 % interval",
    ]
    return "Exposure index and reciprocity exponent\n" + table(head, rows, right=range(1, 8))


def _sentences(title: str, sentences: Iterable[str]) -> str:
    lines = [wrapped(sentence) for sentence in sentences]
    return "\n".join([title, *lines]) if lines else ""


def _spoiled(review: Document) -> str:
    return _sentences("Sheets that stand apart", (one["sentence"] for one in review["spoiled"]))


def _settling(review: Document) -> str:
    return _sentences("What one more sheet would settle", (one["sentence"] for one in review["settling"]))


def _share(share: Document) -> list[str | None]:
    if share["share"] is None:
        return [None, None]
    return [
        f"{share['as_planned']:.1f} of {share['sheets']}",
        f"{100 * share['low']:.0f} to {100 * share['high']:.0f}",
    ]


def _decided(one: Document) -> str:
    rows = [
        [
            f"  {group['name']}",
            str(group["sheets"]),
            *_share(group["exposure"]),
            *_share(group["development"]),
            signed(group["exposure_error_stops"]["mean"]),
            _interval(group["exposure_error_stops"]["low"], group["exposure_error_stops"]["high"]),
        ]
        for group in one["groups"]
    ]
    title = TITLES[one["by"]]
    if not rows:
        return f"By {title}: no sheet."
    head = [
        f"  {title}",
        "sheets",
        "exposure",
        "% of such",
        "development",
        "% of such",
        "stops off",
        "90 % interval",
    ]
    return f"How often it came out as planned, by {title}\n" + table(head, rows, right=range(1, 8))


def _asked(review: Document) -> str:
    lines = [f"{one['question']} {one['answer']}" for one in review["compared"]]
    for name, unit in (("exposure", "stop"), ("development", "N")):
        trend = review["trend"][name]
        if trend["ratio"] is None:
            lines.append(f"Is the {name} getting nearer to plan? Can't be told: {trend['reason']}.")
            continue
        said = "not to be told from chance"
        if trend["settled"]:
            said = "it is" if trend["ratio"] < 1 else "no, it is getting wider"
        lines.append(
            f"Is the {name} getting nearer to plan? {said[:1].upper()}{said[1:]}: the usual distance went from "
            f"{figure(trend['first'])} to {figure(trend['last'])} {unit} over {trend['sheets']} sheets, to "
            f"{figure(trend['ratio'])} of it (90 % interval {figure(trend['low'])} to {figure(trend['high'])})."
        )
    return _sentences("Asked of these sheets", lines)


def accepted_text(done: Document) -> str:
    """Set what accepting an advice did, as ``negcat review --accept NAME --json`` gives it."""
    count = done["recomputed"]
    anew = (
        f"{count} {'sheet' if count == 1 else 'sheets'} exposed since then computed anew"
        if count
        else "No sheet was exposed since"
    )
    return "\n".join(
        [
            f"Accepted {done['accepted']}, from {done['effective_from'].replace('T', ' ')} on.",
            *(wrapped(sentence) for sentence in done["written"]),
            wrapped(f"{anew}; earlier ones keep what was believed then."),
        ]
    )
