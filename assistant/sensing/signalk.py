"""A line of Signal K (JSON) -> readings in SI. Pure; never raises on any text.

Taken is what a stream says of its own vessel: a delta without a context, of "vessels.self", or of the vessel that the
stream's hello calls its own. Each `$source` (else the label of `source`) is a source by itself, like a wire:
"<source>#<$source>/delta". What we said ourselves is refused, so that nothing goes round in a circle: by our name,
and, as servers rename what they relay, every source that ever says a path of ours.

JSON has no checksum and a server repeats what it knows to everyone who connects, hence besides the gates that a
sentence passes: strict JSON without NaN, and the same value with the same timestamp is no news ("repeat"). A null is
no reading and no reject. What fails is named in `rejects` as "delta <reason>", reason one of REASONS.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import NamedTuple

from assistant.messages import OWN_LABEL, Sentence
from assistant.sensing import dates
from assistant.sensing.signalk_values import KIND, Heard, Said, Update, is_ours, is_read, moment_s, objects

__all__ = ["NEW", "REASONS", "Said", "Stream", "Streams", "decode", "heard", "is_signalk", "moment_of"]

REASONS = (
    *("json", "form", "other vessel", "own", "sources", "time", "repeat"),
    *("number", "range", "lost bottom", "null position", "keel"),
)

SELF = "vessels.self"
SOURCES_MOST = 32  # of one stream: names somebody makes up must not grow
NAME_LONGEST = 64

_odd = re.compile(r"[^A-Za-z0-9._:-]")

JsonObject = dict[str, object]


class Stream(NamedTuple):
    """What is remembered of one wire. `own` is the context of its own vessel, as its hello said."""

    own: str | None = None
    sources: Mapping[str, Heard] = {}


NEW = Stream()

Streams = Mapping[str, Stream]
"""By the source of the sentences. Never changed in place."""


def is_signalk(text: str) -> bool:
    """Whether a framed line is JSON and no sentence."""
    return text.startswith("{")


def heard(streams: Streams, sentence: Sentence) -> tuple[Streams, Said]:
    """Read one line; the streams with what it changes."""
    old = streams.get(sentence.source, NEW)
    new, said = decode(old, sentence)
    return (streams if new is old else {**streams, sentence.source: new}), said


def decode(stream: Stream, sentence: Sentence) -> tuple[Stream, Said]:
    """Read one line of a stream.

    Args:
        stream: as left by the line before; stays valid.
        sentence: its text begins with a brace.
    """
    said = Said()
    delta = _loaded(sentence.text)
    if delta is None:
        said.refuse("json")
        return stream, said
    if "updates" not in delta:
        own = _hello(delta)
        said.unused = own is None
        return (stream if own in (None, stream.own) else stream._replace(own=own)), said
    context = delta.get("context", SELF)
    if context != SELF and (stream.own is None or context != stream.own):
        said.refuse("other vessel" if isinstance(context, str) else "form")
        return stream, said
    for update in objects(delta["updates"], said):
        if "values" in update:
            stream = _update(stream, sentence, update, said)
    return stream, said


def moment_of(text: str) -> tuple[str, int, float] | None:
    """(source, day since 1970-01-01, seconds after midnight) of the latest timestamp in a delta, if it has one."""
    delta = _loaded(text)
    updates = delta.get("updates") if delta is not None else None
    found: list[tuple[float, str]] = []
    for update in updates if isinstance(updates, list) else ():
        seconds = moment_s(update.get("timestamp")) if isinstance(update, dict) else None
        if seconds is not None:
            found.append((seconds, _source(update) or ""))
    if not found:
        return None
    seconds, source = max(found)
    day, time_of_day_s = divmod(seconds, dates.DAY_S)
    return source, int(day), time_of_day_s


def _refused(word: str) -> float:
    raise ValueError(f"{word} is no JSON")


def _unique(pairs: list[tuple[str, object]]) -> JsonObject:
    """An object; one that says a thing twice says nothing."""
    made = dict(pairs)
    if len(made) < len(pairs):
        raise ValueError("a name twice")
    return made


def _loaded(text: str) -> JsonObject | None:
    try:
        loaded = json.loads(text, parse_constant=_refused, object_pairs_hook=_unique)
    except (ValueError, RecursionError):
        return None
    return loaded if isinstance(loaded, dict) else None


def _hello(message: JsonObject) -> str | None:
    """The context of the stream's own vessel, if this is a hello that names one."""
    own = message.get("self")
    if not ("version" in message and isinstance(own, str) and 0 < len(own) <= 200):
        return None
    return own if own.startswith("vessels.") else f"vessels.{own}"


def _source(update: JsonObject) -> str | None:
    """The name of an update's source, in letters that may stand in a source; None if it is no name."""
    name, source = update.get("$source"), update.get("source")
    if name is None and isinstance(source, dict):
        parts = (source.get("label"), source.get("src") or source.get("talker"))
        name = ".".join([part for part in parts if isinstance(part, str) and part])
    if name is None and source is None:
        return ""
    return _odd.sub("_", name[:NAME_LONGEST]) if isinstance(name, str) else None


def _update(stream: Stream, sentence: Sentence, update: JsonObject, said: Said) -> Stream:
    name = _source(update)
    if name is None:
        said.refuse("form")
        return stream
    if name.split(".")[0] == OWN_LABEL:
        said.refuse("own")
        return stream
    values = list(objects(update["values"], said))
    known = stream.sources.get(name)
    if (known is not None and known.ours) or any(is_ours(item.get("path")) for item in values):
        said.refuse("own")
        room = known is not None or len(stream.sources) < SOURCES_MOST
        return stream._replace(sources={**stream.sources, name: Heard(ours=True)}) if room else stream
    if known is None and not any(is_read(item.get("path")) for item in values):
        said.unused += len(values)
        return stream
    if known is None and len(stream.sources) >= SOURCES_MOST:
        said.refuse("sources")
        return stream
    stamp = update.get("timestamp", "")
    if isinstance(stamp, str) and moment_s(stamp) is not None:
        said.stamp = max(said.stamp or stamp, stamp)
    elif "timestamp" in update:
        said.refuse("time")
        stamp = ""
    wire = f"{sentence.source}#{name}" if name else sentence.source
    one = Update(sentence.t_s, f"{wire}/{KIND}", str(stamp), known or Heard(), said)
    for item in values:
        one.take(item.get("path"), item.get("value"))
    return stream._replace(sources={**stream.sources, name: one.memory})
