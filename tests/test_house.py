"""The rules of the house: imports run down, engines stay out of what must be quick."""

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
HOUSE = ROOT / "generator" / "noctuary"

#: Rooms from the top down; a room imports from its own storey and those below it.
STOREYS = (
    {"__init__", "__main__", "cli", "reference", "rule_list", "upload_command", "adopt_command", "place_command",
     "gather_command", "gather_surroundings", "progress_bar", "changes_command"},
    {"build", "whole_build", "left_for_next", "edited_words", "inspection", "preview", "preview_script",
     "preview_server", "facts_table", "plate_solve", "star_report", "reach_report", "changes_report"},
    {"publish"},
    {"pages"},
    {"charts", "images"},
    {"facts"},
    {"archive", "sky"},
    {"up_to_date", "outcome"},
    {"build_manifest", "worked_out", "edited_rows", "memo", "sexagesimal"},
    {"build_database", "typed_values"},
    {"quantity", "geometry", "quiet", "text", "files", "errors", "diagnostic", "plain_record",
     "machine", "portable_name"},
)
LEVEL = {room: number for number, storey in enumerate(STOREYS) for room in storey}
#: Rooms of one storey that do not know each other.
STRANGERS = {("sky", "archive"), ("archive", "sky"), ("charts", "images"), ("images", "charts")}


def room(path: Path) -> str:
    part = path.relative_to(HOUSE).parts[0]
    return part.removesuffix(".py")


def imported(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names = []
        if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] == "noctuary":
            parts = node.module.split(".")
            names = [parts[1]] if len(parts) > 1 else [alias.name for alias in node.names]
        elif isinstance(node, ast.Import):
            names = [a.name.split(".")[1] for a in node.names if a.name.startswith("noctuary.")]
        found.update(n for n in names if n in LEVEL)
    return found


@pytest.mark.parametrize("path", sorted(HOUSE.rglob("*.py")), ids=lambda p: str(p.relative_to(HOUSE)))
def test_imports_run_down(path):
    here = room(path)
    assert here in LEVEL, f"{here} has no storey"
    for there in imported(path):
        assert LEVEL[there] >= LEVEL[here], f"{here} imports {there}, which stands above it"
        assert (here, there) not in STRANGERS, f"{here} must not know {there}"


def module_imports(path: Path, modules: set[str]) -> set[str]:
    """The modules of the house that one imports when it is loaded or type-checked; not those inside functions."""
    found: set[str] = set()
    waiting: list[ast.AST] = [ast.parse(path.read_text(encoding="utf-8"))]
    while waiting:
        node = waiting.pop()
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            continue
        if isinstance(node, ast.ImportFrom) and node.module:
            names = [f"{node.module}.{alias.name}" for alias in node.names]
            found.update(name if name in modules else node.module for name in names)
        elif isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        waiting += ast.iter_child_nodes(node)
    return found & modules


def test_no_module_imports_itself_by_way_of_others():
    paths = {
        ".".join(p.relative_to(HOUSE.parent).with_suffix("").parts).removesuffix(".__init__"): p
        for p in HOUSE.rglob("*.py")
    }
    imports = {name: module_imports(path, set(paths)) - {name} for name, path in paths.items()}
    # Take away what imports nothing that is left, again and again: what remains is in a circle or above one.
    while free := [name for name, others in imports.items() if not others & imports.keys()]:
        for name in free:
            del imports[name]
    assert not imports, f"these import each other in a circle, or import such: {sorted(imports)}"


@pytest.mark.parametrize(
    ("module", "heavy"),
    [
        ("noctuary.up_to_date", {"astropy", "numpy", "PIL", "click", "pydantic", "jinja2", "yaml", "pyongc", "rich"}),
        ("noctuary.archive.records", {"astropy", "numpy", "PIL", "pydantic", "yaml"}),
        ("noctuary.build", {"astropy", "numpy", "PIL", "jinja2", "pyongc", "pydantic"}),
        ("noctuary.cli", {"astropy", "numpy", "PIL", "jinja2", "pydantic", "rich"}),
    ],
)
def test_what_must_be_quick_loads_no_engine(module, heavy):
    code = f"import sys, {module}; print(*{{name.split('.')[0] for name in sys.modules}})"
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    assert not heavy & set(loaded.stdout.split())


def test_nothing_is_written_and_never_used() -> None:
    command = [sys.executable, "-m", "vulture", "--min-confidence", "80", "generator"]
    told = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert (told.returncode, told.stdout) == (0, "")


def test_no_test_file_grows_over_400_lines() -> None:
    lengths = {path: len(path.read_text(encoding="utf-8").splitlines()) for path in (ROOT / "tests").rglob("*.py")}
    assert {path: length for path, length in lengths.items() if length > 400} == {}


def test_the_rooms_have_no_cupboards():
    for path in HOUSE.rglob("*.py"):
        assert path.stem not in {"utils", "util", "helpers", "helper", "manager", "common", "misc"}


#: What one module does for all others, by what no second module may hold. Scripts that make tables count as well.
ONLY_IN = {
    r"\bhaversine\b|\bacos\(|\barccos\(": {"geometry.py", "sky/solve_frame.py"},  # the latter: a cap's radius
    r"arctan2\(\w+\[:, 1\], \w+\[:, 0\]\)": set(),  # geometry.lons_lats_deg
    r"\bfsync\(": {"files.py", "publish/disk.py"},  # a file written whole; a site's folders flushed
    r"mkstemp|NamedTemporaryFile": set(),  # files.replacing
    r"re\.sub\(r?[\"']\[\^a-z0-9": {"text.py"},  # slugs
    r"\[a-z0-9\]\[a-z0-9-\]": {"archive/values.py"},  # what an id looks like
    r"divmod\(\w+, 3600": {"sexagesimal.py"},
    r"yaml\.(safe_)?load\(|SafeLoader|YAML\(": {"archive/marked_yaml.py", "archive/adopt/answers.py"},
    r"[\"']Cassiopeia[\"']": set(),  # sky/tables/constellations.csv
    r"\b6371": {"geometry.py"},
    r"TextColumn\(\"headers\"": {"progress_bar.py"},
    r"\bget_close_matches\b": {"archive/did_you_mean.py", "sky/catalogue.py"},
}


@pytest.mark.parametrize("pattern", ONLY_IN)
def test_one_module_does_it_for_all(pattern: str) -> None:
    holders = {
        path.relative_to(HOUSE).as_posix()
        for path in HOUSE.rglob("*.py")
        if re.search(pattern, path.read_text(encoding="utf-8"))
    }
    assert holders <= ONLY_IN[pattern], f"written again: {holders - ONLY_IN[pattern]}"


def test_files_are_short_enough_to_read():
    listed = subprocess.run(
        ["git", "ls-files", "*.py", "themes/*/scripts/*.js"], capture_output=True, text=True, cwd=ROOT, check=True
    ).stdout.split()
    ours = [ROOT / name for name in listed if not name.endswith(".min.js") and (ROOT / name).exists()]
    lengths = {str(path.relative_to(ROOT)): len(path.read_text(encoding="utf-8").splitlines()) for path in ours}
    assert {name: lines for name, lines in lengths.items() if lines > 400} == {}


def test_whatever_the_page_for_developers_names_is_where_it_says() -> None:
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    table = re.findall(r"^\| [^|]+ \| (`[^|]+) \|$", page, re.MULTILINE)
    assert len(table) == 10
    for path in re.findall(r"`([^`]+)`", " ".join(table)):
        assert (ROOT if path.startswith("themes/") else HOUSE).joinpath(path).is_file(), path
    folders = (HOUSE, ROOT / "tests", ROOT / "themes", ROOT / "docs")
    modules = {path.name for folder in folders for path in folder.rglob("*.py")}
    assert set(re.findall(r"\b\w+\.py\b", page)) <= modules


#: Names that say nothing of what they hold.
NAMELESS = {
    "told", "said", "seen", "there", "lying", "standing", "stands", "laid", "hung", "gist",
    "_story", "_said", "_told",
}  # fmt: skip


def test_names_say_what_they_hold() -> None:
    nameless = []
    for path in HOUSE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            name = (
                node.id if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store)
                else node.arg if isinstance(node, ast.arg)
                else node.name if isinstance(node, ast.FunctionDef)
                else None
            )  # fmt: skip
            if name in NAMELESS:
                nameless.append(f"{path.relative_to(HOUSE)}: {name}")
    assert nameless == []


def test_the_themes_name_their_parts_in_plain_words() -> None:
    private = re.compile(
        r'class="[^"]*(?<![\w-])(gist|unseen|laid|laying|beyond|hung|finds|wall)(?![\w-])'
        r"|^[^/]*\.(gist|unseen|laid|laying|beyond|hung|finds|wall)(?![\w-])[^;]*\{",
        re.MULTILINE,
    )
    parts = [p for p in (ROOT / "themes").rglob("*") if p.suffix in (".html", ".css")]
    assert len(parts) > 40
    assert [str(p.relative_to(ROOT)) for p in parts if private.search(p.read_text(encoding="utf-8"))] == []
