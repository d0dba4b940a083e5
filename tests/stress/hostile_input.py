"""Hostile inputs by the hundred thousand: what was tried, how it was refused, what broke.

    python tests/stress/hostile_input.py SURFACE [COUNT] [--from SEED] [--atheris]

Prints the inputs tried, the refusals by kind of message, the longest time and the peak of memory.
An input that breaks a promise is kept in tests/stress/found/SURFACE/. The promises: nothing but a
`CapexError`, whose message names the place and is short enough to be read; no input takes more
than 5 s of processor time (the machine is shared); none takes more than 500 MB beyond what was
there before it.
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
from pathlib import Path
from types import FrameType

sys.path.insert(0, str(Path(__file__).parents[1]))
if "--atheris" in sys.argv:  # coverage is counted in what is imported from here on
    import atheris

    with atheris.instrument_imports(include=["capex", "stress"]):
        importlib.import_module("stress.ways_in")

from capex.errors import CapexError, InputError

#: What no input may take [s], [bytes], and what no message may exceed [characters].
LONGEST, MOST, READABLE = 5.0, 500_000_000, 150_000
FOUND = Path(__file__).parent / "found"


def say(line: str) -> None:
    """Write a line at once: a run may be stopped at any time."""
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


class TooLong(BaseException):
    """Past the time that any input may take."""


def _expired(_: int, frame: FrameType) -> None:
    raise TooLong(f"{frame.f_code.co_filename}:{frame.f_lineno}")


def peak() -> int:
    """Return the most memory that this process has held [bytes]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


def broken_promise(error: BaseException) -> str | None:
    """Return what an exception breaks, None where it is a good refusal."""
    if isinstance(error, TooLong):
        return f"takes more than {LONGEST:g} s, in {error}"
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


def tried(taken, body: bytes) -> tuple[str, str | None]:
    """Return what became of an input, and the promise that it broke."""
    before = peak()
    signal.setitimer(signal.ITIMER_PROF, LONGEST)
    try:
        said, fault = taken(body), None
    except BaseException as error:
        signal.setitimer(signal.ITIMER_PROF, 0)
        if isinstance(error, (KeyboardInterrupt, SystemExit)):
            raise
        from stress.surfaces import refusal

        fault = broken_promise(error)
        said = "" if fault else refusal(error)
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
    if fault is None and peak() - before > MOST:
        fault = f"takes {(peak() - before) / 1e6:,.0f} MB"
    return said, fault


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


class Record:
    """What a run has seen."""

    def __init__(self, surface: str) -> None:
        self.surface, self.kinds = surface, Counter()
        self.faults: dict[str, object] = {}
        self.count, self.longest, self.slowest = 0, 0.0, None
        self.start, self.base = time.process_time(), peak()

    def take(self, taken, body: bytes, seed: object) -> None:
        begun = time.process_time()
        said, fault = tried(taken, body)
        spent = time.process_time() - begun
        self.count += 1
        if spent > self.longest:
            self.longest, self.slowest = spent, seed
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
        say(f"peak of memory {peak() / 1e6:,.0f} MB, {self.base / 1e6:,.0f} MB at the start")
        say(f"broken: {self.kinds['BROKEN']:,} inputs, {len(self.faults)} kinds")


def run(name: str, count: int, first: int, handmade: bool) -> Record:
    """Try the handmade inputs of a surface, then so many from seeds."""
    from stress.ways_in import WAYS_IN

    surface, record = WAYS_IN[name], Record(name)
    signal.signal(signal.SIGPROF, _expired)
    if handmade:
        for said, body in surface.handmade().items():
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
    signal.signal(signal.SIGPROF, _expired)

    def one(data: bytes) -> None:
        record.take(surface.taken, surface.made(BytesRandom(data)), data.hex()[:60])
        if record.count == count:
            record.tell()

    flags = [f"-runs={count}", "-max_len=400", "-len_control=0", "-timeout=30", "-verbosity=0"]
    atheris.Setup([sys.argv[0], *flags], one)
    atheris.Fuzz()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("surface")
    parser.add_argument("count", nargs="?", type=int, default=1000)
    parser.add_argument("--from", dest="first", type=int, default=0, help="first seed")
    parser.add_argument("--atheris", action="store_true", help="guided by coverage")
    parser.add_argument("--no-handmade", action="store_true")
    asked = parser.parse_args()
    warnings.simplefilter("error", RuntimeWarning)
    folder = "/dev/shm" if Path("/dev/shm").is_dir() else None
    with tempfile.TemporaryDirectory(dir=folder) as store:
        os.environ["CAPEX_DATA"] = store
        if asked.atheris:
            guided(asked.surface, asked.count)
        else:
            run(asked.surface, asked.count, asked.first, not asked.no_handmade)


if __name__ == "__main__":
    main()
