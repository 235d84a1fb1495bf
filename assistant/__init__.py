"""spreadwatch: where every trolled line is, how sure that is, and what the next turn does to it."""

__version__ = "0.1.0"
