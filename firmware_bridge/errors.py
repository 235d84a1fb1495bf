"""What goes wrong outside and is told to the user as it is. Imports nothing, so that any command may name it."""


class BrokerError(Exception):
    """The broker cannot be used; the text says why and is fit to be shown."""
