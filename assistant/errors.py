"""What a user can mend: the text of each says what is wrong and what to do, and is shown as it is."""

from __future__ import annotations


class LogError(Exception):
    """A recorded log cannot be replayed."""


class OptionError(Exception):
    """What was asked for on the command line cannot be."""
