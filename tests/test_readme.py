"""README's commands run as they stand there, and print what stands there."""

from __future__ import annotations

import re

import pytest

from tests.readme import LEFT_OUT, README, ROOT, prepare, run, shown_commands

TEXT = README.read_text("utf-8")
COMMANDS = shown_commands(TEXT)


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    folder = tmp_path_factory.mktemp("clone")
    prepare(folder)
    return folder


def test_there_are_commands():
    assert len(COMMANDS) >= 4


def masked(line: str) -> str:
    """A line without the figures of rounding noise, which differ from machine to machine."""
    return re.sub(r"\d(\.\d+)?e-\d+", "#", line)


@pytest.mark.parametrize("shown", COMMANDS, ids=lambda s: s.command[:60])
def test_a_command_prints_what_readme_says(shown, place):
    lines = [masked(line) for line in run(shown.command, place)[1]]
    at = 0
    free = True  # whether lines may be passed over before the next one
    for line in map(masked, shown.output):
        if line.strip() == LEFT_OUT:
            free = True
            continue
        if free:
            assert line in lines[at:], f"README shows a line that is not printed: {line}"
            at = lines.index(line, at) + 1
        else:
            assert lines[at] == line
            at += 1
        free = False


def test_every_picture_and_file_that_readme_names_is_there():
    for target in re.findall(r"\]\(([^)#]+)\)", TEXT):
        assert "://" in target or (ROOT / target).exists(), target


def test_the_two_commands_stand_at_the_top():
    head = TEXT[:2500]
    assert "<!-- main -->" in head
    assert "<!-- tests -->" in head
    assert "python -m pytest" in head
