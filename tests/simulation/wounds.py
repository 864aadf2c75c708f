"""What can befall an image file: bytes torn, swapped and lost anywhere, and lies where each format keeps its counts.

Every wound takes a generator, the bytes of a file and those of another, and gives bytes back; what doesn't fit the file
leaves it as it is. The lies know TIFF's directories (also those inside PNG, JPEG and Exif), PNG's chunks and JPEG's
segments well enough to change one number and keep the rest sound.
"""

import struct
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

Dice = np.random.Generator
Wound = Callable[[Dice, bytes, bytes], bytes]

ODD = (
    0,
    1,
    2,
    3,
    7,
    8,
    16,
    255,
    256,
    1000,
    32767,
    32768,
    65535,
    65536,
    1 << 24,
    (1 << 31) - 1,
    1 << 31,
    (1 << 32) - 1,
)
"""Numbers at which counting goes wrong."""

VAST = (*ODD, 1 << 40, (1 << 63) - 1, (1 << 64) - 1)


def _place(dice: Dice, raw: bytes) -> int:
    """Choose a place; half of the time among the headers, where a wound does most."""
    end = len(raw) if dice.random() < 0.5 else min(len(raw), 600)
    return int(dice.integers(max(end, 1)))


def _span(dice: Dice, raw: bytes) -> tuple[int, int]:
    start = _place(dice, raw)
    return start, start + int(2 ** dice.uniform(0, 11))


# -- anywhere ------------------------------------------------------------------------------------------------


def flip(dice: Dice, raw: bytes, _: bytes) -> bytes:
    """Change one to eight bytes."""
    wounded = bytearray(raw)
    for _ in range(int(dice.integers(1, 9))):
        if wounded:
            wounded[_place(dice, raw)] = int(dice.choice([0, 1, 127, 128, 255, int(dice.integers(256))]))
    return bytes(wounded)


def flip_bit(dice: Dice, raw: bytes, _: bytes) -> bytes:
    """Change one bit."""
    wounded = bytearray(raw)
    if wounded:
        wounded[_place(dice, raw)] ^= 1 << int(dice.integers(8))
    return bytes(wounded)


def cut(dice: Dice, raw: bytes, _: bytes) -> bytes:
    """Lose the end."""
    return raw[: int(len(raw) * (dice.random() if dice.random() < 0.7 else dice.uniform(0.97, 1)))]


def blank(dice: Dice, raw: bytes, _: bytes) -> bytes:
    """Fill a stretch with zeros or with ones."""
    start, end = _span(dice, raw)
    stretch = raw[start:end]
    return raw[:start] + (b"\0", b"\xff")[int(dice.integers(2))] * len(stretch) + raw[end:]


def lose(dice: Dice, raw: bytes, _: bytes) -> bytes:
    """Lose a stretch, so that all behind it moves up."""
    start, end = _span(dice, raw)
    return raw[:start] + raw[end:]


def repeat(dice: Dice, raw: bytes, _: bytes) -> bytes:
    """Have a stretch twice."""
    start, end = _span(dice, raw)
    return raw[:end] + raw[start:]


def noise(dice: Dice, raw: bytes, _: bytes) -> bytes:
    """Put bytes in that mean nothing."""
    start, end = _span(dice, raw)
    return raw[:start] + dice.bytes(end - start) + raw[start:]


def splice(dice: Dice, raw: bytes, other: bytes) -> bytes:
    """Go on with another file, or lay a stretch of it in."""
    start, end = _span(dice, raw)
    source = int(dice.integers(max(len(other), 1)))
    if dice.random() < 0.3:
        return raw[:start] + other[source:]
    return raw[:start] + other[source : source + end - start] + raw[end:]


def swap(dice: Dice, raw: bytes, _: bytes) -> bytes:
    """Put a stretch where another one was."""
    start, end = _span(dice, raw)
    to = _place(dice, raw)
    wounded = bytearray(raw)
    stretch = wounded[start:end]
    wounded[to : to + len(stretch)] = stretch
    return bytes(wounded[: len(raw)])


def odd_word(dice: Dice, raw: bytes, _: bytes) -> bytes:
    """Lay an odd number over two, four or eight bytes."""
    size = int(dice.choice([2, 4, 8]))
    value = VAST[int(dice.integers(len(VAST)))] & ((1 << 8 * size) - 1)
    at = _place(dice, raw)
    word = value.to_bytes(size, "little" if dice.random() < 0.5 else "big")
    return (raw[:at] + word + raw[at + size :])[: len(raw)]


ANYWHERE: tuple[Wound, ...] = (flip, flip_bit, cut, blank, lose, repeat, noise, splice, swap, odd_word)

# -- TIFF, and the TIFF inside PNG and JPEG ------------------------------------------------------------------


@dataclass(frozen=True)
class Entry:
    """Where an entry of a directory lies, and how its numbers are written."""

    at: int
    code: int
    kind: int
    count: int
    order: str
    big: bool

    @property
    def value_at(self) -> int:
        return self.at + (12 if self.big else 8)

    @property
    def value_form(self) -> str:
        return self.order + ("Q" if self.big else "I")


SIZES = {
    1: 1,
    2: 1,
    3: 2,
    4: 4,
    5: 8,
    6: 1,
    7: 1,
    8: 2,
    9: 4,
    10: 8,
    11: 4,
    12: 8,
    13: 4,
    16: 8,
    17: 8,
    18: 8,
}


def bases(raw: bytes) -> list[int]:
    """Find where a TIFF begins in a file."""
    return [
        at
        for sign in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
        for at in ([0] if raw.startswith(sign) else [raw.find(sign)])
        if at >= 0
    ]


def directories(raw: bytes, base: int) -> Iterator[tuple[int, list[Entry], int]]:
    """Give each directory's place, its entries and the place of the link to the next; also those below."""
    order = "<" if raw[base : base + 1] == b"I" else ">"
    big = raw[base + 2 : base + 4] in {b"+\0", b"\0+"}
    size, width = (8, 20) if big else (2, 12)
    word = order + ("Q" if big else "I")
    try:
        waiting = [struct.unpack_from(word, raw, base + (8 if big else 4))[0]]
        seen: set[int] = set()
        while waiting and len(seen) < 8:
            at = base + waiting.pop(0)
            if at in seen or at == base:
                continue
            seen.add(at)
            (count,) = struct.unpack_from(order + ("Q" if big else "H"), raw, at)
            entries = []
            for number in range(min(count, 100)):
                place = at + size + number * width
                code, kind, items = struct.unpack_from(order + "HH" + word[1], raw, place)
                entry = Entry(place, code, kind, items, order, big)
                entries.append(entry)
                if code in {330, 34665} and items == 1:
                    waiting.append(struct.unpack_from(word, raw, entry.value_at)[0])
            link = at + size + count * width
            waiting.append(struct.unpack_from(word, raw, link)[0])
            yield at, entries, link
    except (struct.error, OverflowError):
        return


TOLD = (
    254,
    256,
    257,
    258,
    259,
    262,
    266,
    273,
    274,
    277,
    278,
    279,
    284,
    317,
    322,
    323,
    324,
    325,
    330,
    338,
    339,
    347,
)
"""Tags on which the picture hangs."""


def lie_in_tiff(dice: Dice, raw: bytes, _: bytes) -> bytes:
    """Change one number of a directory: code, type, count, value, a value further off, or a link."""
    found = bases(raw)
    if not found:
        return raw
    base = found[int(dice.integers(len(found)))]
    all_of_them = list(directories(raw, base))
    if not all_of_them:
        return raw
    at, entries, link = all_of_them[int(dice.integers(len(all_of_them)))]
    wounded = bytearray(raw)

    def write(form: str, place: int, value: int) -> None:
        size = struct.calcsize(form)
        if place + size <= len(wounded):
            struct.pack_into(form, wounded, place, value & ((1 << 8 * size) - 1))

    if not entries or dice.random() < 0.1:
        order, big = (entries[0].order, entries[0].big) if entries else ("<", False)
        places = [at - base for at, _, _ in all_of_them] + [0, 1, len(raw) - base, len(raw) - 2]
        if dice.random() < 0.7:
            write(order + ("Q" if big else "I"), link, int(places[int(dice.integers(len(places)))]))
        else:
            write(order + ("Q" if big else "H"), at, _number(dice, len(raw), 0))
        return bytes(wounded)
    weighty = [entry for entry in entries if entry.code in TOLD]
    choice = weighty if weighty and dice.random() < 0.7 else entries
    entry = choice[int(dice.integers(len(choice)))]
    order, big = entry.order, entry.big
    what = int(dice.integers(7))
    if what == 0:
        codes = (*TOLD, 34665, 34675, 700, 33628, 33723, 34361, 34412, 37500, 50706, 50838, 51023, 65000)
        write(order + "H", entry.at, int(codes[int(dice.integers(len(codes)))]))
    elif what == 1:
        write(order + "H", entry.at + 2, int(dice.choice([*SIZES, 0, 14, 19, 255, 65535])))
    elif what == 2:
        write(entry.value_form, entry.at + 4, _number(dice, len(raw), entry.count))
    else:
        size = SIZES.get(entry.kind, 1)
        inside = size * entry.count <= (8 if big else 4)
        form = {1: "B", 2: "H", 4: "I", 8: "Q"}.get(size, "I")
        if inside or what == 3:
            write(order + form if inside else entry.value_form, entry.value_at, _number(dice, len(raw), 0))
        else:
            (offset,) = struct.unpack_from(entry.value_form, raw, entry.value_at)
            place = base + offset + size * int(dice.integers(min(entry.count, 1000)))
            write(order + form, place, _number(dice, len(raw), 0))
    return bytes(wounded)


def _number(dice: Dice, length: int, was: int) -> int:
    """Throw an odd number, one near what was there, or one near the file's length."""
    roll = dice.random()
    if roll < 0.5:
        return VAST[int(dice.integers(len(VAST)))]
    if roll < 0.75:
        return max(0, was + int(dice.integers(-3, 4)))
    return max(0, length + int(dice.integers(-20, 21)))


def directory_twice(dice: Dice, raw: bytes, _: bytes) -> bytes:
    """Let an entry name what another one names, as pieces of a picture that lie over each other."""
    for base in bases(raw):
        entries = [entry for _, found, _ in directories(raw, base) for entry in found]
        if len(entries) > 1:
            one, two = (entries[int(number)] for number in dice.integers(len(entries), size=2))
            width = 20 if one.big else 12
            return raw[: one.at + 2] + raw[two.at + 2 : two.at + width] + raw[one.at + width :]
    return raw


# -- PNG -----------------------------------------------------------------------------------------------------


def _chunks(raw: bytes) -> list[tuple[bytes, bytes]]:
    chunks, at = [], 8
    while at + 12 <= len(raw):
        length = int.from_bytes(raw[at : at + 4], "big")
        chunks.append((raw[at + 4 : at + 8], raw[at + 8 : at + 8 + length]))
        at += 12 + length
    return chunks


def _chunk(kind: bytes, body: bytes) -> bytes:
    return len(body).to_bytes(4, "big") + kind + body + zlib.crc32(kind + body).to_bytes(4, "big")


def lie_in_png(dice: Dice, raw: bytes, other: bytes) -> bytes:
    """Change, lose, repeat or move a chunk, with its checksum right; or lie of its length."""
    if not raw.startswith(b"\x89PNG"):
        return raw
    chunks = _chunks(raw)
    if not chunks:
        return raw
    place = int(dice.integers(len(chunks)))
    kind, body = chunks[place]
    what = int(dice.integers(8))
    if what == 0:
        del chunks[place]
    elif what == 1:
        chunks.insert(int(dice.integers(len(chunks))), (kind, body))
    elif what == 2:
        chunks[place] = (kind, flip(dice, body, b""))
    elif what == 3:
        head = bytearray(chunks[0][1][:13].ljust(13, b"\0"))
        if dice.random() < 0.5:
            struct.pack_into(">I", head, int(dice.choice([0, 4])), _number(dice, 5000, 80) & 0xFFFFFFFF)
        else:
            head[int(dice.integers(8, 13))] = int(dice.choice([0, 1, 2, 3, 4, 6, 8, 16, 255]))
        chunks[0] = (b"IHDR", bytes(head))
    elif what == 4:
        vast = zlib.compress(bytes(1 << int(dice.integers(16, 25))))
        new = [
            (b"iCCP", b"x\0\0" + vast),
            (b"zTXt", b"Title\0\0" + vast),
            (b"iTXt", b"Title\0\1\0\0\0" + vast),
        ]
        chunks.insert(1, new[int(dice.integers(len(new)))])
    elif what == 5:
        chunks[place] = (dice.bytes(4) if dice.random() < 0.5 else kind.swapcase(), body)
    elif what == 6:
        inner = next((body for kind, body in chunks if kind == b"eXIf"), b"")
        chunks = [
            (kind, lie_in_tiff(dice, inner, other) if kind == b"eXIf" else body) for kind, body in chunks
        ]
    wounded = raw[:8] + b"".join(_chunk(*chunk) for chunk in chunks)
    if what == 7:
        at = 8 + sum(12 + len(body) for _, body in chunks[:place])
        length = _number(dice, len(raw), len(body)) & 0xFFFFFFFF
        return wounded[:at] + length.to_bytes(4, "big") + wounded[at + 4 :]
    return wounded


# -- JPEG, by itself and inside TIFF -------------------------------------------------------------------------


def _segments(raw: bytes) -> list[tuple[int, int]]:
    """Find the segments of the first JPEG stream: place and whole length, up to the scan's data."""
    at = raw.find(b"\xff\xd8\xff")
    found: list[tuple[int, int]] = []
    at += 2
    while 2 <= at < len(raw) - 4 and raw[at] == 0xFF:
        length = 2 + int.from_bytes(raw[at + 2 : at + 4], "big")
        found.append((at, length))
        if raw[at + 1] == 0xDA:
            break
        at += length
    return found


def lie_in_jpeg(dice: Dice, raw: bytes, _: bytes) -> bytes:
    """Change a marker, a length, a size; lose, repeat or put in a segment."""
    found = _segments(raw)
    if not found:
        return raw
    at, length = found[int(dice.integers(len(found)))]
    what = int(dice.integers(8))
    wounded = bytearray(raw)
    if what == 0:
        wounded[at + 1] = int(dice.choice([*range(0xC0, 0xE3), 0xFE, 0xFF, 0x01, 0x00]))
    elif what == 1:
        value = _number(dice, len(raw), length - 2) & 0xFFFF
        wounded[at + 2 : at + 4] = value.to_bytes(2, "big")
    elif what == 2:
        del wounded[at : at + length]
    elif what == 3:
        wounded[at:at] = raw[at : at + length]
    elif what == 4 and length > 4:
        for _ in range(int(dice.integers(1, 5))):
            wounded[at + 4 + int(dice.integers(length - 4)) if at + length <= len(raw) else at] = int(
                dice.integers(256)
            )
    elif what == 5:
        frame = next((at for at, _ in found if raw[at + 1] in {0xC0, 0xC1, 0xC2}), None)
        if frame is not None and frame + 15 < len(raw):
            place = int(dice.choice([4, 5, 7, 9, 11]))
            if place in {5, 7}:
                wounded[frame + place : frame + place + 2] = (_number(dice, 5000, 80) & 0xFFFF).to_bytes(
                    2, "big"
                )
            else:
                wounded[frame + place] = int(dice.choice([0, 1, 2, 3, 4, 8, 12, 0x11, 0x22, 0x41, 0x44, 255]))
    elif what == 6:
        wounded[at:at] = [
            b"\xff" * 3000,
            b"\xff\xd0" * 2000,
            b"\xff\xfe\x00\x02" * 1000,
            b"\xff\xdd\x00\x04\x00\x01",
        ][int(dice.integers(4))]
    else:
        last, size = found[-1]
        wounded[last + size :] = wounded[last + size : last + size + int(dice.integers(60))] + b"\xff\xd9"
    return bytes(wounded)


def wounded(dice: Dice, raw: bytes, other: bytes) -> tuple[bytes, str]:
    """Wound a file one to four times, mostly by a lie that fits its format; tell how."""
    fitting: list[Wound] = [lie_in_png, lie_in_png] if raw.startswith(b"\x89PNG") else []
    fitting += [lie_in_tiff, lie_in_tiff, directory_twice] if bases(raw) else []
    fitting += [lie_in_jpeg, lie_in_jpeg] if b"\xff\xd8\xff" in raw else []
    names = []
    for _ in range(int(dice.choice([1, 1, 1, 2, 3, 4]))):
        kinds = fitting if fitting and dice.random() < 0.65 else ANYWHERE
        wound = kinds[int(dice.integers(len(kinds)))]
        raw = wound(dice, raw, other)
        names.append(wound.__name__)
    return raw, " + ".join(names)
