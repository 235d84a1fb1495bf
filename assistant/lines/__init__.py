"""Towed-line physics: gear to forces, steady shapes, dynamic kernel, the whole spread."""
