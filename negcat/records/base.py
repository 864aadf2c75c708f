"""What all records share, and how they say that their fields don't go together."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any, Self, TypeVar

from pydantic import BaseModel, ConfigDict, PlainValidator, model_validator

from negcat.notation import Time, Zone
from negcat.records.fields import shown

__all__ = [
    "CheckedRecord",
    "Inconsistency",
    "InconsistentRecordError",
    "Path",
    "Record",
    "as_text_keys",
    "marked_map",
    "once_each",
]

Path = tuple[str | int, ...]
"""The way to a field inside a record: ``("readings", 0, "zone")``."""

Inconsistency = tuple[Path, str]
"""A field and the sentence that says what is wrong with it and how to mend it."""

_K = TypeVar("_K", Time, Zone)


class InconsistentRecordError(ValueError):
    """Fields that are each well written but don't go together.

    Parameters
    ----------
    found : at least one (path, sentence).
    """

    def __init__(self, found: Iterable[Inconsistency]) -> None:
        self.found = tuple(found)
        super().__init__("; ".join(sentence for _, sentence in self.found))


class Record(BaseModel):
    """What all records share: frozen, no unknown fields, checked across their fields."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class CheckedRecord(Record):
    """A record that looks whether its fields go together."""

    def _inconsistencies(self) -> Iterator[Inconsistency]:
        yield from ()

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if found := tuple(self._inconsistencies()):
            raise InconsistentRecordError(found)
        return self


def once_each(what: str, pairs: Iterable[tuple[Path, str]]) -> Iterator[Inconsistency]:
    """Find names that stand twice, case aside."""
    seen: dict[str, str] = {}
    for path, name in pairs:
        folded = name.casefold()
        if folded in seen:
            yield path, f"{what} '{seen[folded]}' stands there twice; give each its own name, or keep one"
        seen.setdefault(folded, name)


def marked_map(
    parse: Callable[[str | int | float], _K], read: Callable[[object], float], low: float, high: float
) -> Any:
    """Make the validator of a map from marks of the trade to numbers from low to high."""

    def validate(values: object) -> dict[_K, float]:
        if not isinstance(values, Mapping):
            raise ValueError(f"{shown(values)} is no mapping; write one line each, as in I: 0.10")
        parsed: dict[_K, float] = {}
        texts: dict[float, str] = {}
        found: list[Inconsistency] = []
        for key, written in values.items():
            path: Path = (key if isinstance(key, str) else str(key),)
            try:
                mark = parse(key) if isinstance(key, str | int | float) else key
                value = read(written)
            except ValueError as fault:
                found.append((path, str(fault)))
                continue
            if twin := texts.get(_value_of(mark)):
                found.append((path, f"'{twin}' and '{mark.text}' are the same; keep one of them"))
            elif not low <= value <= high:
                found.append((path, f"{value:g} is outside {low:g} … {high:g}; check the figure"))
            else:
                parsed[mark] = value
            texts[_value_of(mark)] = mark.text
        if found:
            raise InconsistentRecordError(found)
        return parsed

    return PlainValidator(validate)


def _value_of(mark: Time | Zone) -> float:
    return mark.seconds if isinstance(mark, Time) else mark.value


def as_text_keys(values: Mapping[_K, float]) -> dict[str, float]:
    """Write the marks of a map as the text they were read from."""
    return {mark.text: value for mark, value in values.items()}
