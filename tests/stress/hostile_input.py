"""Hostile inputs by the hundred thousand: what was tried, how it was refused, what broke.

    python -m tests.stress.hostile_input SURFACE [COUNT] [--from SEED] [--atheris]

SURFACE is one of study, orders-csv, orders-xlsx, artwork, trial, extremes, address, edits, months
and widgets; `all` tries them one after the other. Prints the inputs tried, the refusals by kind of
message, the longest time and the most memory, and ends with 1 where a promise was broken. An
input that breaks one is kept in tests/stress/found/SURFACE/. The promises: nothing but a
`CapexError`, whose message names the place and is short enough to be read; no input takes more
than 5 s of processor time (the machine is shared) or 60 s by the clock; none takes more than
500 MB beyond what was there before it. Linux tells the most memory of each input by itself;
elsewhere it is that of the process's whole life, so that one behind a larger one passes.
"""

import argparse
import hashlib
import importlib
import os
import random
import re
import resource
import signal
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from types import FrameType
from typing import NamedTuple
from unittest.mock import patch

sys.path.insert(0, str(Path(__file__).parents[1]))
if "--atheris" in sys.argv:  # coverage is counted in what is imported from here on
    import atheris

    with atheris.instrument_imports(include=["capex", "stress"]):
        importlib.import_module("stress.ways_in")

from capex.errors import CapexError, InputError

#: What no input may take: processor time [s], time by the clock [s], memory [bytes].
LONGEST, CLOCK, MOST = 5.0, 60.0, 500_000_000
#: What no message may exceed [characters].
READABLE = 150_000
FOUND = Path(__file__).parent / "found"


def say(line: str) -> None:
    """Write a line at once: a run may be stopped at any time."""
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


class TooLong(BaseException):
    """Past the time that any input may take."""


@contextmanager
def bounded(longest: float, clock: float) -> Iterator[None]:
    """Raise `TooLong` past so much processor time or time by the clock [s]."""

    def expired(sign: int, frame: FrameType) -> None:
        where = f"in {frame.f_code.co_filename}:{frame.f_lineno}"
        if sign == signal.SIGALRM:
            raise TooLong(f"takes more than {clock:g} s by the clock, {where}")
        raise TooLong(f"takes more than {longest:g} s of processor time, {where}")

    kinds = {signal.SIGPROF: signal.ITIMER_PROF, signal.SIGALRM: signal.ITIMER_REAL}
    before = {sign: signal.signal(sign, expired) for sign in kinds}
    try:
        signal.setitimer(signal.ITIMER_PROF, longest)
        signal.setitimer(signal.ITIMER_REAL, clock)
        yield
    finally:
        for timer in kinds.values():
            signal.setitimer(timer, 0)
        for sign, handler in before.items():
            signal.signal(sign, handler)


def peak() -> int:
    """Return the most memory held since `forget_peak`, or ever where Linux does not tell [bytes].

    See proc_pid_status(5), VmHWM; reading it and forgetting it take about 0.1 ms an input.
    """
    with suppress(OSError):
        for line in Path("/proc/self/status").read_text().splitlines():
            if line.startswith("VmHWM:"):
                return int(line.split()[1]) * 1024
    unit = 1 if sys.platform == "darwin" else 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit


def forget_peak() -> None:
    """Let the most memory held be what is held now: proc_pid_clear_refs(5), value 5."""
    with suppress(OSError):
        Path("/proc/self/clear_refs").write_text("5")


def broken_promise(error: BaseException) -> str | None:
    """Return what an exception breaks, None where it is a good refusal."""
    if isinstance(error, TooLong):
        return str(error)
    if not isinstance(error, CapexError):
        where = traceback.extract_tb(error.__traceback__)[-1]
        return f"{type(error).__name__} at {Path(where.filename).name}:{where.lineno}: {error}"[
            :300
        ]
    if len(str(error)) > READABLE:
        return f"a message of {len(str(error)):,} characters"
    if not str(error).strip() or (isinstance(error, InputError) and not error.field):
        return "a message without a place"
    return None


class Outcome(NamedTuple):
    """What became of an input: what was said, the promise broken, the memory taken [bytes]."""

    said: str
    fault: str | None
    memory: int


def tried(
    taken: Callable[[bytes], str], body: bytes, longest: float = LONGEST, clock: float = CLOCK
) -> Outcome:
    """Return what became of an input, within so much processor time and time by the clock [s]."""
    forget_peak()
    before = peak()
    try:
        with bounded(longest, clock):
            said, fault = taken(body), None
    except BaseException as error:
        if isinstance(error, (KeyboardInterrupt, SystemExit)):
            raise
        from stress.surfaces import refusal

        fault = broken_promise(error)
        said = "" if fault else refusal(error)
    memory = peak() - before
    if fault is None and memory > MOST:
        fault = f"takes {memory / 1e6:,.0f} MB"
    return Outcome(said, fault, memory)


def kind(message: str) -> str:
    """Return a message without its values."""
    plain = re.sub(r"'[^']*'|\"[^\"]*\"|“[^”]*”", "'…'", message)
    return re.sub(r"[-+]?\d[\d.,e+-]*", "0", plain)[:90]


def keep(surface: str, body: bytes, seed: object, fault: str, long: bool) -> Path:
    """Keep an input with what it breaks; one that is large is kept by its seed alone."""
    folder = FOUND / surface
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / hashlib.sha256(body).hexdigest()[:12]
    if not long:
        path.with_suffix(".bin").write_bytes(body)
    path.with_suffix(".txt").write_text(f"seed {seed}\n{fault}\n", encoding="utf-8")
    return path


def kept_input(path: Path) -> bytes:
    """Return an input that was kept: its bytes, or what its name or seed makes once more.

    Raises
    ------
    ValueError
        It cannot be made once more, or its seed makes another one by now.
    """
    from stress.mutations import BytesRandom
    from stress.ways_in import WAYS_IN

    if path.with_suffix(".bin").exists():
        return path.with_suffix(".bin").read_bytes()
    surface = WAYS_IN[path.parent.name]
    seed = path.with_suffix(".txt").read_text(encoding="utf-8").splitlines()[0]
    seed = seed.removeprefix("seed ")
    if seed.startswith("handmade: "):
        return surface.named(seed.removeprefix("handmade: "))
    guide = seed.removeprefix("bytes: ")
    draws = random.Random(int(seed)) if guide == seed else BytesRandom(bytes.fromhex(guide))
    body = surface.made(draws)
    if hashlib.sha256(body).hexdigest()[:12] != path.stem:
        raise ValueError(f"{path}: seed {seed} makes another input by now")
    return body


class Record:
    """What a run has seen."""

    def __init__(self, surface: str) -> None:
        self.surface, self.kinds = surface, Counter()
        self.faults: dict[str, object] = {}
        self.count, self.longest, self.slowest = 0, 0.0, None
        self.most, self.largest, self.start = 0, None, time.process_time()

    def take(self, taken, body: bytes, seed: object) -> None:
        begun = time.process_time()
        said, fault, memory = tried(taken, body)
        spent = time.process_time() - begun
        self.count += 1
        if spent > self.longest:
            self.longest, self.slowest = spent, seed
        if memory > self.most:
            self.most, self.largest = memory, seed
        if fault is None:
            self.kinds[kind(said)] += 1
            return
        self.kinds["BROKEN"] += 1
        if kind(fault) not in self.faults:
            self.faults[kind(fault)] = seed
            path = keep(self.surface, body, seed, fault, len(body) > 100_000)
            say(f"broken by {seed}: {fault}\n  kept as {path.name}")

    def tell(self) -> None:
        minutes = (time.process_time() - self.start) / 60
        say(f"\n{self.surface}: {self.count:,} inputs in {minutes:.1f} min of processor time")
        for said, count in self.kinds.most_common(25):
            say(f"  {count:>8,}  {said}")
        if len(self.kinds) > 25:
            say(f"  and {len(self.kinds) - 25} kinds more")
        say(f"longest {self.longest:.2f} s ({self.slowest})")
        say(f"most memory {self.most / 1e6:,.0f} MB ({self.largest})")
        say(f"broken: {self.kinds['BROKEN']:,} inputs, {len(self.faults)} kinds")


def run(name: str, count: int, first: int, handmade: bool) -> Record:
    """Try the handmade inputs of a surface, then so many from seeds."""
    from stress.ways_in import WAYS_IN

    surface, record = WAYS_IN[name], Record(name)
    for some in surface.handmade if handmade else ():
        for said, body in some().items():
            record.take(surface.taken, body, f"handmade: {said}")
    for seed in range(first, first + count):
        record.take(surface.taken, surface.made(random.Random(seed)), seed)
    record.tell()
    return record


def guided(name: str, count: int) -> None:
    """Let coverage choose: atheris draws the bytes that the choices are taken from."""
    from stress.mutations import BytesRandom
    from stress.ways_in import WAYS_IN

    surface, record = WAYS_IN[name], Record(name)

    def one(data: bytes) -> None:
        record.take(surface.taken, surface.made(BytesRandom(data)), f"bytes: {data.hex()}")
        if record.count == count:
            record.tell()
            os._exit(1 if record.faults else 0)  # else atheris ends the process with 0

    # its own timer is off: it would be the one that bounds an input's time by the clock
    flags = [f"-runs={count + 9}", "-max_len=400", "-len_control=0", "-timeout=0", "-verbosity=0"]
    atheris.Setup([sys.argv[0], *flags], one)
    atheris.Fuzz()


def main(words: list[str] | None = None) -> int:
    """Try what is asked for; return 1 where a promise was broken."""
    from stress.ways_in import WAYS_IN

    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("surface", choices=[*WAYS_IN, "all"])
    parser.add_argument("count", nargs="?", type=int, default=1000)
    parser.add_argument("--from", dest="first", type=int, default=0, help="first seed")
    parser.add_argument("--atheris", action="store_true", help="guided by coverage")
    parser.add_argument("--no-handmade", action="store_true")
    asked = parser.parse_args(words)
    if asked.atheris and asked.surface == "all":
        parser.error("--atheris guides one surface at a time")
    folder = "/dev/shm" if Path("/dev/shm").is_dir() else None
    with (
        tempfile.TemporaryDirectory(dir=folder) as store,
        patch.dict(os.environ, CAPEX_DATA=store),
        warnings.catch_warnings(),
    ):
        warnings.simplefilter("error", RuntimeWarning)
        if asked.atheris:
            guided(asked.surface, asked.count)
        names = list(WAYS_IN) if asked.surface == "all" else [asked.surface]
        records = [run(name, asked.count, asked.first, not asked.no_handmade) for name in names]
    return 1 if any(record.faults for record in records) else 0


if __name__ == "__main__":
    sys.exit(main())
