"""The papers' letters: fonts from installed packages, and what no font at hand has.

Most of what is written on a paper is Latin, with the figures and fractions of the trade. A name in another script
takes its letters from a second font, and Chinese, Japanese and Korean ones from a third, where that is installed.
A font is only opened when a letter asks for it.
"""

from __future__ import annotations

import importlib
import logging
import unicodedata
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final, Protocol

__all__ = ["FAMILY", "Letters"]

FAMILY: Final = "text"
"""The name under which the first font is set."""

_PACKAGED: Final = {"text": ("notos", "notosbo"), "more": ("figo", "figbo"), "marks": ("symbol2", "symbol2")}
"""Family → its regular and bold font in the package ``pymupdf_fonts``, in the order in which they are asked."""

_EAST_ASIAN: Final = "justmytype_intl_cjk"
_EAST_ASIAN_FILES: Final = (
    "ofl/notosansjp/NotoSansJP[wght].ttf",
    "ofl/notosanssc/NotoSansSC[wght].ttf",
    "ofl/notosanskr/NotoSansKR[wght].ttf",
)
_STYLES: Final = ("", "B")
_REGULAR, _BOLD = 400, 700
_UNKNOWN: Final = "\N{REPLACEMENT CHARACTER}"


class Setter(Protocol):
    """The part of a document under way that takes fonts."""

    def add_font(self, family: str, style: str, fname: str) -> None:
        """Take a font file under a name."""

    def set_fallback_fonts(self, fallback_fonts: Sequence[str]) -> None:
        """Name the fonts that are asked where the one in use has no such letter."""


class Letters:
    """The letters of one paper.

    Parameters
    ----------
    setter : the document; it gets the fonts as they are asked for.

    Attributes
    ----------
    wanting : letters that no font at hand has.

    Notes
    -----
    The font files lie in a folder of their own until :meth:`close`: the document reads them while it is drawn.
    """

    def __init__(self, setter: Setter) -> None:
        # fontTools tells at length what it leaves out of a font; nobody who prints a paper wants to know.
        logging.getLogger("fontTools").setLevel(logging.ERROR)
        self.wanting: set[str] = set()
        self._setter = setter
        self._folder = TemporaryDirectory(prefix="negcat-letters-")
        self._known: set[int] = set()
        self._fallbacks: list[str] = []
        self._packaged = iter(_PACKAGED.items())
        self._open_packaged()

    def of(self, text: str) -> str:
        """Make a text ready to be set: its fonts are opened, and a letter that none has is replaced by ``�``."""
        if all(ord(letter) in self._known for letter in text):
            return text
        text = "".join(letter for letter in text if self._is_kept(letter))
        while missing := {letter for letter in text if ord(letter) not in self._known}:
            if not self._open_packaged():
                self._open_east_asian(missing)
                break
        missing = {letter for letter in text if ord(letter) not in self._known}
        self.wanting |= missing
        return "".join(_UNKNOWN if letter in missing else letter for letter in text)

    def close(self) -> None:
        """Put the font files away, once the document is written."""
        self._folder.cleanup()

    def _is_kept(self, letter: str) -> bool:
        """Tell whether a letter is seen: joiners and the like are dropped where no font knows them."""
        if ord(letter) in self._known:
            return True
        return unicodedata.category(letter) != "Cf" and not 0xFE00 <= ord(letter) <= 0xFE0F

    def _open_packaged(self) -> bool:
        """Open the next font of the package; False where there is none."""
        family, files = next(self._packaged, (None, ()))
        if family is None:
            return False
        import pymupdf_fonts

        paths = []
        for style, name in zip(_STYLES, files, strict=True):
            paths.append(Path(self._folder.name, f"{family}{style}.ttf"))
            paths[-1].write_bytes(pymupdf_fonts.fontbuffers[name]())
        self._take(family, paths)
        return True

    def _take(self, family: str, paths: Sequence[Path]) -> None:
        from fontTools.ttLib import TTFont

        known = []
        for style, path in zip(_STYLES, paths, strict=True):
            self._setter.add_font(family, style, str(path))
            with TTFont(path, lazy=True) as font:
                known.append(set(font.getBestCmap()))
        # A letter counts as known where it is so in both weights: a bold font may lack what the regular one has.
        self._known |= known[0] & known[1]
        if family != FAMILY and family not in self._fallbacks:
            self._fallbacks.append(family)
            self._setter.set_fallback_fonts(self._fallbacks)

    def _open_east_asian(self, missing: set[str]) -> None:
        """Cut the letters that are missing out of the large variable fonts, where those are installed.

        Only so few letters: the whole font would take most of a minute to be brought to one weight.
        """
        try:
            package = importlib.import_module(_EAST_ASIAN)
        except ImportError:
            return
        from fontTools.subset import Options, Subsetter
        from fontTools.ttLib import TTFont
        from fontTools.varLib.instancer import instantiateVariableFont

        folder = Path(str(package.__file__)).parent / "fonts"
        for place, file in enumerate(_EAST_ASIAN_FILES):
            with TTFont(folder / file, lazy=True) as font:
                found = {ord(letter) for letter in missing} & set(font.getBestCmap())
            if not found:
                continue
            family = f"east{len(self._fallbacks)}-{place}"
            paths = []
            for style, weight in zip(_STYLES, (_REGULAR, _BOLD), strict=True):
                with TTFont(folder / file) as font:
                    cutter = Subsetter(Options(layout_features=[], name_IDs=["*"], notdef_outline=True))
                    cutter.populate(unicodes=found)
                    cutter.subset(font)
                    instantiateVariableFont(font, {"wght": weight}, inplace=True)
                    paths.append(Path(self._folder.name, f"{family}{style}.ttf"))
                    font.save(paths[-1])
            self._take(family, paths)
            missing = {letter for letter in missing if ord(letter) not in self._known}
