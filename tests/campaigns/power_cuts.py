"""Recorded outings when the power goes, the disk fills or a file is damaged: what is readable, what promised falsely.

--n of each: a recording process killed (kill -9) at a random moment; where root, loop devices and ext4 allow it, the
same with a power cut (FS_IOC_SHUTDOWN without flushing the log drops all that was not synced, but it neither reorders
nor tears sectors, and no card that lies about flushing is played); 20 n random bits flipped. Once: the last record cut
at every byte; every operation on files failing in turn, once and from then on; a full disk (a small tmpfs where root)
emptied again; a disk whose every sync takes 3 s; half a minute of 20 sentences a second onto an ext4 of its own, whose
written sectors are counted and carried on to a day of 14 h. Prints one JSON object last.
"""

from __future__ import annotations

import argparse
import contextlib
import errno
import fcntl
import itertools
import json
import os
import shutil
import struct
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from pathlib import Path
from random import Random
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "outings"))

from faulty_files import FaultyFiles, failing, slow
from outing_tools import inputs_at, recorder

from assistant.messages import Event, Inputs, Sentence
from assistant.outings import recorder as module
from assistant.outings.entries import Told
from assistant.outings.recording import Outing
from assistant.outings.store import folder_of, ids, segments

SHUTDOWN = 0x8004587D  # _IOR('X', 125, __u32), linux/fs: FS_IOC_SHUTDOWN
NO_LOG_FLUSH = struct.pack("I", 2)


def child(root: Path) -> None:
    """Record until killed: a step every 20 ms at its true time, now and then an event; prints what was told saved."""
    one = recorder(root)
    told: list[Future[int]] = []
    tick = 0
    while True:
        now_s = time.monotonic()
        one.step(Inputs(now_s, tuple(Sentence(now_s, "udp:1", f"$GPTXT,{tick},{i}") for i in range(5))), True)
        if tick % 150 == 50:
            told.append(one.tell(Told(Event(now_s, "touch"))))
        for future in [one for one in told if one.done()]:
            told.remove(future)
            if future.exception() is None:
                os.write(1, f"{future.result()}\n".encode())
        tick += 1
        time.sleep(0.02)


def outings_below(root: Path) -> list[Outing]:
    """All outings."""
    return [Outing(folder_of(root, name)) for name in ids(root)]


def looked(root: Path, promised: set[int], cut_s: float) -> dict[str, Any]:
    """What is left of the one outing below `root` after a cut at `cut_s`."""
    outings = outings_below(root)
    entries = {number: entry for outing in outings for number, entry in outing.entries()}
    steps = [inputs.t_s for outing in outings for inputs, _ in outing.steps()]
    return {
        "unreadable": sum(outing.opening is None for outing in outings if list(outing.entries())),
        "false_saved": len(promised - set(entries)),
        "saved_lost": sum(outing.checked().lost for outing in outings),
        "tail_s": cut_s - max(steps) if steps else None,
    }


def cut_while_recording(root: Path, after_s: float, cut: Callable[[], None]) -> tuple[set[int], float]:
    """Start the child, cut after a time; what was told saved, and when it was cut."""
    command = [sys.executable, __file__, "--child", str(root)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
    end_s = time.monotonic() + 60.0
    while not ids(root) and time.monotonic() < end_s:
        time.sleep(0.01)
    time.sleep(after_s)
    cut()
    cut_s = time.monotonic()
    process.kill()
    said = process.communicate()[0]
    return {int(line) for line in said.splitlines(keepends=True) if line.endswith(b"\n")}, cut_s


def kills(random: Random, n: int, folder: Path) -> list[dict[str, Any]]:
    """kill -9 at random moments."""
    found = []
    for number in range(n):
        root = folder / f"kill{number}"
        root.mkdir()
        promised, cut_s = cut_while_recording(root, random.uniform(0.05, 4.0), lambda: None)
        found.append(looked(root, promised, cut_s))
    return found


@contextlib.contextmanager
def mounted(options: list[str], source: str, place: Path) -> Iterator[None]:
    """Something mounted. Raises OSError or CalledProcessError where that is not allowed."""
    place.mkdir(exist_ok=True)
    subprocess.run(["mount", *options, source, str(place)], check=True, capture_output=True)
    try:
        yield
    finally:
        subprocess.run(["umount", str(place)], check=False, capture_output=True)


def shut_down(place: Path) -> None:
    """Drop all that is not on the disk of the filesystem at `place`."""
    handle = os.open(place, os.O_RDONLY)
    try:
        fcntl.ioctl(handle, SHUTDOWN, NO_LOG_FLUSH)
    finally:
        os.close(handle)


def power_cuts(random: Random, n: int, folder: Path) -> list[dict[str, Any]]:
    """Cuts on an ext4 of its own, the same one again and again. Raises where it is not allowed."""
    image, place = folder / "disk", folder / "mnt"
    with image.open("wb") as stream:
        stream.truncate(32 << 20)
    subprocess.run(["mkfs.ext4", "-q", "-F", str(image)], check=True, capture_output=True)
    found = []
    for number in range(n):
        root = place / f"cut{number}"
        with mounted(["-o", "loop"], str(image), place):
            root.mkdir()
            os.sync()
            after_s = random.uniform(0.05, 4.0)
            promised, cut_s = cut_while_recording(root, after_s, lambda: shut_down(place))
        with mounted(["-o", "loop"], str(image), place):
            found.append(looked(root, promised, cut_s))
            shutil.rmtree(root)
    return found


def damage(random: Random, n: int, folder: Path) -> dict[str, int]:
    """The last record cut at every byte, and n random flips in a whole file: what is lost besides what was hit."""
    root = folder / "damage"
    one = recorder(root)
    for tick in range(40):
        one.step(inputs_at(tick), True)
    one.close(1e3)
    (path,) = segments(folder_of(root, ids(root)[0]))
    data = path.read_bytes()
    whole = dict(Outing(path.parent).entries())
    found = {"cuts": 0, "flips": 0, "exceptions": 0, "false_records": 0, "lost_unhit": 0}
    changed = [("cuts", data[:length]) for length in range(len(data) - 80, len(data))]
    for _ in range(n):
        bit = random.randrange(8 * len(data))
        flipped = bytearray(data)
        flipped[bit // 8] ^= 1 << bit % 8
        changed.append(("flips", bytes(flipped)))
    for kind, content in changed:
        path.write_bytes(content)
        found[kind] += 1
        try:
            entries = dict(Outing(path.parent).entries())
        except Exception:  # noqa: BLE001  # whatever it is, it is one too many
            found["exceptions"] += 1
            continue
        found["false_records"] += sum(whole.get(number) != entry for number, entry in entries.items())
        found["lost_unhit"] += max(0, len(whole) - len(entries) - 1 - (kind == "cuts"))
    return found


def failing_operations(folder: Path) -> dict[str, int]:
    """Every operation failing in turn, once and from then on, EIO and ENOSPC."""
    found = {"runs": 0, "false_saved": 0, "unreadable": 0}
    for number in (errno.EIO, errno.ENOSPC):
        for lasting in (1, 10**9):
            for at in range(1, 25):
                root = folder / f"op{number}-{lasting}-{at}"
                one = recorder(root, FaultyFiles(fault=failing(at, at + lasting, number)))
                told = []
                for tick in range(5):
                    one.step(inputs_at(tick), True)
                    told.append(one.tell(Told(Event(tick * 0.25, "touch"))))
                    time.sleep(0.004)
                one.close(1.0)
                promised = {future.result() for future in told if future.exception(5.0) is None}
                left = looked(root, promised, 0.0)
                found["runs"] += 1
                found["false_saved"] += left["false_saved"]
                found["unreadable"] += left["unreadable"]
    return found


def full_disk(folder: Path) -> dict[str, Any]:
    """A disk that fills while recording, and is emptied: when it is said, when it goes on, what is lost."""
    place = folder / "small"
    with mounted(["-t", "tmpfs", "-o", "size=256k"], "tmpfs", place):
        one = recorder(place / "outings")
        wait_for(lambda: one.status.recording)
        filler = place / "filler"
        with contextlib.suppress(OSError), filler.open("wb", buffering=0) as stream:
            while True:
                stream.write(bytes(4096))
        began_s, tick = time.monotonic(), 0
        while one.status.recording and time.monotonic() - began_s < 30.0:
            one.step(inputs_at(tick), True)
            tick += 1
            time.sleep(0.01)
        said_s = time.monotonic() - began_s
        filler.unlink()
        began_s = time.monotonic()
        wait_for(lambda: one.status.recording)
        back_s = time.monotonic() - began_s
        one.close(1e3)
        (outing,) = outings_below(place / "outings")
        return {"said_s": said_s, "back_s": back_s, "steps_lost": tick - len(list(outing.steps()))}


def slow_disk(folder: Path) -> dict[str, float]:
    """Every sync takes 3 s: how long a step waits at most."""
    one = recorder(folder / "slow", FaultyFiles(fault=slow("sync", 3.0)))
    worst_s, end_s, tick = 0.0, time.monotonic() + 7.0, 0
    while time.monotonic() < end_s:
        began_s = time.monotonic()
        one.step(inputs_at(tick), True)
        worst_s = max(worst_s, time.monotonic() - began_s)
        tick += 1
        time.sleep(0.01)
    one.close(1e3, 20.0)
    return {"worst_wait_ms": 1e3 * worst_s, "steps": tick}


def day_on_card(folder: Path) -> dict[str, float]:
    """Bytes of an outing and bytes written to the device in a day of 14 h, from half a minute."""
    image, place = folder / "card", folder / "cardmnt"
    with image.open("wb") as stream:
        stream.truncate(64 << 20)
    subprocess.run(["mkfs.ext4", "-q", "-F", str(image)], check=True, capture_output=True)
    log = itertools.cycle(CYCLE)
    with mounted(["-o", "loop"], str(image), place):
        device = Path(f"/sys/dev/block/{os.major(place.stat().st_dev)}:{os.minor(place.stat().st_dev)}/stat")
        one = recorder(place / "outings")
        wait_for(lambda: one.status.recording)
        time.sleep(6.0)  # what making the filesystem left to write
        before, began_s, tick = _sectors(device), time.monotonic(), 0
        size = sum(path.stat().st_size for path in place.rglob("*.outing"))
        while tick < 120:
            time.sleep(max(0.0, began_s + tick * 0.25 - time.monotonic()))
            now_s = time.monotonic() - 1e-3
            one.step(
                Inputs(tick * 0.25, tuple(Sentence(now_s, "udp:10110", next(log)) for _ in range(5))), True
            )
            tick += 1
        time.sleep(2.0)
        written = (_sectors(device) - before) * 512
        size = sum(path.stat().st_size for path in place.rglob("*.outing")) - size
        one.close(1e3)
    day = 14 * 3600 / 30
    return {"outing_mb_a_day": round(size * day / 1e6, 1), "written_mb_a_day": round(written * day / 1e6, 1)}


def _sectors(device: Path) -> int:
    """Sectors of 512 bytes written so far (Linux, Documentation/block/stat)."""
    return int(device.read_text().split()[6])


CYCLE = [
    f"$GPRMC,12{i % 60:02d}{i * 7 % 60:02d}.00,A,45{i * 3 % 60:02d}.{i * 7919 % 10000:04d},N,030{i % 60:02d}."
    f"{i * 104729 % 10000:04d},W,{i * 37 % 300 / 100:.2f},{i * 113 % 3600 / 10:.1f},180726,9.0,W,A*{i % 256:02X}"
    for i in range(997)
]
"""Sentences of 73 characters, most of it changing."""


def wait_for(condition: Callable[[], bool], timeout_s: float = 20.0) -> None:
    """Wait until it is so, or long enough."""
    end_s = time.monotonic() + timeout_s
    while not condition() and time.monotonic() < end_s:
        time.sleep(0.01)


def totals(found: list[dict[str, Any]]) -> dict[str, Any]:
    """Counts added up, and the longest tail that was lost."""
    tails = [one["tail_s"] for one in found if one["tail_s"] is not None]
    counts = {key: sum(one[key] for one in found) for key in ("unreadable", "false_saved", "saved_lost")}
    return {"runs": len(found), **counts, "worst_tail_s": round(max(tails), 3) if tails else None}


def tried(work: Callable[[], Any]) -> Any:
    """What it gives, or in words why this machine does not allow it."""
    try:
        return work()
    except subprocess.CalledProcessError as error:
        return f"not possible here: {error.stderr.decode(errors='replace').strip()[:120]}"
    except OSError as error:
        return f"not possible here: {error}"


def main(argv: list[str] | None = None) -> dict[str, Any]:
    """Run all; returns what it prints."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--n", type=int, default=10)
    parser.add_argument("--child", type=Path, help=argparse.SUPPRESS)
    args = parser.parse_args(argv)
    if args.child:
        child(args.child)
    random = Random(args.seed)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        result = {
            "seed": args.seed,
            "n": args.n,
            "kills": totals(kills(random, args.n, folder)),
            "power_cuts": tried(lambda: totals(power_cuts(random, args.n, folder))),
            "damage": damage(random, 20 * args.n, folder),
            "full_disk": tried(lambda: full_disk(folder)),
            "slow_disk": slow_disk(folder),
            "card": tried(lambda: day_on_card(folder)),
        }
        module.SYNC_S, module.RETRY_S = 0.02, 0.02
        result["operations"] = failing_operations(folder)
    print(json.dumps(result))
    return result


if __name__ == "__main__":
    main()
