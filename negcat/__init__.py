"""negcat: the negative archive of a large-format photographer."""

__version__ = "0.1.0"
