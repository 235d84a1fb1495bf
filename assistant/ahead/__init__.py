"""The look-ahead: what the boat may do next, and what every line then does. Pure."""
