import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ndtstats.rules.locate import comments_of, line_at, lines_of
from ndtstats.rules.reader import list_presets, preset_text

UGLY = '''
# a comment with [brackets] and key = value
title = "A # that is no comment"   # but this is
"quoted key" = 'and = [ { "'
a.b . c = 1
[ table ]   # heading with blanks
text = """
not_a_key = 1
[nor.a.heading]  # nor a comment
""" # after
literal = \'\'\'
x = "\'\'\'
numbers = [
  1, # first
  [2, 3],
  { deep = 4,  also = "}" },
]
day = 2026-01-15 07:30:00
inline = { one = 1, two.three = 3 }
[[rules]]
name = "first"
[rules."sub table"]
deep = true
[[rules]]
name = "second"
  [[rules.parts]]
  x = 1
  [[rules.parts]]
  x = 2
'''


def test_every_key_of_an_ugly_file_is_found():
    tomllib.loads(UGLY)
    lines = lines_of(UGLY)
    content = UGLY.split("\n")

    def text_of(*path: str | int) -> str:
        return content[lines[path] - 1].strip()

    assert text_of("title").startswith("title")
    assert text_of("quoted key").startswith('"quoted key"')
    assert text_of("a", "b", "c").startswith("a.b")
    assert text_of("table").startswith("[ table ]")
    assert text_of("table", "text") == 'text = """'
    assert ("not_a_key",) not in lines
    assert ("table", "not_a_key") not in lines
    assert text_of("table", "numbers", 0) == "1, # first"
    assert text_of("table", "numbers", 1, 1) == "[2, 3],"
    assert text_of("table", "numbers", 2, "also").startswith("{ deep")
    assert text_of("table", "day").startswith("day")
    assert text_of("table", "inline", "two", "three").startswith("inline")
    assert text_of("rules", 0, "name") == 'name = "first"'
    assert text_of("rules", 0, "sub table", "deep") == "deep = true"
    assert text_of("rules", 1) == "[[rules]]"
    assert text_of("rules", 1, "parts", 1, "x") == "x = 2"


def test_comments_are_told_from_text_that_looks_like_them():
    comments = comments_of(UGLY)
    assert list(comments.values()) == [
        "a comment with [brackets] and key = value",
        "but this is",
        "heading with blanks",
        "after",
        "first",
    ]
    assert UGLY.split("\n")[min(comments) - 1].startswith("# a comment")


def test_a_path_without_a_line_has_that_of_what_holds_it():
    lines = {("extent", 0): 4, ("extent", 0, "amount"): 6}
    assert line_at(lines, ("extent", 0, "amount", "percent")) == 6
    assert line_at(lines, ("extent", 0, "method")) == 4
    assert line_at(lines, ("title",)) is None


@pytest.mark.parametrize("name", list_presets())
def test_every_value_of_a_preset_is_found_where_it_stands(name):
    text = preset_text(name)
    lines, content = lines_of(text), text.split("\n")
    # What holds tables only has no line of its own.
    assert set(lines) == set(paths_of(tomllib.loads(text))) - {("extent",), ("tests",)}
    assert all(
        path[-1] in content[line - 1] for path, line in lines.items() if isinstance(path[-1], str)
    )


def paths_of(value: object, above: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    """Return every path in what the parser of Python returned."""
    inner = value.items() if isinstance(value, dict) else enumerate(value)
    found = []
    for key, held in inner:
        found.append((*above, key))
        if isinstance(held, dict | list):
            found += paths_of(held, (*above, key))
    return found


KEYS = st.text("abc-_9", min_size=1, max_size=4)
SCALARS = st.sampled_from(
    ["1", "-2.5e3", "true", "inf", "2026-01-15", '"text"', "'lit # [eral'", '"es\\"c # ]}"', '""',
     '"""a\n# b\n[c]\nd = 1\n"""', "'''e\nf = '''"]
)  # fmt: skip
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.one_of(
        st.lists(inner, max_size=3).map(lambda items: "[\n" + ",  # c\n".join(items) + "\n]"),
        st.dictionaries(KEYS, inner, max_size=3).map(
            lambda table: "{ " + ", ".join(f"{k} = {v}" for k, v in table.items()) + " }"
        ),
    ),
    max_leaves=6,
)


@given(
    st.dictionaries(KEYS, VALUES, max_size=4), st.lists(st.dictionaries(KEYS, VALUES), max_size=3)
)
def test_each_path_of_any_file_is_found_once_and_in_order(top, tables):
    text = "".join(f"{key} = {value}  # top\n\n" for key, value in top.items())
    for table in tables:
        text += "[[z]] # heading\n" + "".join(f"{key} = {v}\n" for key, v in table.items())
    expected = [path for path in paths_of(tomllib.loads(text)) if path != ("z",)]
    lines = lines_of(text)
    assert set(lines) == set(expected)
    in_order = [lines[path] for path in expected]
    assert in_order == sorted(in_order)
