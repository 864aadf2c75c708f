"""The form that is carried into the field: one page that needs no network, and the fields it shares with the archive's.

What it knows of the archive is handed over ready; here the page is written.
"""

from negcat.fieldform.page import Check, FormData, LensChoice, LoadedSide, laid_out, set_page

__all__ = ["Check", "FormData", "LensChoice", "LoadedSide", "laid_out", "set_page"]
