"""A finding says where, what and what was assumed; only errors stop the work."""

from __future__ import annotations

import pytest

from kin3d.errors import Finding, Kin3dError, ReadingError, Severity, raise_errors

ERROR = Finding("a", "is wrong", "car.toml, [front] side")
NOTE = Finding("b", "is missing", "f.csv, row 3", Severity.NOTE, "0 deg")
WARNING = Finding("c", "is odd", severity=Severity.WARNING)


@pytest.mark.parametrize(
    ("finding", "text"),
    [
        (ERROR, "car.toml, [front] side: is wrong"),
        (NOTE, "f.csv, row 3: is missing; assumed: 0 deg"),
        (WARNING, "is odd"),
    ],
)
def test_a_finding_as_a_sentence(finding, text):
    assert str(finding) == text


def test_errors_alone_stop_the_work_and_come_all_at_once():
    raise_errors([NOTE, WARNING], ReadingError)
    with pytest.raises(ReadingError) as caught:
        raise_errors([ERROR, NOTE, WARNING, ERROR], ReadingError)
    assert caught.value.findings == (ERROR, ERROR)
    assert str(Kin3dError([ERROR, NOTE])) == f"{ERROR}\n{NOTE}"
