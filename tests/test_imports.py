"""The packages build on each other one way only, and heavy libraries stay in one place each."""

import ast
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
FILES = sorted(p for top in ("materials", "optimizer") for p in (ROOT / top).rglob("*.py"))

# Each part of the product, and the parts of it that it may import besides itself.
BASE = {
    "optimizer", "optimizer.bands", "optimizer.compiled", "optimizer.faults",
    "optimizer.plain_text", "optimizer.together", "optimizer.tomlfile", "optimizer.units",
}  # fmt: skip
ROOM = {*BASE, "materials", "optimizer.room"}
PLACEMENT = {*ROOM, "optimizer.acoustics", "optimizer.placement"}
ROUNDS = {"optimizer.round_maker", "optimizer.round_record"}
MAY_IMPORT = {
    "materials": set(),
    "optimizer": set(),
    "optimizer.bands": set(),
    "optimizer.compiled": {"optimizer.streams"},
    "optimizer.faults": {"optimizer.plain_text"},
    "optimizer.plain_text": set(),
    "optimizer.streams": {"optimizer.plain_text"},
    "optimizer.tomlfile": set(),
    "optimizer.units": set(),
    "optimizer.room": ROOM,
    "optimizer.together": set(),
    "optimizer.acoustics": {*ROOM, "optimizer.acoustics"},
    "optimizer.placement": PLACEMENT,
    "optimizer.project": PLACEMENT,
    "optimizer.results": {*PLACEMENT, "optimizer.project"},
    "optimizer.round_record": PLACEMENT,
    "optimizer.round_maker": {*PLACEMENT, "optimizer.project", "optimizer.round_record"},
    "optimizer.judged_search": {*PLACEMENT, *ROUNDS, "optimizer.project"},
    "optimizer.rounds": {*PLACEMENT, *ROUNDS, "optimizer.project", "optimizer.judged_search"},
    "optimizer.planning": {
        *PLACEMENT, *ROUNDS, "optimizer.project", "optimizer.results", "optimizer.rounds",
    },
    "optimizer.drawings": {*PLACEMENT, "optimizer.project", "optimizer.results"},
    "optimizer.measurement": {*ROOM, "optimizer.acoustics"},
    "optimizer.calibration": {*PLACEMENT, "optimizer.project", "optimizer.measurement"},
    "optimizer.wizard": {*PLACEMENT, "optimizer.project", "optimizer.results"},
    "optimizer.report": {
        *PLACEMENT, "optimizer.project", "optimizer.results", "optimizer.drawings",
    },
}  # fmt: skip
TOP = {
    *PLACEMENT,
    *ROUNDS,
    *(f"optimizer.{name}" for name in (
        "project", "results", "judged_search", "rounds", "planning", "drawings", "measurement",
        "calibration", "wizard", "report", "positions",
    )),
}  # fmt: skip
MAY_IMPORT["optimizer.more_plans"] = MAY_IMPORT["optimizer.planning"] | {"optimizer.planning"}
MAY_IMPORT["optimizer.earlier_plan"] = MAY_IMPORT["optimizer.planning"] | {"optimizer.planning"}
TOP |= {"optimizer.more_plans", "optimizer.earlier_plan"}
MAY_IMPORT["optimizer.wishes"] = MAY_IMPORT["optimizer.earlier_plan"] | {"optimizer.earlier_plan"}
TOP |= {"optimizer.wishes"}
MAY_IMPORT["optimizer.order_price"] = MAY_IMPORT["optimizer.planning"] | {"optimizer.planning"}
TOP |= {"optimizer.more_plans", "optimizer.earlier_plan", "optimizer.order_price"}
MAY_IMPORT["optimizer.positions"] = TOP - {"optimizer.positions"}
MAY_IMPORT["optimizer.commands"] = TOP | {"optimizer.streams"}
MAY_IMPORT["optimizer.cli"] = {
    "optimizer.faults", "optimizer.streams", "optimizer.together", "optimizer.results",
}  # fmt: skip
MAY_IMPORT["optimizer.until_ready"] = set()
MAY_IMPORT["optimizer.__main__"] = {
    "optimizer.cli", "optimizer.streams", "optimizer.until_ready",
}  # fmt: skip

# Libraries that only these files may import.
ONLY_IN = {
    "pyomo": {"optimizer/placement/program.py"},
    "highspy": {"optimizer/placement/solver.py"},
    "numba": {"optimizer/compiled.py"},
    "tomlkit": {"optimizer/tomlfile.py"},
}


# Libraries that only files in these folders may import.
ONLY_UNDER = {"matplotlib": "optimizer/drawings/", "jinja2": "optimizer/report/"}


def module_of(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


MODULES = {module_of(path) for path in FILES}


def part_of(module: str) -> str:
    """The package, or the single module, that a module of the product belongs to."""
    parts = module.split(".")
    return parts[0] if parts[0] == "materials" else ".".join(parts[:2])


def imports(tree: ast.AST) -> list[str]:
    """Full names of the modules that a file imports; a name that is no module is left off."""
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are absolute"
            base = node.module or ""
            full = [f"{base}.{alias.name}" for alias in node.names]
            found += [name if name in MODULES else base for name in full]
    return found


def parsed(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


@pytest.mark.parametrize("path", FILES, ids=module_of)
def test_imports_point_one_way(path: Path) -> None:
    mine = part_of(module_of(path))
    for name in imports(parsed(path)):
        if name.split(".")[0] in ("materials", "optimizer"):
            assert part_of(name) in MAY_IMPORT[mine] | {mine}, f"{mine} imports {name}"


@pytest.mark.parametrize("path", FILES, ids=module_of)
def test_libraries_stay_in_their_place(path: Path) -> None:
    tops = {name.split(".")[0] for name in imports(parsed(path))}
    here = path.relative_to(ROOT).as_posix()
    for library, files in ONLY_IN.items():
        assert library not in tops or here in files, f"{here} imports {library}"
    for library, folder in ONLY_UNDER.items():
        assert library not in tops or here.startswith(folder), f"{here} imports {library}"


@pytest.mark.parametrize("library", [name for name, files in ONLY_IN.items() if files])
def test_each_place_does_use_its_library(library: str) -> None:
    for file in ONLY_IN[library]:
        assert library in {name.split(".")[0] for name in imports(parsed(ROOT / file))}


@pytest.mark.parametrize("path", FILES, ids=module_of)
def test_no_import_inside_a_function(path: Path) -> None:
    for node in ast.walk(parsed(path)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda):
            inner = [n for n in ast.walk(node) if isinstance(n, ast.Import | ast.ImportFrom)]
            assert not inner, f"line {inner[0].lineno}"


def test_no_import_cycles() -> None:
    graph = {module_of(path): {n for n in imports(parsed(path)) if n in MODULES} for path in FILES}
    order = list(TopologicalSorter(graph).static_order())  # CycleError names a cycle
    assert set(order) == MODULES
