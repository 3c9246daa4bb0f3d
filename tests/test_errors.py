"""Messages for the person in the yard."""

import pytest

from oplog import errors
from oplog.errors import Problem, UnknownName


@pytest.mark.parametrize(
    ("problem", "text"),
    [
        (Problem("a.gpx", 12, "time is missing"), "a.gpx, line 12: time is missing"),
        (
            Problem("a.zip:b.nmea", 3, "checksum does not match", 4, "dropped"),
            "a.zip:b.nmea, line 3: checksum does not match (4 times); dropped",
        ),
        (Problem("a.gpx", None, "the file is empty"), "a.gpx: the file is empty"),
        (Problem("", None, "out of order", done="sorted"), "out of order; sorted"),
    ],
)
def test_a_problem_says_where_what_and_what_was_done(problem, text):
    assert str(problem) == text


def test_near_names_are_offered():
    said = str(UnknownName("machine", "bleu", ["blue", "red"], "Add it: oplog kit add."))
    assert said == "No machine is called 'bleu'. Did you mean blue? Add it: oplog kit add."


def test_a_part_of_a_name_and_other_letters_of_it_are_near():
    fields = [*(f"field {n:02}" for n in range(20)), "Nine Lands", "Top Piece", "Barn Close"]
    assert "Did you mean Nine Lands?" in str(UnknownName("field", "nine", fields))
    assert "Did you mean Top Piece?" in str(UnknownName("field", "TOP PEICE", fields))
    assert "Did you mean" not in str(UnknownName("field", "xy", fields))


def test_without_a_near_one_the_known_names_are_listed():
    assert "Known: blue and red." in str(UnknownName("machine", "combine", ["red", "blue"]))
    many = [f"field {n:02}" for n in range(20)]
    assert "field 11 and 8 more." in str(UnknownName("plot", "zzz", many))


def test_without_any_name_it_says_so():
    assert "There is no job in this log yet." in str(UnknownName("job", "beans", []))


def test_exit_codes_are_as_promised():
    codes = (
        *(errors.DONE, errors.FAILED, errors.MISUSE),
        *(errors.DONE_WITH_PROBLEMS, errors.DAMAGED),
    )
    assert codes == (0, 1, 2, 3, 4)
    assert errors.LogDamaged.exit_code == errors.DAMAGED
    kinds = errors.OplogError.__subclasses__()
    assert {k.exit_code for k in kinds if k is not errors.LogDamaged} == {errors.FAILED}
