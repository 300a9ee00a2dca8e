import pytest

from ndtstats.demo.folder import MARK, keep_list, prepare
from ndtstats.errors import UseError


@pytest.fixture
def old(tmp_path):
    """A folder in which a demo left two files, one of them in a folder of its own."""
    folder = tmp_path / "demo"
    prepare(folder)
    (folder / "reports").mkdir()
    (folder / "register.xlsx").write_text("demo")
    (folder / "reports" / "qa.html").write_text("demo")
    keep_list(folder, [])
    return folder


def test_a_new_folder_is_made_and_marked(tmp_path):
    prepare(tmp_path / "a" / "b")
    assert [path.name for path in (tmp_path / "a" / "b").iterdir()] == [MARK]


def test_an_earlier_demo_is_cleared(old):
    prepare(old)
    assert {path.name for path in old.rglob("*") if path.is_file()} == {MARK}


def test_files_that_somebody_put_there_are_left_alone(old):
    (old / "mine.txt").write_text("keep me")
    prepare(old)
    assert (old / "mine.txt").read_text() == "keep me"


def test_and_are_not_taken_for_the_demos_own(old):
    mine = old / "mine.txt"
    mine.write_text("keep me")
    keep_list(old, [mine])
    assert "mine.txt" not in (old / MARK).read_text()


def test_a_folder_with_other_things_is_refused(tmp_path):
    (tmp_path / "thesis.txt").write_text("keep me")
    with pytest.raises(UseError, match=r"was not made by the demo; name an empty folder"):
        prepare(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["thesis.txt"]


def test_a_file_is_refused(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(UseError, match="is a file; name a folder"):
        prepare(tmp_path / "file")


@pytest.mark.parametrize("line", ["- ../outside.txt", "- /etc/../{home}/outside.txt"])
def test_a_mark_that_points_elsewhere_removes_nothing(old, tmp_path, line):
    outside = tmp_path / "outside.txt"
    outside.write_text("keep me")
    (old / MARK).write_text(line.format(home=str(tmp_path).lstrip("/")) + "\n")
    prepare(old)
    assert outside.exists()
