"""The notebooks: they run from top to bottom, hold no outputs, and only wire `capex.views`."""

import ast
import subprocess
import sys
from pathlib import Path

import nbformat
import pytest

NOTEBOOKS = sorted((Path(__file__).parents[1] / "notebooks").glob("*.ipynb"))


def source(path: Path) -> ast.Module:
    notebook = nbformat.read(path, as_version=4)
    return ast.parse("\n".join(c.source for c in notebook.cells if c.cell_type == "code"))


def test_there_is_a_notebook() -> None:
    assert NOTEBOOKS


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_only_wires_views(path: Path) -> None:
    for node in ast.walk(source(path)):
        assert not isinstance(
            node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef | ast.Lambda | ast.BinOp
        )
        if isinstance(node, ast.ImportFrom):
            assert (node.module or "").startswith("capex.views")
        assert not isinstance(node, ast.Import)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_is_committed_without_outputs(path: Path) -> None:
    notebook = nbformat.read(path, as_version=4)
    nbformat.validate(notebook)
    assert notebook.metadata["title"]
    for cell in notebook.cells:
        assert not cell.get("outputs")
        assert cell.get("execution_count") is None


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_runs(path: Path) -> None:
    ran = subprocess.run(
        [
            sys.executable, "-m", "pytest", "--nbval-lax", "--nbval-current-env", "-q",
            "-p", "no:cacheprovider", "-W", "default", str(path),
        ],
        capture_output=True,
        text=True,
        cwd=path.parents[1],
        check=False,
    )  # fmt: skip
    assert ran.returncode == 0, ran.stdout + ran.stderr
