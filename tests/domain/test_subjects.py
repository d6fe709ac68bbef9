"""Subjects are written and read back the same way; anything else is refused."""

import pytest

from traywarden.domain.subjects import HOST, Subject, SubjectKind, a_tray


@pytest.mark.parametrize("subject", [a_tray(3), HOST, *(Subject(kind, 12) for kind in list(SubjectKind)[:3])])
def test_what_was_written_is_read_back(subject: Subject) -> None:
    assert Subject.named(str(subject)) == subject


@pytest.mark.parametrize("text", ["", "3", "bed-3", "tray-", "tray-x"])
def test_what_is_no_subject_is_refused(text: str) -> None:
    with pytest.raises(ValueError):  # noqa: PT011
        Subject.named(text)
