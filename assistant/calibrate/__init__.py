"""Calibration at the dock and under way: evidence -> numbers with a sigma, and what is missing where it is thin."""
