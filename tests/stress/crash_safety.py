"""What is saved, while processes are killed, disks fill up, pages break and clocks run backwards.

    python -m tests.stress.crash_safety [COUNT]

COUNT kills are spread over save, autosave, import, export and batch (500 by default), and as many
stores are damaged. Prints the figures, and every promise that was not kept.
"""

# ruff: noqa: T201
from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path
from unittest.mock import patch

sys.path.insert(0, str(Path(__file__).parents[1]))

from stress.at_once import begun_at_once, damage_met_at_once
from stress.kills import DEMO, WORKS, killed_works
from stress.store_faults import clock_set_back, closed_folder, damaged, full_disk, small_disk

from capex.study import StudyFile


def main(count: int) -> int:
    """Print the figures; return 1 where a promise was not kept."""
    broken: list[str] = []
    start = time.monotonic()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        total = 0
        for work in WORKS:
            found = killed_works(folder, work, -(-count // len(WORKS)))
            total += found.kills
            broken += found.broken
            print(f"  {work:9} {found.kills:5} kills, {found.within:5} of them within a piece of "
                  f"work, {found.done:6} pieces said done, {len(found.broken)} promises broken",
                  flush=True)  # fmt: skip
        print(f"  kills in all: {total}")
        unread = patch.object(
            StudyFile, "parsed", lambda text, source="": StudyFile(text, DEMO.study, source)
        )
        with unread:
            figures, wrong = damaged(folder, count)
            broken += wrong
            read = f"{figures['recovered']} of {figures['versions']} versions read afterwards"
            print(f"  damaged stores: {figures['damaged']}, told of {figures['told']}; {read}")
            for key in sorted(figures):
                if key.endswith(": versions"):
                    kind = key.removesuffix(": versions")
                    print(f"    {kind:10} {figures[f'{kind}: recovered']} of {figures[key]}")
            with small_disk(folder / "small") as disk:
                wrong = full_disk(folder / "small", disk.more_room)
            broken += wrong
            print(f"  full disk ({disk.how}): {len(wrong)} promises broken")
            closed = closed_folder(folder / "closed")
            broken += closed or []
            said = ("not tried, who runs this may write anywhere and mount nothing"
                    if closed is None else f"{len(closed)} promises broken")  # fmt: skip
            print(f"  read-only folder: {said}")
            times = count // 10
            wrong = [*begun_at_once(folder, times), *damage_met_at_once(folder, times)]
            broken += wrong
            print(f"  six pages at once, {times} times on a new store and as many on a damaged "
                  f"one: {len(wrong)} promises broken")  # fmt: skip
            wrong = clock_set_back(folder / "clock" / "studies.sqlite")
            broken += wrong
            print(f"  clock set back: {len(wrong)} promises broken")
    print(f"  {time.monotonic() - start:.0f} s")
    for line in broken[:50]:
        print(f"  BROKEN {line}")
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 500))
