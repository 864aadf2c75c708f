"""What can befall a record file: torn anywhere, or one value in it made odd, huge, deep or many."""

import copy
import json
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import yaml

from tests.simulation.wounds import ANYWHERE

Dice = np.random.Generator

HERE = Path(__file__).parents[2] / "sample_archive" / "records"

ODD_TEXTS = (
    "1e999", "-1e999", "nan", "NaN", ".nan", ".inf", "-.inf", "Infinity", "9" * 400, "-" * 70, "0x1F", "0b1", "1_000",
    "1:30:00", "2026-02-30", "9999-99-99T99:99", "0000-01-01", "2026-05-03T07:40:60", "true", "~", "null", "<<", "=",
    "", " ", "\u00a0", "\u202e", "\ufeff", "\u2028", "\x00", "\x07", "\x1b[31m", "\x7f", "\x85", "\ud800", "\udfff",
    "\U0010ffff", "e\u0301" * 500, "\u0300" * 3000, "A" * 101, "A" * 201, "A" * 20_001, "..", ".", "/etc/passwd",
    "../../etc/passwd", "/dev/zero", "/proc/self/mem", "a\nb", "a\tb", "22\u00bd\u00bd", "1/0", "0/0", "1/", "½" * 40,
    "²", "٣", "Ⅻ", "N+" + "9" * 50, "1" + "0" * 309, "5e-324", "1e308", "-0", "+0", "*a", "&a b",
    "!!python/object:os.system x", "!!binary aaaa", "{{", "}}", "[]", "{}", "%s%n", "${HOME}",
    "'; drop table sheets;--", "<script>", "sheet\x00id",
)  # fmt: skip

TOKENS = (
    "{", "}", "[", "]", ":", ": ", "- ", ",", ";", '"', "'", "\n", "\r", "\t", "&a ", "*a", "!!set ", "? ", "| ", "> ",
    "---\n", "...\n", "%YAML 9.9\n", "#", "\\u0000", "\\ud800", "\ufeff", "\x00", "\x0b",
)  # fmt: skip
"""What means something in one of the formats."""

ODD_VALUES: tuple[Any, ...] = (
    *ODD_TEXTS,
    0,
    -1,
    10**400,
    -(2**63) - 1,
    1e308,
    float("nan"),
    float("inf"),
    True,
    None,
    [],
    {},
    [[]],
    {"": ""},
    {"x": {"x": {"x": {}}}},
    ["a"] * 300,
    [None, None],
    {str(number): number for number in range(300)},
)


@cache
def starting_data() -> dict[str, Any]:
    """Give a small season, with a record of every kind; not to be written into."""
    data: dict[str, Any] = yaml.load((HERE / "equipment.yaml").read_text("utf-8"), Loader=yaml.CBaseLoader)
    data["sheets"] = yaml.load((HERE / "brickworks.yaml").read_text("utf-8"), Loader=yaml.CBaseLoader)[
        "sheets"
    ][:2]
    data["developments"] = [
        {
            "batch": "D-61", "date": "2026-05-15", "developer": "Ousel", "dilution": "1+25", "temperature_c": "20",
            "time": "9m", "tag": "N", "sheets": [sheet["sheet"] for sheet in data["sheets"]],
        }
    ]  # fmt: skip
    data["film_tests"] = [
        {
            "test": "T-1", "film": "Sorrel 100", "tablet": "step tablet 21", "developer": "Ousel", "time": "9m",
            "scan": "tests/T-1.tif",
        }
    ]  # fmt: skip
    data["print_targets"] = [{"name": "warm grade 2", "densities": {"I": "0.1", "V": "0.7", "VIII": "1.2"}}]
    return data


def starting_csv() -> str:
    """Give a table of sheets."""
    return (HERE / "marl_400.csv").read_text("utf-8")


def as_yaml(data: Any) -> str:
    """Write data as YAML."""
    dumper = getattr(yaml, "CSafeDumper", yaml.SafeDumper)
    text: str = yaml.dump(data, Dumper=dumper, sort_keys=False, allow_unicode=True, width=1 << 20)
    return text


# -- one value made odd --------------------------------------------------------------------------------------


def _holders(value: Any) -> list[Any]:
    found = [value] if isinstance(value, dict | list) and value else []
    for inner in value.values() if isinstance(value, dict) else value if isinstance(value, list) else []:
        found += _holders(inner)
    return found


def odd_value(dice: Dice, data: Any) -> Any:
    """Put an odd value, key or repetition somewhere."""
    data = copy.deepcopy(data)
    holders = _holders(data)
    if not holders:
        return data
    holder = holders[int(dice.integers(len(holders)))]
    value = copy.deepcopy(ODD_VALUES[int(dice.integers(len(ODD_VALUES)))])
    what = int(dice.integers(6))
    if isinstance(holder, dict):
        key = list(holder)[int(dice.integers(len(holder)))]
        if what == 0:
            holder[ODD_TEXTS[int(dice.integers(len(ODD_TEXTS)))]] = holder.pop(key)
        elif what == 1:
            del holder[key]
        else:
            holder[key] = value
    else:
        place = int(dice.integers(len(holder)))
        if what == 0:
            holder.insert(place, copy.deepcopy(holder[place]))
        elif what == 1:
            holder[place:place] = [value] * int(dice.integers(1, 30))
        elif what == 2:
            del holder[place]
        else:
            holder[place] = value
    return data


# -- lines ---------------------------------------------------------------------------------------------------


def _lines(change: Callable[[Dice, list[str]], None]) -> Callable[[Dice, str], str]:
    def wound(dice: Dice, text: str) -> str:
        lines = text.splitlines(keepends=True)
        if lines:
            change(dice, lines)
        return "".join(lines)

    return wound


@_lines
def line_twice(dice: Dice, lines: list[str]) -> None:
    place = int(dice.integers(len(lines)))
    lines.insert(int(dice.integers(len(lines))), lines[place])


@_lines
def line_lost(dice: Dice, lines: list[str]) -> None:
    del lines[int(dice.integers(len(lines)))]


@_lines
def line_indented(dice: Dice, lines: list[str]) -> None:
    place = int(dice.integers(len(lines)))
    lines[place] = (
        " " * int(dice.integers(1, 9)) + lines[place].lstrip(" ")
        if dice.random() < 0.8
        else "\t" + lines[place]
    )


def token(dice: Dice, text: str) -> str:
    """Put a token somewhere that means something in one of the formats."""
    odd = TOKENS + ODD_TEXTS
    at = int(dice.integers(len(text) + 1))
    return text[:at] + odd[int(dice.integers(len(odd)))] + text[at + int(dice.integers(0, 3)) :]


def deep(dice: Dice, text: str) -> str:
    """Open brackets without end, or nearly."""
    count = int(2 ** dice.uniform(3, 17))
    opening, closing = (("[", "]"), ("{a: ", "}"), ('{"a":', "}"), ("- ", ""), ("((", "))"), ("? ", ""))[
        int(dice.integers(6))
    ]
    at = int(dice.integers(len(text) + 1))
    return text[:at] + opening * count + closing * count * int(dice.integers(2)) + text[at:]


def laughs(dice: Dice, text: str) -> str:
    """Let aliases stand for aliases, as widely as memory goes; or for a long text; or for themselves."""
    what = int(dice.integers(3))
    if what == 0:
        lines = ["a0: &a0 [x, x, x, x, x, x, x, x, x, x]"]
        lines += [
            f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 10)}]" for n in range(1, int(dice.integers(3, 12)))
        ]
        return "\n".join(lines) + "\n" + text
    if what == 1:
        long = f'sheets:\n- notes: &a "{"x" * int(2 ** dice.uniform(8, 20))}"\n'
        return long + "- {sheet: *a, film: *a, notes: *a}\n" * int(2 ** dice.uniform(2, 12))
    return f"sheets: &a\n- *a\n{text}"


def coded(dice: Dice, text: str) -> bytes:
    """Write the text in bytes, sometimes in others than UTF-8."""
    ways = ["utf-8"] * 12 + [
        "utf-8-sig",
        "utf-16",
        "utf-16-le",
        "utf-32",
        "latin-1",
        "cp1252",
        "utf-7",
        "cp037",
    ]
    return text.encode(
        ways[int(dice.integers(len(ways)))], "surrogatepass" if dice.random() < 0.5 else "replace"
    )


def wounded_records(dice: Dice) -> tuple[bytes, str, str]:
    """Make a bad record file: its bytes, its ending, what was done to it."""
    kind = str(dice.choice(["yaml", "yaml", "json", "json", "csv"]))
    names = []
    if kind == "csv":
        text = starting_csv()
    else:
        data = starting_data()
        for _ in range(int(dice.choice([0, 0, 1, 1, 2]))):
            data = odd_value(dice, data)
            names.append("odd_value")
        text = as_json(dice, data) if kind == "json" else _yaml_or_json(data)
    wounds = (line_twice, line_lost, line_indented, token, token, token, deep, laughs)
    for _ in range(int(dice.choice([0, 0, 0, 1, 2]))):
        wound = wounds[int(dice.integers(len(wounds)))]
        text = wound(dice, text)
        names.append(getattr(wound, "__name__", "line"))
    try:
        raw = coded(dice, text)
    except UnicodeError:
        raw = text.encode("utf-8", "surrogatepass")
    if dice.random() < 0.15:
        wound_of_bytes = ANYWHERE[int(dice.integers(len(ANYWHERE)))]
        raw = wound_of_bytes(dice, raw, starting_csv().encode())
        names.append(wound_of_bytes.__name__)
    return raw, kind, " + ".join(names) or "none"


def as_json(dice: Dice, data: Any) -> str:
    """Write data as JSON, in one line or in many."""
    return json.dumps(data, ensure_ascii=bool(dice.random() < 0.5), indent=int(dice.integers(0, 3)) or None)


def _yaml_or_json(data: Any) -> str:
    try:
        return as_yaml(data)
    except (yaml.YAMLError, ValueError):  # what YAML can't write, JSON often can, and every JSON is YAML
        return json.dumps(data)
