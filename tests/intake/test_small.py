import pytest

from ndtstats.errors import UseError
from ndtstats.intake.small import FLAWS, MOST_TOLD, READINGS, read_small


@pytest.fixture
def file(tmp_path):
    def write(text, name="readings.csv"):
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return path

    return write


def test_a_file_as_a_yard_writes_it_is_read(file):
    text = "Double reading of May\n\nImage;Reader;Verdict\n1;A;Accept\n1;B; REJECT \n\n"
    frame = read_small(file(text), READINGS)
    assert frame.to_numpy().tolist() == [["1", "A", "accept"], ["1", "B", "reject"]]


def test_sizes_are_numbers_in_mm_and_found_is_yes_or_no(file):
    frame = read_small(
        file("size [cm],found\n0.15,yes\n0.2,no\n".replace("size", "size_mm")), FLAWS
    )
    assert frame["size_mm"].tolist() == [1.5, 2.0]
    assert frame["found"].tolist() == [True, False]


def test_all_that_is_wrong_is_told_at_once_with_row_and_column(file):
    text = "image,reader,verdict\n1,A,accept\n1,A,reject\n2,,accept\n3,B,rejcet\n"
    with pytest.raises(UseError) as caught:
        read_small(file(text), READINGS)
    first, second, third = str(caught.value).splitlines()
    assert first.startswith("readings.csv, row 3, column image:")
    assert "twice with the same image and reader" in first
    assert second.startswith("readings.csv, row 4, column reader: is blank")
    assert third.startswith('readings.csv, row 5, column verdict: "rejcet" is not a verdict')
    assert 'did you mean "reject"?' in third


def test_a_size_of_nothing_is_refused(file):
    with pytest.raises(UseError, match=r"(?s)row 2, column size_mm.*row 3, column found"):
        read_small(file("size_mm,found\n0,yes\n1.5,perhaps\n"), FLAWS)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("image,verdict\n1,accept\n", "no heading says reader; write the headings image, reader"),
        ("image,reader,verdict\n", "no rows below the headings"),
        ("", "is empty"),
    ],
)
def test_a_file_that_is_no_such_table_is_refused(file, text, says):
    with pytest.raises(UseError, match=says):
        read_small(file(text), READINGS)


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(UseError, match="there is no file"):
        read_small(tmp_path / "nothing.csv", FLAWS)


def test_of_many_problems_the_rest_is_counted(file):
    text = "image,reader,verdict\n" + "".join(f"{n},A,bad\n" for n in range(MOST_TOLD + 5))
    with pytest.raises(UseError) as caught:
        read_small(file(text), READINGS)
    assert str(caught.value).endswith("and 5 more")
