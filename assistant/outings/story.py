"""An outing put through the flow again, and what of it goes into a report."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from assistant import replay_reader
from assistant.alerts.statistics import Told as Counts
from assistant.configured import Config
from assistant.errors import LogError
from assistant.messages import BoatState, Event, Frame, Quiet
from assistant.outings import lull
from assistant.outings.deep_water import DeepWater, deep_water
from assistant.outings.effort import Strike, Table
from assistant.outings.quiet import Verdict, silence_of
from assistant.outings.rates import DEFAULT_PRIOR
from assistant.outings.tally import Catch, catches

PLACE_S = 10.0
USABLE = ("ok", "doubtful")
LONG_S = 1800.0  # a shorter silence is not told of
LOOK_S = 300.0  # between two looks back into a silence
CURVE_MIN = 2  # between two points of the curve of chances


@dataclass(frozen=True, slots=True)
class Place:
    """Where the boat was."""

    t_s: float
    lat_deg: float
    lon_deg: float


@dataclass(frozen=True, slots=True)
class Spell:
    """One silence: from a strike (None: the start) to the next (None: the end), and how it was judged."""

    from_s: float | None
    to_s: float
    judged_s: float  # when it was judged
    ended_by_strike: bool
    verdict: Verdict
    water: DeepWater | None


@dataclass(slots=True)
class Story:
    """All that a report says of an outing."""

    outing: str
    config: Config
    mode: str
    utc: str | None = None  # of t_s = 0
    seconds: float = 0.0
    places: list[Place] = field(default_factory=list)
    said: list[Quiet] = field(default_factory=list)
    table: Table | None = None
    told: tuple[Event, ...] = ()
    alerts: dict[str, object] = field(default_factory=dict)
    spells: list[Spell] = field(default_factory=list)
    chances: list[tuple[float, float]] = field(default_factory=list)  # t_s, chance of the silence that runs
    water: DeepWater | None = None  # at the end

    @property
    def caught(self) -> list[Catch]:
        """Every strike."""
        return catches(self.told)

    @property
    def strikes(self) -> list[Strike]:
        """The same as the judge counts them."""
        return lull.strikes(self.told)

    @property
    def lat_deg(self) -> float:
        """Where it was, for what turns with the earth."""
        return self.places[-1].lat_deg if self.places else 45.0


def read(path: Path, config: Config, seed: int) -> Story:
    """Put an outing, or a raw log, through the flow and judge its silences.

    Raises:
        LogError: it cannot be read, or is shorter than a minute.
    """
    story = followed(path, config, seed)
    assert story.table is not None
    _judge(story, story.table)
    return story


def followed(
    path: Path,
    config: Config,
    seed: int,
    see: Callable[[BoatState], None] | None = None,
    every_s: float = 0.0,
) -> Story:
    """The same without a word on its silences.

    Args:
        see: given the boat of every Frame; every_s: Frames nearer to the last one are not made.

    Raises:
        LogError: it cannot be read, or is shorter than a minute.
    """
    from assistant import pipeline  # compiled code loads while the outing is being read

    story, counts = Story(path.name, config, "replayed"), Counts()
    with replay_reader.located(path, config.boat) as located:
        state = pipeline.initial_lines(config, "replayed", seed)
        for instant in located:
            if instant.boat is None or instant.t_s - story.seconds < every_s:
                state = pipeline.follow(state, instant)
                continue
            state, frame = pipeline.frame_of(state, instant, drawn=False)
            counts.add(frame.t_s, frame.alerts)
            _take(story, frame)
            if see is not None:
                see(instant.boat)
    story.table, story.told, story.alerts = state.lull.table, state.lull.told, counts.summary()
    if story.table is None or not len(story.table.t_s):
        raise LogError(f"{path.name}: shorter than a minute; there is nothing to report")
    return story


def _take(story: Story, frame: Frame) -> None:
    """What is kept of one Frame."""
    from assistant.sensing.dates import iso_of_seconds, seconds_of_iso

    story.seconds = frame.t_s
    if story.utc is None and frame.utc is not None and (now := seconds_of_iso(frame.utc)) is not None:
        story.utc = iso_of_seconds(now - frame.t_s)
    lat, lon = frame.boat["lat_deg"], frame.boat["lon_deg"]
    due = not story.places or frame.t_s - story.places[-1].t_s >= PLACE_S
    if (
        due
        and lat.state in USABLE
        and lon.state in USABLE
        and lat.value is not None
        and lon.value is not None
    ):
        story.places.append(Place(frame.t_s, lat.value, lon.value))
    if frame.quiet is not None and (not story.said or frame.quiet != story.said[-1]):
        story.said.append(frame.quiet)


def _judge(story: Story, table: Table) -> None:
    """The silences of the day, each at its end, and the curve of chances."""
    strikes = story.strikes
    story.water = deep_water(table, story.config.boat, story.lat_deg)
    edges: Sequence[float | None] = [None, *(s.t_s for s in strikes)]
    ends = [*(s.t_s for s in strikes), story.seconds]
    for n, (began, end) in enumerate(zip(edges, ends, strict=True)):
        if end - (began or 0.0) < LONG_S or (began is None and strikes):
            continue
        past = [s for s in strikes if s.t_s < end] if began is not None else []
        story.spells.append(_spell(story, table, past, began, end, n < len(strikes)))
    for n in range(CURVE_MIN, len(table.t_s), CURVE_MIN):
        at_s = float(table.t_s[n])
        past = [s for s in strikes if s.t_s <= at_s]
        if past:
            story.chances.append((at_s, silence_of(table.until(at_s), past, 1.0, DEFAULT_PRIOR).chance))


def _spell(
    story: Story, table: Table, past: Sequence[Strike], began: float | None, end: float, by_strike: bool
) -> Spell:
    """A silence as judged at the look at which a cause was named with most belief; if none ever was, at its end.

    What ends a silence is often what was changed in it: at its end nothing differs any more.
    """
    looks: list[Spell] = []
    at_s = end - 1e-6
    while not looks or at_s > (began or 0.0):
        now = table.until(at_s)
        water = deep_water(now, story.config.boat, story.lat_deg)
        looks.append(
            Spell(began, end, at_s, by_strike, lull.judged(now, past, at_s, story.config, water), water)
        )
        at_s -= LOOK_S
    named = [spell for spell in looks if spell.verdict.named is not None]
    return max(named, key=lambda spell: spell.verdict.beliefs[spell.verdict.named or ""], default=looks[0])


def worst(story: Story) -> Spell | None:
    """The silence that was the least likely; None: there was none of half an hour."""
    return min(
        story.spells, key=lambda spell: (spell.verdict.silence.chance, spell.from_s or 0.0), default=None
    )
