"""Lines towed by MoorDyn, an independent explicit lumped-mass code (optional extra `peer`): for comparison only.

MoorDyn's z is up; it takes a point's volume and a coefficient of added mass (made here from wet weight and added
mass); it knows no lift. Current and lift therefore go in as water velocity at its nodes, refreshed every `exchange_s`:
at a planer's point the velocity whose drag is the planer's whole force. It starts lines at rest and straight between
their joints: with such water it works in the frame of the first velocity, streaming past, and its nodes are put into
the shape of the steady tow in its serialised state, where each is three doubles in a row: so it starts settled.
Source of the input format: MoorDyn documentation, "Inputs" (v2).
"""

from __future__ import annotations

import math
import os
import struct
import sys
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from types import ModuleType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from assistant.lines.bodies import body_force
from assistant.lines.chain import Body, Towed, Water
from assistant.lines.groups import pieces
from assistant.lines.kernel import current_at
from assistant.lines.steady import straight

Array = NDArray[np.float64]

_UP = np.array([1.0, 1.0, -1.0])  # our z is down, MoorDyn's up
STIFF_N = 1e4  # stands in for inextensible: an explicit code needs some stretch
DAMPING = 0.2  # share of critical damping of a segment's stretch; keeps the ringing of the start short


def load() -> ModuleType:
    """The moordyn package.

    Raises:
        RuntimeError: it is not installed; says how to get it.
    """
    try:
        import moordyn
    except ImportError as error:
        raise RuntimeError("moordyn is not installed; next step: pip install 'spreadwatch[peer]'") from error
    module: ModuleType = moordyn
    return module


class MoorDynTow:
    """Several lines in one MoorDyn system, tow points driven from outside.

    Args:
        lines: what is towed, each cut into counts[i] pieces per segment, free end first.
        step_s, scheme: MoorDyn's own step [s] and time scheme ("RK2", "RK4" ...); damping: see DAMPING.
        tips: (n, 3) tow points at the start [m], z down; velocity: (3,) common velocity [m/s].
        streams: let the water stream past also where neither current nor lift asks for it.
    Raises:
        RuntimeError: moordyn is missing, or refuses the system.
    """

    def __init__(
        self,
        lines: Sequence[Towed],
        counts: Sequence[Sequence[int]],
        water: Water,
        step_s: float,
        scheme: str,
        tips: Array,
        velocity: Array,
        damping: float = DAMPING,
        streams: bool = False,
    ) -> None:
        self._damping = damping
        self._api = load()
        self._water = water
        self._profile = water.profile_array()
        self._bodies: list[tuple[int, Body]] = []  # planers by index of their point
        self._inner: list[Array] = []  # (count-1, 3) inner nodes of each line, z up
        self._force: Array = np.zeros((len(lines), 3))
        text, self._ends = self._input(lines, counts, step_s, scheme, tips, velocity)
        self._streams = streams or bool(len(self._profile) or self._bodies)
        self._drift = np.array([velocity[0], velocity[1], 0.0]) if self._streams else np.zeros(3)
        self._t_s = 0.0
        with tempfile.TemporaryDirectory() as folder:
            path = os.path.join(folder, "lines.txt")  # noqa: PTH118
            with open(path, "w", encoding="ascii") as file:  # noqa: PTH123
                file.write(text.replace("@KIN", str(int(self._streams))))
            with _quiet():
                self._system: Any = self._api.Create(path)
                self._api.SetVerbosity(self._system, self._api.LEVEL_NONE)
                up = tips * _UP
                start = np.tile(velocity * _UP - self._drift, len(lines))
                self._api.Init(self._system, list(up.ravel()), list(start))
                if self._streams:
                    self._api.ExternalWaveKinInit(self._system)
        if self._streams:
            self._place_nodes()
            self._set_water()

    def march(self, t_s: float, exchange_s: float, tips: Array, tips_next: Array) -> None:
        """From t_s (first 0) over exchange_s; tips (n, 3) at both ends of it, z down."""
        if len(self._profile) or self._bodies:
            self._set_water()
        velocity = ((tips_next - tips) / exchange_s - self._drift) * _UP
        up = (tips - self._drift * t_s) * _UP
        force = self._api.Step(self._system, list(up.ravel()), list(velocity.ravel()), t_s, exchange_s)
        self._force = np.array(force).reshape(-1, 3)
        self._t_s = t_s + exchange_s

    def ends_m(self) -> Array:
        """(n, 3) free ends, z down."""
        points = [self._api.GetPointPos(self._api.GetPoint(self._system, k)) for k in self._ends]
        ends: Array = np.array(points) * _UP + self._drift * self._t_s
        return ends

    def tensions_n(self) -> Array:
        """(n,) pull at the tow points."""
        pull: Array = np.linalg.norm(self._force, axis=1)
        return pull

    def set_line_out(self, line: int, length_m: float, speed_mps: float) -> None:
        """Length of a line's (1-based, as listed in the system) and how fast it changes."""
        handle = self._api.GetLine(self._system, line)
        self._api.SetLineUnstretchedLength(handle, length_m)
        self._api.SetLineUnstretchedLengthVel(handle, speed_mps)

    def close(self) -> None:
        """Free the system."""
        with _quiet():
            self._api.Close(self._system)

    def _place_nodes(self) -> None:
        """Every inner node of every line where the steady tow has it."""
        state: bytes = self._api.Serialize(self._system)
        for line, places in enumerate(self._inner, start=1):
            handle = self._api.GetLine(self._system, line)
            for k, place in enumerate(places, start=1):
                now = self._api.GetLineNodePos(handle, k)
                state = state.replace(struct.pack("<3d", *now), struct.pack("<3d", *place))
        self._api.Deserialize(self._system, state)

    def _set_water(self) -> None:
        """Water velocity at every node: the current, or at a planer what makes its drag the planer's force."""
        places = np.array(self._api.GetWaveKinCoordinates(self._system))  # nodes of all lines, then points
        flow = np.tile(-self._drift, (len(places), 1))
        if len(self._profile):
            flow[:, :2] += [current_at(self._profile, -z)[:2] for z in places[:, 2]]
        half = 0.5 * self._water.density_kg_m3
        for point, body in self._bodies:
            row = self._line_nodes + point - 1
            moving = np.array(self._api.GetPointVel(self._api.GetPoint(self._system, point)))
            u = (moving - flow[row]) * _UP
            areas = (half * body.drag_area_m2, half * body.down_area_m2, half * body.side_area_m2)
            force = np.array(body_force(*areas, u[0], u[1], u[2])) * _UP
            size = float(np.linalg.norm(force))
            flow[row] = moving + force / math.sqrt(max(size, 1e-12) * half * body.drag_area_m2)
        still = np.zeros_like(flow).tolist()
        self._api.ExternalWaveKinSet(self._system, flow.tolist(), still, self._t_s)

    def _input(
        self,
        lines: Sequence[Towed],
        counts: Sequence[Sequence[int]],
        step_s: float,
        scheme: str,
        tips: Array,
        velocity: Array,
    ) -> tuple[str, list[int]]:
        types: list[str] = []
        points: list[str] = []
        ropes: list[str] = []
        ends: list[int] = []
        rho, g = self._water.density_kg_m3, self._water.gravity_m_s2
        speed, heading = float(np.hypot(velocity[0], velocity[1])), math.atan2(velocity[1], velocity[0])
        for towed, count, tip in zip(lines, counts, tips, strict=True):
            shape = straight(pieces(towed, count), self._water, speed, heading)
            places = (shape.points_m + np.array([tip[0], tip[1], 0.0])) * _UP
            joints = np.cumsum([0, *count])
            ends.append(len(points) + 1)
            given = [*towed.bodies, *[None] * (len(towed.segments) - len(towed.bodies))]
            for k, (segment, body) in enumerate(zip(towed.segments, given, strict=True)):
                body = body or Body()
                x, y, z = places[joints[k]]
                self._inner.append(places[joints[k] + 1 : joints[k + 1]])
                volume = (body.mass_kg - body.wet_weight_n / g) / rho
                added = body.added_mass_kg / (rho * volume) if volume else 0.0
                points.append(
                    f"{len(points) + 1} Free {x} {y} {z} {body.mass_kg} {volume} {body.drag_area_m2} {added}"
                )
                if body.down_area_m2 or body.side_area_m2:
                    self._bodies.append((len(points), body))
                stiffness = segment.stiffness_n if math.isfinite(segment.stiffness_n) else STIFF_N
                types.append(
                    f"t{len(types) + 1} {segment.diameter_m} {segment.mass_kg_m} {stiffness} {-self._damping} 0 "
                    f"{segment.normal_drag} 1 {segment.tangential_drag} 0"
                )
                n = len(ropes) + 1
                ropes.append(f"{n} t{n} {len(points)} {len(points) + 1} {segment.length_m} {count[k]} -")
            points.append(f"{len(points) + 1} Coupled {tip[0]} {tip[1]} {-tip[2]} 0 0 0 0")
        self._line_nodes = sum(n + 1 for count in counts for n in count)
        return _file(types, points, ropes, self._water, step_s, scheme), ends


def _file(
    types: list[str], points: list[str], ropes: list[str], water: Water, step_s: float, scheme: str
) -> str:
    options = (
        f"{step_s} dtM", f"{scheme} tScheme", f"{water.gravity_m_s2} g", f"{water.density_kg_m3} WtrDnsty",
        "1000 WtrDpth", "0 TmaxIC", "0 writeLog", "1 disableOutput", "1 disableOutTime", "@KIN WaveKin",
    )  # fmt: skip
    tables = (
        ("LINE TYPES", "Name Diam MassDen EA BA EI Cd Ca CdAx CaAx", types),
        ("POINTS", "ID Type X Y Z M V CdA Ca", points),
        ("LINES", "ID LineType AttachA AttachB UnstrLen NumSegs Outputs", ropes),
    )
    text = ["lines towed"]
    for name, columns, rows in tables:
        text += [f"--- {name} ---", columns, " ".join("(-)" for _ in columns.split()), *rows]
    return "\n".join([*text, "--- OPTIONS ---", *options, "---", ""])


@contextmanager
def _quiet() -> Iterator[None]:
    """Nothing of what native code prints on stdout meanwhile."""
    sys.stdout.flush()
    keep = os.dup(1)
    with open(os.devnull, "w", encoding="ascii") as sink:  # noqa: PTH123
        os.dup2(sink.fileno(), 1)
    try:
        yield
    finally:
        os.dup2(keep, 1)
        os.close(keep)
