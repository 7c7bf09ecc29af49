"""Imports run one way, and the pure rooms import nothing that knows files, stores or pages."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
ORDER = [
    {"fleetwear.vocabulary", "fleetwear.units", "fleetwear.errors"},
    {"fleetwear.store", "fleetwear.wear", "fleetwear.usage", "fleetwear.measurement", "fleetwear.survival"},
    {"fleetwear.intake", "fleetwear.forecast"},
    {"fleetwear.planning", "fleetwear.backtest", "fleetwear.partitions"},
    {"fleetwear.trends", "fleetwear.recording"},
    {"fleetwear.reports"},
    {"pipelines"},
    {"dashboard", "fleetwear.cli"},
]
LEVEL = {room: level for level, rooms in enumerate(ORDER) for room in rooms}
APART = {("fleetwear.cli", "dashboard"), ("fleetwear.cli", "demo_fleet")}
"""The command that serves the dashboard, and the one that makes the demo fleet."""
PURE = {
    "fleetwear.wear": {"numpy", "pandas", "scipy"},
    "fleetwear.usage": {"numpy", "scipy"},
    "fleetwear.measurement": {"numpy", "pandas", "scipy"},
    "fleetwear.survival": {"numpy", "scipy"},
}


def room_of(module: str) -> str | None:
    """Return the room that a module name lies in."""
    parts = module.split(".")
    for name in (".".join(parts[:2]), parts[0]):
        if name in LEVEL or name == "demo_fleet":
            return name
    return None


def imports_of(path: Path) -> set[str]:
    """Return the absolute names of all modules that a file imports, at any depth of it."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            found.add(node.module)
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return found


FILES = sorted(
    path for folder in ("fleetwear", "pipelines", "dashboard", "demo_fleet") for path in (ROOT / folder).rglob("*.py")
)


def module_name(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


@pytest.mark.parametrize("path", FILES, ids=module_name)
def test_imports_only_from_rooms_before_it(path: Path) -> None:
    own = room_of(module_name(path))
    for imported in imports_of(path):
        other = room_of(imported)
        if own is None or other is None or other == own or (own, other) in APART:
            continue
        assert other != "demo_fleet", f"{module_name(path)} imports the demo fleet"
        if own == "demo_fleet":
            assert other in ("fleetwear.vocabulary", "fleetwear.units"), f"{module_name(path)} imports {other}"
        else:
            base = LEVEL[other] == LEVEL[own] == 0
            assert base or LEVEL[other] < LEVEL[own], f"{module_name(path)} ({own}) imports {imported} ({other})"


@pytest.mark.parametrize("path", FILES, ids=module_name)
def test_pure_rooms_import_only_mathematics(path: Path) -> None:
    own = room_of(module_name(path))
    if own not in PURE:
        return
    foreign = {
        name.split(".")[0]
        for name in imports_of(path)
        if not name.startswith(
            ("fleetwear", "__future__", "typing", "dataclasses", "functools", "warnings", "collections")
        )
    }
    assert foreign <= PURE[own], f"{module_name(path)} imports {foreign - PURE[own]}"


def test_a_wrong_import_would_be_seen() -> None:
    assert room_of("fleetwear.wear.sums") == "fleetwear.wear"
    assert LEVEL["fleetwear.store"] < LEVEL["fleetwear.intake"] < LEVEL["fleetwear.planning"]
    assert any("fleetwear.store" in name for name in imports_of(ROOT / "fleetwear/forecast/records.py"))
