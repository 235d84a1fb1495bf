"""Lines in time: meshes, the settled shape, and the march; all on the box scheme of cable.py.

Time integrator: generalised alpha (Chung & Hulbert 1993, J. Appl. Mech. 60:371; with constraints: Arnold &
Bruels 2007, Multibody Syst. Dyn. 18:185; for cables: Gobat & Grosenbaugh 2001, Comput. Methods Appl. Mech.
Engrg. 190:4817), second order, RHO the damping of the fastest motions.
Settled shape: backward Euler pseudo time in the frame that moves (and turns) with the boat, with growing
steps, then Newton without time.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from sim import cable
from sim.chain import Body, NoSolution, Segment, Water
from sim.forces import Array
from sim.newton import newton

RHO = 0.4
"""Spectral radius at infinite frequency; 1 keeps all ringing, 0 damps it in one step."""

ALPHA_M = (2.0 * RHO - 1.0) / (RHO + 1.0)
ALPHA_F = RHO / (RHO + 1.0)
GAMMA = 0.5 - ALPHA_M + ALPHA_F
BETA = 0.25 * (GAMMA + 0.5) ** 2

SHORTEST_M = 1e-6
"""A line of no length is taken this long."""

MOST_HALVINGS = 10
"""A step that fails is redone as two, each of them as two, and so on: up to 1024 parts."""


TAU_N = 1e-4
"""Tension below which a line counts as slack [N]."""

MOST_ITERATIONS = 60
"""Newton iterations in a step: two or three as a rule, dozens where a line goes slack or snaps taut."""

JUMP_MPS = 0.02
"""Line let out this much faster or slower from one step to the next has started or stopped with a jerk."""


class Line:
    """One line of segments and bodies, listed from the free end up, with its mesh, shape and motion.

    Args:
        segments: from the free end up.
        bodies: bodies[i] at the lower end of segments[i]; None or a shorter list leaves plain joints.
        water: the water it hangs in.
        elements: how many elements each segment gets, from the free end up.
        dry: whether the top segment starts above the surface.
    """

    def __init__(
        self,
        segments: Sequence[Segment],
        bodies: Sequence[Body | None],
        water: Water,
        elements: Sequence[int],
        dry: bool,
    ) -> None:
        self.water = water
        self._top_elements = elements[-1]
        rows: list[tuple[float, ...]] = []
        count = sum(elements)
        half_rho = 0.5 * water.density_kg_m3
        self._body = np.zeros((count + 1, 6))
        self._lower_end: list[int] = []
        for i, (segment, number) in enumerate(zip(segments, elements, strict=True)):
            self._lower_end.append(len(rows))
            self.put_body(i, bodies[i] if i < len(bodies) else None)
            d = segment.diameter_m
            displaced = water.density_kg_m3 * math.pi * d * d / 4.0
            row = (
                max(segment.length_m, SHORTEST_M) / number,
                half_rho * d * segment.normal_drag,
                half_rho * d * math.pi * segment.tangential_drag,
                segment.mass_kg_m,
                displaced,
                0.0 if segment.stiffness_n is None else 1.0 / segment.stiffness_n,
                0.0,
                1.0 if dry and i == len(segments) - 1 else 0.0,
            )
            rows += [row] * number
        self._elem = np.array(rows)
        self.x = np.zeros((count + 1, 6))
        self._v = np.zeros((count + 1, 3))
        self._a = np.zeros((count + 1, 3))
        self._acceleration = np.zeros((count + 1, 3))

    def put_body(self, segment: int, body: Body | None) -> None:
        """Put a body at the lower end of a segment in place of what was there."""
        node = self._lower_end[segment]
        self._body[node] = 0.0
        if body is not None:
            areas = (body.drag_area_m2, body.down_area_m2, body.side_area_m2)
            k = (0.5 * self.water.density_kg_m3 * area for area in areas)
            self._body[node] = (body.wet_weight_n, body.mass_kg + body.added_mass_kg, *k, 1.0)

    # --- what can be read off ----------------------------------------------------------------

    @property
    def nodes_m(self) -> Array:
        """(N+1, 3) node positions north, east, down [m], free end first."""
        nodes: Array = self.x[:, :3]
        return nodes

    @property
    def top_tension_n(self) -> float:
        """Force of the line at the tow point [N]."""
        return float(np.linalg.norm(self.x[-1, 3:]))

    @property
    def end_velocity_mps(self) -> Array:
        """(3,) velocity of the free end [m/s]."""
        velocity: Array = self._v[0]
        return velocity

    def require_taut(self) -> None:
        """Refuse a shape that nothing pulls straight.

        Raises:
            NoSolution: the line lies together, so that where its end is means nothing.
        """
        chords = float(np.linalg.norm(np.diff(self.nodes_m, axis=0), axis=1).sum())
        length = float(self._elem[:, cable.LENGTH].sum())
        if chords < 0.99 * length:
            raise NoSolution(f"nothing pulls this line straight: {chords:.3g} m of {length:.3g} m are taut")

    def set_line_out(self, length_m: float) -> None:
        """Give the top segment a length [m], before settling."""
        self._elem[-self._top_elements :, cable.LENGTH] = max(length_m, SHORTEST_M) / self._top_elements

    # --- settled -----------------------------------------------------------------------------

    def settle(self, top_m: Array, speed_mps: float, heading_rad: float, turn_radps: float = 0.0) -> None:
        """Take the shape of a tow that has lasted for ever, straight or in a circle.

        Args:
            top_m: tow point north, east, down [m].
            speed_mps: of the tow point, along heading_rad.
            turn_radps: rate of turn, + to starboard; the current must then be zero.
        Raises:
            NoSolution: no steady shape was found.
        """
        velocity = speed_mps * np.array([math.cos(heading_rad), math.sin(heading_rad), 0.0])
        spin = turn_radps * np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 0.0]])
        self._elem[:, cable.PAYOUT] = 0.0
        self.x = self._first_guess(top_m, velocity)
        step = 0.5
        while not self._settle_step(top_m, velocity, spin, None):
            good = self._settle_step(top_m, velocity, spin, step)
            step *= 2.0 if good else 0.25
            if step < 1e-4 or step > 1e4:
                raise NoSolution("no steady shape found for this line and speed")
        self._v = velocity + (self.nodes_m - top_m) @ spin.T
        self._acceleration = self._v @ spin.T
        self._a = self._acceleration.copy()

    def _first_guess(self, top: Array, velocity: Array) -> Array:
        """A straight line down and aft, with the tension its loads would give it."""
        lengths = self._elem[:, cable.LENGTH]
        speed = float(np.linalg.norm(velocity))
        tension = 0.01 + np.abs(self._body[:, cable.WET_WEIGHT]) + self._body[:, cable.K_DRAG] * speed**2
        tension = np.cumsum(tension + self._body[:, cable.K_DOWN] * speed**2)
        along = np.array([0.0, 0.0, -1.0]) + velocity * (0.8 / speed if speed > 0.05 else 0.0)
        along /= np.linalg.norm(along)
        x = np.empty_like(self.x)
        height = np.concatenate(([0.0], np.cumsum(lengths)))
        x[:, :3] = top - (height[-1] - height)[:, None] * along
        x[:, 3:] = tension[:, None] * along
        return x

    def _settle_step(self, top: Array, velocity: Array, spin: Array, step_s: float | None) -> bool:
        """One step of pseudo time (None: no time at all); x changes only on success."""
        motion = np.stack([spin, spin @ spin])
        kv = np.tile(velocity - spin @ top, (len(self.x), 1))
        ka = np.tile(spin @ (velocity - spin @ top), (len(self.x), 1))
        if step_s is not None:
            motion[0] += np.eye(3) / step_s
            kv -= self.nodes_m / step_s
        return self._newton(self.x.copy(), motion, kv, ka, top, 20 if step_s is None else 15, 1e-9)

    def _newton(
        self, x: Array, motion: Array, kv: Array, ka: Array, top: Array, iterations: int, tolerance: float
    ) -> bool:
        line = (self._elem, self._body, self.water.gravity_m_s2, self.water.profile)
        used: int = newton(x, line, (motion, kv, ka), top, TAU_N, iterations, tolerance)
        if used > 0:
            self.x = x
        return used > 0

    # --- in time -----------------------------------------------------------------------------

    def march(
        self,
        t_s: float,
        step_s: float,
        tow_point_m: Callable[[float], Array],
        line_out_m: Callable[[float], float] | None = None,
    ) -> None:
        """Go from t_s to t_s + step_s.

        Args:
            tow_point_m: (3,) position of the tow point at a time [s].
            line_out_m: length of the top segment at a time; None leaves it as it is.
        Raises:
            NoSolution: not even in a thousand parts.
        """
        done, part = 0.0, step_s
        while done < step_s - 1e-12:
            jump = line_out_m is not None and self._pay_out(t_s + done, part, line_out_m)
            top = tow_point_m(t_s + done + part)
            if (not jump and self._step(part, top)) or self._restart_step(part, top):
                done += part
                grown = min(2.0 * part, step_s)
                if abs(done / grown - round(done / grown)) < 1e-9:
                    part = grown
            else:
                part *= 0.5
                if part < step_s / 2**MOST_HALVINGS * 0.99:
                    raise NoSolution(f"the line could not be marched past {t_s + done:.3f} s")

    def _step(self, h: float, top: Array) -> bool:
        """One step of generalised alpha with a new x, v, a, or nothing changed and False."""
        r, v, a = self.nodes_m, self._v, self._a
        r_known = r + h * v + h * h * (0.5 - BETA) * a
        v_known = v + h * (1.0 - GAMMA) * a
        av, aa = GAMMA / (BETA * h), 1.0 / (BETA * h * h)
        ratio = (1.0 - ALPHA_M) / (1.0 - ALPHA_F)
        rest = (ALPHA_M * a - ALPHA_F * self._acceleration) / (1.0 - ALPHA_F)
        motion = np.stack([av * np.eye(3), ratio * aa * np.eye(3)])
        guess = self.x.copy()
        guess[:, :3] += h * v
        if not self._newton(
            guess, motion, v_known - av * r_known, rest - ratio * aa * r_known, top, 12, 1e-7
        ):
            return False
        self._a = aa * (self.nodes_m - r_known)
        self._v = v_known + h * GAMMA * self._a
        self._acceleration = ratio * self._a + rest
        return True

    def _restart_step(self, h: float, top: Array) -> bool:
        """One step of backward Euler that forgets the accelerations: for velocities that jump."""
        r, v = self.nodes_m.copy(), self._v
        motion = np.stack([np.eye(3) / h, np.eye(3) / (h * h)])
        guess = self.x.copy()
        guess[:, :3] += h * v
        if not self._newton(guess, motion, -r / h, -r / (h * h) - v / h, top, MOST_ITERATIONS, 1e-7):
            return False
        self._v = (self.nodes_m - r) / h
        self._a = np.zeros_like(v)
        self._acceleration = np.zeros_like(v)
        return True

    def _pay_out(self, t_s: float, h: float, line_out_m: Callable[[float], float]) -> bool:
        """Give the top segment its length at t + h; line runs through the nodes as it is let out or in.

        Returns:
            Whether the speed of the line has jumped.
        """
        n = self._top_elements
        length, before = line_out_m(t_s + h), line_out_m(t_s)
        middle = (np.arange(n) + 0.5) / n
        slide = middle * (length - before) / h
        jump = abs(slide[-1] - self._elem[-1, cable.PAYOUT]) > JUMP_MPS
        self._elem[-n:, cable.LENGTH] = max(length, SHORTEST_M) / n
        self._elem[-n:, cable.PAYOUT] = slide
        return bool(jump)
