"""Small plots as SVG text: the track, every lure's depth through the day, chances of silences, rates with limits. Pure.

Drawn 360 units wide, so that type is of the right size on a phone; a wider screen shows them larger.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape

WIDTH = 360.0
INK, GREY, PALE, BAND = "#111", "#6a6a6a", "#ddd", "#c9d6e2"
SIDE_INK = {"port": "#a3161c", "centre": "#1c1c1c", "starboard": "#00613a"}
ENOUGH_H = 1.0  # rod-hours; limits from less than that do not set the scale, and may leave the picture
M_PER_DEG = 111_200.0


def text(
    x: float,
    y: float,
    words: str,
    size: float = 11.0,
    anchor: str = "start",
    ink: str = INK,
    bold: bool = False,
) -> str:
    """One line of text."""
    weight = ' font-weight="bold"' if bold else ""
    place = f'x="{x:.1f}" y="{y:.1f}" font-size="{size:g}" text-anchor="{anchor}" fill="{ink}"{weight}'
    return f"<text {place}>{escape(words)}</text>"


def line(
    x1: float, y1: float, x2: float, y2: float, ink: str = INK, width: float = 1.0, dash: str = ""
) -> str:
    """A straight line."""
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    ends = f'x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}"'
    return f'<line {ends} stroke="{ink}" stroke-width="{width:g}"{dashed}/>'


def path(
    points: Iterable[tuple[float, float]], ink: str = INK, width: float = 1.5, fill: str = "none"
) -> str:
    """A line through points."""
    joined = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    if fill != "none":
        return f'<polygon points="{joined}" fill="{fill}"/>'
    return f'<polyline points="{joined}" fill="none" stroke="{ink}" stroke-width="{width:g}" stroke-linejoin="round"/>'


def strike(x: float, y: float, outcome: str, size: float = 4.5) -> str:
    """A strike: full when landed, hollow when lost, a cross when no fish was on."""
    if outcome in ("landed", "lost"):
        fill = INK if outcome == "landed" else "#fff"
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{size:g}" fill="{fill}" stroke="{INK}" stroke-width="1.5"/>'
    return line(x - size, y - size, x + size, y + size, width=2.0) + line(
        x - size, y + size, x + size, y - size, width=2.0
    )


def box(x: float, y: float, width: float, height: float) -> str:
    """An empty field."""
    size = f'width="{width:.1f}" height="{height:.1f}"'
    return f'<rect x="{x:.1f}" y="{y:.1f}" {size} fill="#fff" stroke="{PALE}"/>'


def svg(height: float, parts: Iterable[str], label: str, width: float = WIDTH) -> str:
    """A whole picture."""
    head = f'<svg viewBox="0 0 {width:g} {height:.0f}" role="img" aria-label="{escape(label, quote=True)}">'
    return f"{head}{''.join(parts)}</svg>"


@dataclass(frozen=True, slots=True)
class Mark:
    """A strike on a picture."""

    t_s: float
    rod: str | None
    outcome: str


@dataclass(frozen=True, slots=True)
class Hours:
    """The axis of time: from the first to the last second of a day that began at `start_h` on the clock shown."""

    start_h: float
    seconds: float
    left: float = 34.0
    right: float = 352.0

    def x(self, t_s: float) -> float:
        """Where a time is."""
        return self.left + (self.right - self.left) * t_s / max(self.seconds, 1.0)

    def ticks(self) -> list[tuple[float, str]]:
        """Whole hours, not more than eight."""
        step = max(1, math.ceil(self.seconds / 3600.0 / 7.0))
        first = math.ceil(self.start_h)
        hours = range(first, math.floor(self.start_h + self.seconds / 3600.0) + 1, step)
        at = [(self.x((hour - self.start_h) * 3600.0), f"{hour % 24:02d}:00") for hour in hours]
        return [(x, label) for x, label in at if x < self.right - 6.0]


def track(
    places: Sequence[tuple[float, float, float]], marks: Sequence[Mark], silent: Sequence[tuple[float, float]]
) -> str:
    """The boat's way, north up, with strikes.

    Args:
        places: t_s, latitude, longitude [deg]; silent: spans of time drawn pale.
    """
    if len(places) < 2:
        return ""
    middle = math.radians(sum(p[1] for p in places) / len(places))
    east = [M_PER_DEG * (p[2] - places[0][2]) * math.cos(middle) for p in places]
    north = [M_PER_DEG * (p[1] - places[0][1]) for p in places]
    wide, tall = max(east) - min(east), max(north) - min(north)
    scale = min((WIDTH - 60.0) / max(wide, 1.0), 420.0 / max(tall, 1.0))
    height = tall * scale + 60.0
    x0 = 0.5 * (WIDTH - wide * scale) - min(east) * scale
    spots = [(x0 + e * scale, 24.0 + (max(north) - n) * scale) for e, n in zip(east, north, strict=True)]
    quiet = [any(a <= p[0] <= b for a, b in silent) for p in places]
    parts = []
    start = 0
    for n in range(1, len(spots) + 1):
        if n == len(spots) or quiet[n] != quiet[start]:
            run = spots[start : min(n + 1, len(spots))]
            parts.append(path(run, GREY if quiet[start] else INK, 1.2 if quiet[start] else 2.2))
            start = n
    begun, over = _beside(spots[0]), _beside(spots[-1])
    if math.hypot(begun[0] - over[0], begun[1] - over[1]) < 30.0:  # home again: the words one below the other
        over = (begun[0], begun[1] + 13.0)
    parts += [text(*begun, "start", bold=True), text(*over, "end", bold=True)]
    drawn: list[tuple[float, float]] = []
    for mark in marks:
        x, y = spots[min(range(len(places)), key=lambda n: abs(places[n][0] - mark.t_s))]
        crowded = any(math.hypot(x - a, y - b) < 14.0 for a, b in drawn)
        side = -1.0 if (x > 0.7 * WIDTH) != crowded else 1.0
        drawn.append((x, y))
        anchor = "end" if side < 0.0 else "start"
        parts += [strike(x, y, mark.outcome), text(x + 9.0 * side, y + 4.0, mark.rod or "?", 11, anchor)]
    parts += [
        *_scale_bar(scale, height),
        text(WIDTH - 14.0, 16.0, "N", 12, "middle", bold=True),
        line(WIDTH - 14, 36, WIDTH - 14, 20, width=2.0),
    ]
    return svg(height, parts, "the track of the boat with the strikes, north up")


def _beside(spot: tuple[float, float]) -> tuple[float, float]:
    return spot[0] - 12.0, spot[1] - 8.0


def _scale_bar(scale: float, height: float) -> list[str]:
    """A round length of about a quarter of the width."""
    miles = next(m for m in (5.0, 2.0, 1.0, 0.5, 0.2, 0.1, 0.05, 0.001) if m * 1609.344 * scale < 0.3 * WIDTH)
    length = miles * 1609.344 * scale
    y = height - 8.0
    return [line(10, y, 10 + length, y, width=3.0), text(16 + length, y + 4.0, f"{miles:g} mile")]


@dataclass(frozen=True, slots=True)
class Strip:
    """One rod's depths through the day, in the unit shown; NaN where it was not fishing."""

    rod: str
    side: str
    t_s: Sequence[float]
    value: Sequence[float]
    low: Sequence[float]
    high: Sequence[float]


def depths(
    strips: Sequence[Strip],
    bottom: Sequence[tuple[float, float]],
    marks: Sequence[Mark],
    hours: Hours,
    unit: str,
) -> str:
    """One strip for each rod, depth downward, the bottom as ground where it is in reach."""
    deepest = max((v for strip in strips for v in strip.high if math.isfinite(v)), default=10.0)
    ground = sorted(v for _, v in bottom if math.isfinite(v))
    reach = max(
        [deepest + 4.0, *([ground[len(ground) * 9 // 10]] if ground and ground[0] < 1.5 * deepest else [])]
    )
    full = 10.0 * math.ceil(reach / 10.0)
    row, parts = 58.0, []
    for n, strip in enumerate(strips):
        top = 8.0 + n * row
        tall = row - 12.0

        def y(value: float, top: float = top, tall: float = tall) -> float:
            return top + tall * min(value, full) / full

        parts.append(box(hours.left, top, hours.right - hours.left, tall))
        floor = [(hours.x(t), y(v)) for t, v in bottom if math.isfinite(v)]
        if floor:
            parts.append(
                path([(floor[0][0], top + tall), *floor, (floor[-1][0], top + tall)], fill="#e7dfd0")
            )
        for run in runs(strip.value):
            over = [(hours.x(strip.t_s[k]), y(strip.low[k])) for k in run]
            under = [(hours.x(strip.t_s[k]), y(strip.high[k])) for k in reversed(run)]
            parts.append(path(over + under, fill=BAND))
            parts.append(
                path([(hours.x(strip.t_s[k]), y(strip.value[k])) for k in run], SIDE_INK[strip.side], 1.6)
            )
        parts += [text(2, top + 14, strip.rod, 13, ink=SIDE_INK[strip.side], bold=True)]
        parts += [text(hours.left - 3, top + tall, f"{full:.0f}", 9, "end", GREY)]
        for mark in marks:
            if mark.rod == strip.rod:
                at = min(range(len(strip.t_s)), key=lambda k: abs(strip.t_s[k] + 60.0 - mark.t_s))
                depth = strip.value[at]
                parts.append(
                    strike(
                        hours.x(mark.t_s), y(depth) if math.isfinite(depth) else top + 6.0, mark.outcome, 4.0
                    )
                )
    bottom_y = 8.0 + len(strips) * row
    for x, label in hours.ticks():
        parts += [
            line(x, 8.0, x, bottom_y - 8.0, PALE, 0.7),
            text(x, bottom_y + 4.0, label, 10, "middle", GREY),
        ]
    return svg(bottom_y + 12.0, parts, f"depth of every lure through the day, 0 to {full:.0f} {unit}")


def runs(values: Sequence[float]) -> list[list[int]]:
    """Places of unbroken runs of known values, of two or more."""
    found: list[list[int]] = [[]]
    for k, value in enumerate(values):
        if math.isfinite(value):
            found[-1].append(k)
        elif found[-1]:
            found.append([])
    return [run for run in found if len(run) > 1]


def chances(
    points: Sequence[tuple[float, float]],
    marks: Sequence[Mark],
    limits: Sequence[tuple[float, str]],
    hours: Hours,
) -> str:
    """The chance of the silence that ran, if the rate had been the same all day; each decade is as high."""
    top, tall, least = 12.0, 120.0, 1e-3

    def y(chance: float) -> float:
        return top + tall * math.log10(1.0 / max(chance, least)) / math.log10(1.0 / least)

    parts = []
    for chance, label in ((1.0, "1"), (0.1, "0.1"), (0.01, "0.01"), (0.001, "0.001")):
        parts += [
            line(hours.left, y(chance), hours.right, y(chance), PALE),
            text(hours.left - 3, y(chance) + 4, label, 9, "end", GREY),
        ]
    for chance, word in limits:
        parts += [
            line(hours.left, y(chance), hours.right, y(chance), INK, 1.0, "4 3"),
            text(hours.left + 4, y(chance) - 3, word, 10),
        ]
    parts.append(path([(hours.x(t), y(c)) for t, c in points if math.isfinite(c)], INK, 1.8))
    parts += [strike(hours.x(mark.t_s), top, mark.outcome, 3.5) for mark in marks]
    for x, label in hours.ticks():
        parts.append(text(x, top + tall + 16, label, 10, "middle", GREY))
    return svg(top + tall + 22.0, parts, "how rare the silence that ran was, through the day")


def rates(rows: Sequence[tuple[str, float, int, float, float, float]]) -> str:
    """Rates with their limits, a row each: label, rod-hours, strikes, rate, low, high."""
    left, right, row = 92.0, 268.0, 24.0
    told = [high for _, hours, _, _, _, high in rows if hours >= ENOUGH_H] or [high for *_, high in rows]
    shown = max([*told, 2.0 * max(rate for _, _, _, rate, _, _ in rows), 1e-6])

    def x(value: float) -> float:
        return left + (right - left) * min(value, shown) / shown

    parts = [line(left, 4, left, 8 + row * len(rows), PALE)]
    for n, (label, hours, count, rate, low, high) in enumerate(rows):
        y = 18.0 + n * row
        parts += [text(left - 6, y + 4, label, 11, "end"), line(x(low), y, x(high), y, BAND, 9.0)]
        parts.append(line(x(rate), y - 6, x(rate), y + 6, INK, 3.0))
        parts.append(text(right + 8, y + 4, f"{count} in {hours:.1f} h", 11, ink=INK if count else GREY))
    return svg(12.0 + row * len(rows), parts, "strikes per rod-hour with 80 % limits")
