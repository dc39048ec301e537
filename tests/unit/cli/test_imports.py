"""What the command line imports, and how the rooms import each other."""

import subprocess
import sys

import pytest

HEAVY = {"numpy", "textual", "yaml", "serial", "sqlite3"}


def modules_after(*words: str) -> set[str]:
    code = (
        "import sys\nfrom edgewheel.cli.main import main\n"
        "try:\n    main(sys.argv[1:])\nexcept SystemExit:\n    pass\n"
        "print(*sys.modules, file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *words], capture_output=True, text=True, check=True
    )
    return set(done.stderr.split())


@pytest.mark.parametrize("words", [["--help"], ["--version"]])
def test_help_imports_nothing_heavy(words):
    assert not HEAVY & modules_after(*words)


def test_compile_needs_no_bench():
    loaded = modules_after("compile", "36-minus-1", "--rpm", "60", "--turns", "1")
    assert not {"textual", "serial", "sqlite3", "edgewheel.bench"} & loaded


def test_imports_go_one_way():
    """The layers of the design, as import-linter checks them."""
    from importlinter.cli import lint_imports

    assert lint_imports(no_cache=True) == 0
