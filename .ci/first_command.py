"""Open the demo as the README's first command does, and read every page of it once.

Run by the Python of a folder where nothing is installed but capex and what it asks for itself.
Uses the standard library only.
"""

import re
import subprocess
import sys
import urllib.request
from pathlib import Path

ROOT = Path(__file__).parents[1]
PAGES = sorted(page.stem for page in (ROOT / "notebooks").glob("*.ipynb"))

capex = Path(sys.executable).with_name("capex")
command = [capex, "dashboard", "data/studies/quenlow.toml", "--no-browser"]
with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as server:
    try:
        addresses = (re.search(r"http://\S+/", line) for line in server.stdout)
        said = next(filter(None, addresses), None) or sys.exit("the dashboard did not start")
        for page in PAGES:
            with urllib.request.urlopen(f"{said[0]}{page}", timeout=120) as answer:
                text = answer.read().decode()
            if "widget-view+json" not in text or "vnd.jupyter.stderr" in text:
                sys.exit(f"{page} shows no page:\n{text}")
    finally:
        server.terminate()
