"""The layout of the package: arrows, libraries, sizes, notebooks, sources and exports.

Every rule is a function from source text to the problems in it, so that each is also shown to
find a problem in a made-up source.
"""

import ast
import csv
import importlib
import json
import re
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "capex"
DATA = ROOT / "data"
MODULES = sorted(PACKAGE.rglob("*.py"))

#: A folder imports only from those before it; errors, numerals and units stand above all.
FOLDERS = ("study", "shopfloor", "finance", "decision", "views")
ABOVE = {"errors": (), "numerals": (), "units": ("errors", "numerals")}

#: Libraries for widgets, plots, pages and documents: in views only.
VIEW_LIBRARIES = {
    "IPython", "altair", "anywidget", "bokeh", "docx", "fpdf", "ipykernel", "ipywidgets", "jinja2",
    "jupyter_server", "kaleido", "matplotlib", "nbclient", "nbconvert", "nbformat", "notebook",
    "plotly", "pptx", "reportlab", "seaborn", "tornado", "traitlets", "voila", "weasyprint",
    "xlsxwriter",
}  # fmt: skip
VAGUE_NAMES = {"util", "utils", "helper", "helpers", "base", "common", "manager", "misc"}

LONGEST_FILE = 400
LONGEST_FUNCTION = 60
AIM_FUNCTION = 40
#: Where a call costs more than the work in it: the dispatcher's event loop, see DEVELOPERS.md.
ONE_LOOP = {"capex.shopfloor.year.moments": "moments"}


def module_name(path: Path) -> str:
    """Return the dotted name of a file of the package."""
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imports(source: str, name: str, *, is_package: bool = False) -> list[tuple[int, str]]:
    """Return line and absolute dotted name of everything a source imports, wherever it stands."""
    found = []
    here = name.split(".")
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found += [(node.lineno, part.name) for part in node.names]
        elif isinstance(node, ast.ImportFrom):
            start = here[: len(here) - node.level + is_package] if node.level else []
            whole = ".".join([*start, *([node.module] if node.module else [])])
            found += [(node.lineno, f"{whole}.{part.name}") for part in node.names]
        elif isinstance(node, ast.Call) and ast.unparse(node.func).endswith("import_module"):
            found += [(node.lineno, str(part.value)) for part in node.args[:1]
                      if isinstance(part, ast.Constant)]  # fmt: skip
    return found


def reversed_arrows(source: str, name: str, *, is_package: bool = False) -> list[str]:
    """Return the imports that point from a folder to one below it."""
    here = ([*name.split("."), ""])[1]
    problems = []
    for line, target in imports(source, name, is_package=is_package):
        parts = target.split(".")
        if parts[0] != "capex" or here in ("", "__main__") or len(parts) < 2:
            continue
        there = parts[1]
        if here in ABOVE:
            allowed = (here, *ABOVE[here])
        else:
            allowed = (*ABOVE, *FOLDERS[: FOLDERS.index(here) + 1])
        if there not in allowed:
            problems.append(f"{name}:{line} imports {target}")
    return problems


def view_libraries(source: str, name: str) -> list[str]:
    """Return the widget, plotting and document libraries that a source outside views imports."""
    if name.split(".")[1:2] == ["views"]:
        return []
    return [f"{name}:{line} imports {target}" for line, target in imports(source, name)
            if target.split(".")[0] in VIEW_LIBRARIES]  # fmt: skip


def function_lengths(source: str) -> list[tuple[int, str]]:
    """Return lines of code and name of every function; docstrings do not count."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
            body = node.body[1:] if ast.get_docstring(node, clean=False) is not None else node.body
            first = body[0].lineno if body else node.lineno
            head = node.body[0].lineno - node.lineno
            found.append((head + (node.end_lineno or first) - first + 1, node.name))
    return found


def notebook_problems(text: str) -> list[str]:
    """Return the outputs, definitions and arithmetic that a notebook holds."""
    problems = []
    for number, cell in enumerate(json.loads(text)["cells"]):
        if cell["cell_type"] != "code":
            continue
        if cell.get("outputs") or cell.get("execution_count") is not None:
            problems.append(f"cell {number} holds an output")
        for node in ast.walk(ast.parse("".join(cell["source"]))):
            if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef, ast.Lambda)):
                problems.append(f"cell {number} defines something")
            if isinstance(node, (ast.BinOp, ast.AugAssign)):
                problems.append(f"cell {number} computes something")
    return problems


def cited_sources(source: str) -> set[str]:
    """Return the ids that the docstrings of a source cite: ``Source: id`` or ``source `id```."""
    found = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, (ast.Module, ast.ClassDef, ast.FunctionDef)):
            text = " ".join((ast.get_docstring(node) or "").split())
            found |= set(re.findall(r"\b[Ss]ources? `([a-z][a-z0-9-]+)`", text))
            for sentence in re.findall(r"\bSource: ([^.]*)", text):
                for part in sentence.split(";"):
                    found |= set(re.findall(r"^\s*([a-z0-9]+(?:-[a-z0-9]+)+|derivable)\b", part))
    return found


def known_sources() -> set[str]:
    with (DATA / "sources.csv").open(encoding="utf-8", newline="") as file:
        return {row["id"] for row in csv.DictReader(file)}


@pytest.mark.parametrize("path", MODULES, ids=module_name)
def test_arrows_point_down_the_flow(path):
    text = path.read_text(encoding="utf-8")
    package = path.name == "__init__.py"
    assert reversed_arrows(text, module_name(path), is_package=package) == []


@pytest.mark.parametrize(
    ("name", "source"),
    [
        ("capex.study.made_up", "from capex.shopfloor.mix import Mix"),
        ("capex.study.made_up", "import capex.views.chart"),
        ("capex.shopfloor.made_up", "def f():\n    from capex.finance import ledger"),
        ("capex.finance.made_up", "from capex import decision"),
        ("capex.decision.made_up", "from ..views import chart"),
        ("capex.errors", "from capex.units import Kind"),
        ("capex.units", "from capex.study import Study"),
        ("capex.shopfloor.made_up",
         "import importlib\nimportlib.import_module('capex.decision.appraise')"),
    ],
)  # fmt: skip
def test_a_reversed_arrow_is_found(name, source):
    assert len(reversed_arrows(source, name)) == 1


@pytest.mark.parametrize(
    ("name", "source"),
    [
        ("capex.views.made_up", "from capex.decision.appraise import appraise"),
        ("capex.finance.made_up", "from . import ledger\nfrom capex.errors import InputError"),
        ("capex.__main__", "from capex.views import tables"),
    ],
)
def test_an_arrow_down_the_flow_is_allowed(name, source):
    assert reversed_arrows(source, name) == []


@pytest.mark.parametrize("path", MODULES, ids=module_name)
def test_widgets_plots_and_documents_stay_in_views(path):
    assert view_libraries(path.read_text(encoding="utf-8"), module_name(path)) == []


def test_a_widget_outside_views_is_found():
    source = "import numpy\nfrom traitlets import HasTraits\nimport plotly.graph_objects as go\n"
    assert len(view_libraries(source, "capex.decision.made_up")) == 2
    assert view_libraries(source, "capex.views.made_up") == []


@pytest.mark.parametrize("path", MODULES, ids=module_name)
def test_files_and_functions_are_short(path):
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= LONGEST_FILE
    long = [one for one in function_lengths(text) if one[0] > LONGEST_FUNCTION]
    assert [one for one in long if one[1] != ONE_LOOP.get(module_name(path))] == []


def test_a_long_function_is_found():
    source = "def f(x):\n    '''Doc.\n\n    More.\n    '''\n" + "    x += 1\n" * 61
    assert function_lengths(source) == [(62, "f")]


def test_functions_beyond_the_aim_are_named(measured):
    beyond = sorted(
        (
            (length, f"{module_name(path)}.{name}")
            for path in MODULES
            for length, name in function_lengths(path.read_text(encoding="utf-8"))
            if length > AIM_FUNCTION
        ),
        reverse=True,
    )
    measured(
        f"{len(beyond)} functions over {AIM_FUNCTION} lines of code: "
        + ", ".join(f"{name} {length}" for length, name in beyond)
    )
    assert len(beyond) <= 10


def test_files_are_nouns():
    assert [path for path in MODULES if path.stem in VAGUE_NAMES] == []


def test_folders_are_the_flow():
    folders = {path.name for path in PACKAGE.iterdir() if (path / "__init__.py").exists()}
    assert folders == set(FOLDERS)


NOTEBOOKS = sorted((ROOT / "notebooks").glob("**/*.ipynb"))


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebooks_only_wire(path):
    assert notebook_problems(path.read_text(encoding="utf-8")) == []


def test_a_notebook_that_computes_is_found():
    cell = {"cell_type": "code", "source": ["def f():\n", "    return 1 + 1\n"], "outputs": [{}]}
    assert len(notebook_problems(json.dumps({"cells": [cell]}))) == 3


def test_every_source_of_data_is_known():
    used = {}
    for path in [*DATA.glob("published/*.csv"), DATA / "room_rules.csv"]:
        with path.open(encoding="utf-8", newline="") as file:
            for row in csv.DictReader(file):
                used.setdefault(row["source"], path.name)
    regimes = tomllib.loads((DATA / "tax_regimes.toml").read_text(encoding="utf-8"))
    used |= {regime["source"]: "tax_regimes.toml" for regime in regimes.values()}
    assert len(used) > 5
    assert {source: file for source, file in used.items() if source not in known_sources()} == {}


def test_every_source_cited_in_a_docstring_is_known():
    cited = {
        (module_name(path), source)
        for path in MODULES
        for source in cited_sources(path.read_text(encoding="utf-8"))
    }
    assert len(cited) > 5
    assert {one for one in cited if one[1] not in known_sources()} == set()


def test_a_cited_source_is_found():
    source = '"""What it does; source `a-book`, ch. 2.\n\nSource: irs-pub-946, table A-1.\n"""'
    assert cited_sources(source) == {"a-book", "irs-pub-946"}


def test_sources_are_listed_once_and_in_full():
    with (DATA / "sources.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    ids = [row["id"] for row in rows]
    assert len(ids) == len(set(ids))
    states = {"seen", "copy", "memory", "derivable", "practice", "invented"}
    for row in rows:
        assert row["title"], row["id"]
        assert row["kind"], row["id"]
        assert row["status"] in states, row["id"]


@pytest.mark.parametrize("path", MODULES, ids=module_name)
def test_exports_are_real(path):
    if path.name == "__main__.py":
        pytest.skip("running it is its only use")
    module = importlib.import_module(module_name(path))
    names = getattr(module, "__all__", [])
    assert len(names) == len(set(names))
    assert [name for name in names if not hasattr(module, name)] == []


def test_modules_say_what_they_export():
    silent = [
        module_name(path)
        for path in MODULES
        if path.name not in ("__init__.py", "__main__.py", "entries.py")
        and "__all__" not in path.read_text(encoding="utf-8")
    ]
    assert silent == []


def test_modules_say_what_they_promise():
    for path in MODULES:
        text = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))
        assert text, module_name(path)
