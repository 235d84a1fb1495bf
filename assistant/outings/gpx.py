"""An outing as GPX 1.1: the track, a new piece of it after each gap, and what happened as waypoints. Pure.

Elements and their order: GPX 1.1 schema, topografix.com/GPX/1/1 (metadata, wpt, trk; within a point time, name, desc,
type).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple
from xml.etree import ElementTree as Xml

NAMESPACE = "http://www.topografix.com/GPX/1/1"
GAP_S = 15.0  # a position is dead by then


class Point(NamedTuple):
    """Where the boat was."""

    t_s: float
    utc: str | None
    lat_deg: float
    lon_deg: float


class Waypoint(NamedTuple):
    """Where something happened."""

    point: Point
    name: str
    about: str
    kind: str


def gpx(title: str, points: Sequence[Point], waypoints: Iterable[Waypoint]) -> bytes:
    """The file."""
    root = Xml.Element("gpx", {"version": "1.1", "creator": "spreadwatch", "xmlns": NAMESPACE})
    metadata = Xml.SubElement(root, "metadata")
    _text(metadata, "name", title)
    if (began := next((point.utc for point in points if point.utc), None)) is not None:
        _text(metadata, "time", began)
    for waypoint in waypoints:
        element = _placed(root, "wpt", waypoint.point)
        _text(element, "name", waypoint.name)
        _text(element, "desc", waypoint.about)
        _text(element, "type", waypoint.kind)
    track = Xml.SubElement(root, "trk")
    _text(track, "name", title)
    last_s, piece = float("-inf"), track
    for point in points:
        if point.t_s - last_s > GAP_S:
            piece = Xml.SubElement(track, "trkseg")
        _placed(piece, "trkpt", point)
        last_s = point.t_s
    Xml.indent(root)
    text: bytes = Xml.tostring(root, encoding="utf-8")
    return b'<?xml version="1.0" encoding="UTF-8"?>\n' + text + b"\n"


def _placed(parent: Xml.Element, name: str, point: Point) -> Xml.Element:
    lon = f"{point.lon_deg:.7f}"
    if lon == "180.0000000":  # GPX ends below it
        lon = "-180.0000000"
    element = Xml.SubElement(parent, name, {"lat": f"{point.lat_deg:.7f}", "lon": lon})
    if point.utc is not None:
        _text(element, "time", point.utc)
    return element


def _text(parent: Xml.Element, name: str, text: str) -> None:
    """An element with a text, without what XML 1.0 (section 2.2) does not allow in one."""
    if text:
        Xml.SubElement(parent, name).text = "".join(c if c.isprintable() else " " for c in text)
