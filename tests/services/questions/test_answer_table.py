"""A table of an answer: remarks are said once, and columns in which nothing stands are left out."""

from traywarden.services.questions.answer_table import AnswerTable


def test_a_remark_of_several_rows_has_one_mark_and_stands_below_once() -> None:
    table = AnswerTable(
        ("a", "b"), [("1", "x"), ("2", ""), ("3", "y")], (), [("late",), ("", "gap"), ("late",)]
    )
    assert table.notes == (("¹", "late"), ("²", "gap"))
    assert table.marked == (("1", "x", "¹"), ("2", "", "²"), ("3", "y", "¹"))


def test_a_row_may_have_several_remarks_and_the_same_one_twice_is_one() -> None:
    table = AnswerTable(("a",), [("1",)], (), [("late", "gap", "late")])
    assert table.marked == (("1", "¹²"),)


def test_empty_columns_are_not_shown_nor_that_of_marks_where_there_are_none() -> None:
    assert AnswerTable(("a", "b", "c"), [("1", "", "x"), ("2", "", "")]).shown == (0, 2)
    assert AnswerTable(("a", "b"), [("1", "")], (), [("why",)]).shown == (0, 2)
    assert AnswerTable(("a",), []).marked == ()
