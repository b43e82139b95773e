"""The README's commands and example do what it says."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from blankfit.app.cli import main

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```(\w*)\n(.*?)^```$", README, flags=re.MULTILINE | re.DOTALL)
COMMANDS = [text.strip() for kind, text in BLOCKS if not kind]
SET_UP = "python3 -m venv .venv && .venv/bin/pip install -q"


def test_sets_up_and_runs_the_main_job_in_one_line() -> None:
    assert COMMANDS[0].startswith(f"{SET_UP} . && .venv/bin/blankfit outline sample_photos/")
    assert "\n" not in COMMANDS[0]


def test_sets_up_and_runs_the_tests_in_one_line() -> None:
    assert COMMANDS[1] == f'{SET_UP} -e ".[test]" && .venv/bin/python -m pytest -q'


def test_ci_runs_the_same_line() -> None:
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8").replace("--quiet", "-q")
    for step in COMMANDS[1].split(" && "):
        assert step in script.splitlines()


def test_examples_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "sample_photos").symlink_to(ROOT / "sample_photos")
    monkeypatch.chdir(tmp_path)
    for command in [COMMANDS[0].rpartition(" && ")[2], *COMMANDS[2:]]:
        name, *arguments = shlex.split(command)
        assert name in ("blankfit", ".venv/bin/blankfit")
        monkeypatch.setattr("sys.argv", ["blankfit", *arguments])
        with pytest.raises(SystemExit) as left:
            main()
        assert left.value.code == 0, capsys.readouterr()
        if "-o" in arguments:
            assert any(Path(arguments[-1]).iterdir())


def test_python_examples_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "sample_photos").symlink_to(ROOT / "sample_photos")
    example = "".join(text for kind, text in BLOCKS if kind == "python")
    monkeypatch.chdir(tmp_path)
    exec(compile(example, "README.md", "exec"), {})
    assert re.fullmatch(
        r"the outline is within 0\.\d\d mm, 95 times in 100\n"
        r"\d\d pockets, the face 0\.00 mm above the top plate\n"
        r"the smallest blank can move 0\.20 mm to and fro\n",
        capsys.readouterr().out,
    )


def test_pictures_are_there_and_light() -> None:
    pictures = [ROOT / place for place in re.findall(r"!\[[^\]]+\]\(([^)]+)\)", README)]
    assert pictures
    assert all(picture.stat().st_size < 300_000 for picture in pictures)
