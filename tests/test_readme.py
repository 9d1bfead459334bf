"""The commands of README and of the guide's pages run as they stand there, and print what stands there."""

from __future__ import annotations

import re
import subprocess

import pytest

from tests.readme import LEFT_OUT, PAGES, ROOT, execute, prepare, python_code, run, shown_commands

TEXTS = {name: page.read_text("utf-8") for name, page in PAGES.items()}
# all commands of a page run in one place, one after the other: later ones may use what earlier ones wrote
COMMANDS = [(name, shown) for name, text in TEXTS.items() for shown in shown_commands(text)]
PROGRAMS = [name for name, text in TEXTS.items() if python_code(text)]
MOST_WORDS = 1_250


@pytest.fixture(scope="module")
def places(tmp_path_factory):
    folders = {name: tmp_path_factory.mktemp(name) for name in PAGES}
    for folder in folders.values():
        prepare(folder)
    return folders


@pytest.fixture(scope="module")
def printed(places):
    """What a command prints, after those of its page before it, which another process may have run elsewhere."""
    done: dict[str, dict[str, list[str]]] = {name: {} for name in PAGES}

    def of(name, command):
        for shown in shown_commands(TEXTS[name]):
            if command in done[name]:
                break
            if shown.command not in done[name]:
                done[name][shown.command] = run(shown.command, places[name])[1]
        return done[name][command]

    return of


def test_there_are_commands():
    assert len(COMMANDS) >= 12
    assert {"README", "points", "drawings", "doubt", "forces", "comparing", "layouts", "packages"} <= set(TEXTS)
    assert "python" in TEXTS


def test_readme_is_short():
    assert len(TEXTS["README"].split()) <= MOST_WORDS


def masked(line: str) -> str:
    """A line without the figures of rounding noise, which differ from machine to machine."""
    return re.sub(r"\d(\.\d+)?e-\d+", "#", line)


@pytest.mark.parametrize(("name", "shown"), COMMANDS, ids=lambda v: v if isinstance(v, str) else v.command[:60])
def test_a_command_prints_what_the_page_says(name, shown, printed):
    lines = [masked(line) for line in printed(name, shown.command)]
    at = 0
    free = True  # whether lines may be passed over before the next one
    for line in map(masked, shown.output):
        if line.strip() == LEFT_OUT:
            free = True
            continue
        if free:
            assert line in lines[at:], f"the page shows a line that is not printed: {line}"
            at = lines.index(line, at) + 1
        else:
            assert lines[at] == line
            at += 1
        free = False


@pytest.mark.parametrize("name", PROGRAMS)
def test_the_python_of_a_page_runs(name, places):
    program = "import warnings\nwarnings.simplefilter('error')\n" + python_code(TEXTS[name])
    done = execute(["-c", program], places[name])
    assert done.returncode == 0, done.stderr
    assert done.stdout


@pytest.mark.parametrize("name", TEXTS)
def test_every_picture_and_file_that_a_page_names_is_there(name):
    for target in re.findall(r"\]\(([^)#]+)\)", TEXTS[name]):
        assert "://" in target or (PAGES[name].parent / target).exists(), target


def test_the_two_commands_stand_at_the_top():
    head = TEXTS["README"][:2500]
    assert "<!-- main -->\n```sh\npython3 -m venv" in head
    assert "<!-- tests -->" in head
    assert "python -m pytest" in head


def test_the_list_of_system_packages_stands_in_one_place_and_ci_finds_it():
    assert [name for name, text in TEXTS.items() if "<!-- packages -->" in text] == ["packages"]
    ci = (ROOT / ".ci" / "run").read_text("utf-8")
    line = next(x for x in ci.splitlines() if "<!-- packages -->" in x)
    found = subprocess.run(
        ["bash", "-c", f"{line.strip()}\necho $packages"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert "libegl1" in found.stdout.split()
    assert "apt-get" not in found.stdout
