"""Print the test files of what changed since main: the tests of `make quick`.

A changed test stands for itself. A changed source file stands for the tests named after it or after its folder
(tests/ mirrors the folders) and for those that import or name it; where there are none, for the tests of the modules
that import it. A file that more than MANY test files use is a tool to most of them: only its namesakes run, and the
rest is left to `make test`, which is said. Always run: the tests of imports and docs, which look at the whole tree.
"""

import ast
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]
MANY = 8
COMMAND = "tests/end_to_end/test_own_deliveries.py"
ROOTS = ("underfoot.py", "warehouse", "ingest", "models", "dashboard", "demo_academy", "tests")
RULES = ("tests/models/swing", "tests/ingest/test_contracts.py", "tests/dashboard/test_own_fault.py")
ALWAYS = ("tests/end_to_end/test_docs.py", "tests/end_to_end/test_imports.py")


def git(*words: str) -> list[str]:
    ran = subprocess.run(["git", *words], cwd=ROOT, capture_output=True, text=True, check=False)
    return ran.stdout.split("\n")[:-1] if ran.returncode == 0 else []


def changed_files() -> set[str]:
    """Files that differ from where this branch left main (on main itself: from the last commit), and new ones."""
    base = (git("merge-base", "main", "HEAD") or ["HEAD"])[0]
    return {*git("diff", "--name-only", base), *git("ls-files", "--others", "--exclude-standard")}


def module_name(path: str) -> str:
    """`ingest/load.py` → `ingest.load`; helpers in tests/ are imported by their bare names."""
    return path.removeprefix("tests/").removesuffix(".py").removesuffix("/__init__").replace("/", ".")


def imports_of(text: str) -> set[str]:
    """Every module an import statement of this source may mean, at any depth."""
    found = set()
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return found


class Tree:
    """The project's Python files, who imports whom, and which tests stand for a file."""

    def __init__(self) -> None:
        files = [
            p
            for root in ROOTS
            for p in ([ROOT / root] if root.endswith(".py") else (ROOT / root).rglob("*.py"))
        ]
        self.texts = {p.relative_to(ROOT).as_posix(): p.read_text(encoding="utf-8") for p in sorted(files)}
        self.imports = {path: imports_of(text) for path, text in self.texts.items()}

    def is_test(self, path: str) -> bool:
        return path.startswith("tests/") and Path(path).name.startswith("test_")

    def importers(self, path: str) -> set[str]:
        """Files that import a file; for a conftest the tests below it, for any other file those that name it."""
        if Path(path).name == "conftest.py":
            return {
                other
                for other in self.texts
                if other.startswith(str(Path(path).parent)) and self.is_test(other)
            }
        if not path.endswith(".py"):
            name = (
                Path(path).stem if path.endswith(".sql") else Path(path).name
            )  # a table's file bears its name
            return {other for other, text in self.texts.items() if name in text}
        return {other for other, found in self.imports.items() if module_name(path) in found}

    def namesakes(self, path: str) -> set[str]:
        """Tests in the mirrored folders that are called after a file or after its folder."""
        place = Path(path)
        if path == "underfoot.py":
            return {COMMAND}
        names = {f"test_{place.stem}.py", f"test_{place.parent.name}.py"}
        wing = f"tests/{place.parts[0]}/"
        return {other for other in self.texts if other.startswith(wing) and Path(other).name in names}

    def tests_for(self, path: str) -> set[str]:
        """The nearest tests of a file, going up from importer to importer until there are some."""
        if self.is_test(path):
            return {path} & self.texts.keys()
        if path.startswith("warehouse/rules/"):
            return {other for other in self.texts if other.startswith(RULES) and self.is_test(other)}
        namesakes = self.namesakes(path)
        seen, ring, found = {path}, {path}, set[str]()
        while ring:
            importers = {other for near in ring for other in self.importers(near)} - seen
            found |= {other for other in importers if self.is_test(other)}
            helpers = {other for other in importers if other.startswith("tests/") and not self.is_test(other)}
            seen |= importers
            ring = {h for h in helpers if not h.endswith("conftest.py")} if found or namesakes else importers
        if len(found) <= MANY:
            return found | namesakes
        print(f"{path}: {len(found)} test files use it; make test runs them all.", file=sys.stderr)
        return namesakes


def main() -> None:
    """Print the files in one line, for pytest's command line."""
    tree = Tree()
    found = {test for path in changed_files() for test in tree.tests_for(path)}
    print(*sorted({*found, *ALWAYS}))


if __name__ == "__main__":
    main()
