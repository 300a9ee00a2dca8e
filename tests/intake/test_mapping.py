import tomllib
from datetime import UTC, datetime
from pathlib import Path

import pytest

from ndtstats.columns import TABLES
from ndtstats.errors import UseError
from ndtstats.intake import load, read_mapping

NOW = datetime(2026, 6, 2, tzinfo=UTC)

#: As the invented contractor writes it: his headings, his words, centimetres, day first.
HIS = (
    "Weld No;Test;Pos from [cm];Pos to;Evaluation;Examined on;Protocol;Film\n"
    "B-1;RT;0,0;30,0;OK;1.4.2026;R-7;1\n"
    "B-1;RT;30,0;60,5;NIO;2.4.2026;R-7;2\n"
)
MEANT = """
dates = "dmy"

[columns]
"weld no" = "joint"
"Test" = "method"
"Pos from" = "from_mm"
"Pos to" = "to_mm"
"Evaluation" = "verdict"
"Examined on" = "date"
"Protocol" = "report"
"Film" = "exposure"

[values.verdict]
ok = "accept"
NIO = "reject"

[units]
to_mm = "cm"

[constants]
job = "H1"
"""


@pytest.fixture
def mapping(tmp_path):
    """Write a mapping file."""

    def write(text: str, name: str = "his.toml") -> Path:
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return path

    return write


def test_a_contractors_headings_words_units_and_dates_are_understood(yard, register, mapping):
    result = yard("examinations", HIS, name="his.csv", mapping=mapping(MEANT))
    assert (result.findings, result.notes) == ([], [])
    rows = register.table("examinations")
    assert rows["job"].tolist() == ["H1", "H1"]
    assert rows["verdict"].tolist() == ["accept", "reject"]
    assert rows["to_mm"].tolist() == [300.0, 605.0]
    assert rows["date"].dt.strftime("%Y-%m-%d").tolist() == ["2026-04-01", "2026-04-02"]


def test_a_finding_shows_his_word_and_our_column(yard, mapping):
    result = yard("examinations", HIS.replace("NIO", "nix"), mapping=mapping(MEANT))
    (finding,) = result.findings
    assert (finding.row, finding.column, finding.value) == (3, "verdict", "nix")


def test_a_declared_heading_counts_before_one_that_is_called_like_a_column(yard, register, mapping):
    text = "joint,weld,job,method,verdict,date,report\nx,B-1,H1,RT,accept,2026-04-01,R-1\n"
    result = yard("examinations", text, mapping=mapping('[columns]\nweld = "joint"\n'))
    assert register.table("examinations")["joint"].tolist() == ["B-1"]
    assert result.notes == ["columns not read: joint"]


def test_a_word_can_be_declared_to_say_nothing(yard, register, mapping):
    text = "job,joint,method,verdict,date,report,from_mm\nH1,B-1,RT,accept,2026-04-01,R-1,n/a\n"
    result = yard("examinations", text, mapping=mapping('[values.from_mm]\n"N/A" = ""\n'))
    assert result.findings == []
    assert register.table("examinations")["from_mm"].isna().all()
    # ... but not where something must be said.
    text = text.replace("accept", "n/a").replace("R-1", "R-2")
    both = '[values.verdict]\n"n/a" = ""\n[values.from_mm]\n"n/a" = ""\n'
    codes = [f.code for f in yard("examinations", text, mapping=mapping(both)).findings]
    assert codes == ["MISSING"]


def test_headings_that_the_mapping_names_in_vain_are_told(yard, mapping):
    text = "job,joint,method,verdict,date,report\nH1,B-1,RT,accept,2026-04-01,R-1\n"
    result = yard("examinations", text, mapping=mapping('[columns]\n"Film No" = "exposure"\n'))
    assert result.notes == ["the mapping names headings that are not there: Film No"]


def test_sheet_and_header_row_are_declared(yard, register, spreadsheet, mapping):
    head = ["job", "joint", "method", "verdict", "date", "report"]
    row = ["H1", "B-1", "RT", "accept", "2026-04-01"]
    path = spreadsheet(March=[head, [*row, "R-3"]], April=[head, head, [*row, "R-4"]])
    declared = mapping('sheet = "April"\nheader_row = 2\n')
    assert load(register, "examinations", path, now=NOW, mapping=declared).errors == []
    assert register.table("examinations")["report"].tolist() == ["R-4"]


def test_a_header_row_beyond_the_end_is_told(yard, mapping):
    with pytest.raises(UseError, match="has 3 rows; the mapping puts the headings into row 9"):
        yard("examinations", HIS, mapping=mapping("header_row = 9\n"))


def test_a_unit_in_the_heading_and_another_declared_is_refused(yard, mapping):
    wrong = MEANT.replace('to_mm = "cm"', 'to_mm = "cm"\nfrom_mm = "m"')
    with pytest.raises(UseError, match="the heading of from_mm states cm, the mapping declares m"):
        yard("examinations", HIS, mapping=mapping(wrong))


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("dates = \n", "his.toml is not TOML in UTF-8"),
        ("dates = " + "[" * 5000, "his.toml is not TOML in UTF-8: more brackets"),
        ("header_row = " + "9" * 5000, "his.toml is not TOML in UTF-8: a number with more"),
        ('datse = "dmy"', 'line 1, datse: is not a known key; did you mean "dates"?'),
        ('\ndates = "dym"', 'line 2, dates: "dym" is not one of the words allowed'),
        ("header_row = 0", "line 1, header_row: 0 cannot be; give a number not less than 1"),
        ('[columns]\n"W" = "jiont"', 'line 2, columns.W: names "jiont", which is no column'),
        ('[units]\nto_mm = "ft"', 'line 2, units.to_mm: "ft" is not one of the words allowed'),
        ('[units]\nverdict = "cm"', "line 2, units.verdict: is no length; lengths are from_mm"),
        ('[constants]\njbo = "H1"', 'line 2, constants.jbo: names "jbo"'),
        ('[constants]\nmethod = "XT"', 'line 2, constants.method: "XT" is not a method'),
        ('[constants]\njob = ""', "line 2, constants.job: is blank"),
        ("[constants]\nround = 0", "line 2, constants.round: 0 is of the wrong kind"),
        ('[values.verdict]\nOK = "acept"', 'line 2, values.verdict.OK: "acept" is not a verdict'),
        ('[values.result]\nOK = "accept"', 'names "result", which is no column'),
    ],
)
def test_a_mistake_in_a_mapping_file_is_told_with_its_line(mapping, text, told):
    with pytest.raises(UseError) as caught:
        read_mapping(mapping(text), TABLES["examinations"])
    assert told in str(caught.value)


def test_all_mistakes_of_a_mapping_file_are_told_at_once(mapping):
    text = '[columns]\n"W" = "jiont"\n[units]\nverdict = "cm"\n[constants]\nmethod = "XT"\n'
    with pytest.raises(UseError) as caught:
        read_mapping(mapping(text), TABLES["examinations"])
    assert len(str(caught.value).splitlines()) == 3


def test_a_mapping_file_that_is_not_there_is_told(tmp_path):
    with pytest.raises(UseError, match="there is no mapping file"):
        read_mapping(tmp_path / "none.toml", TABLES["jobs"])
    with pytest.raises(UseError, match="cannot be read as a mapping file"):
        read_mapping(tmp_path, TABLES["jobs"])


def test_unknown_headings_give_a_suggested_mapping_that_loads_once_checked(
    yard, register, tmp_path
):
    with pytest.raises(UseError) as caught:
        yard("examinations", HIS, name="his.csv")
    suggestion = tmp_path / "his.examinations.mapping.toml"
    assert str(suggestion) in str(caught.value)
    text = suggestion.read_text(encoding="utf-8")
    guessed = tomllib.loads(text)
    assert guessed["columns"]["Weld No"] == "joint"
    assert guessed["columns"]["Evaluation"] == "verdict"
    assert set(guessed["values"]["verdict"]) == {"OK", "NIO"}
    assert guessed["columns"]["Test"] == "method"
    # What a person does who checks it: he fills in what was left open.
    for left_open, filled in {
        '# job = ""': 'job = "H1"',
        '"OK" = ""': '"OK" = "accept"',
        '"NIO" = ""': '"NIO" = "reject"',
        '# dates = "dmy"': 'dates = "dmy"',
        '# from_mm = "cm"': 'to_mm = "cm"',
    }.items():
        assert text.count(left_open) == 1
        text = text.replace(left_open, filled)
    suggestion.write_text(text, encoding="utf-8")
    result = load(register, "examinations", tmp_path / "his.csv", now=NOW, mapping=suggestion)
    assert result.findings == []
    assert register.table("examinations")["to_mm"].tolist() == [300.0, 605.0]


def test_a_suggestion_keeps_what_was_declared_and_overwrites_nothing(yard, mapping, tmp_path):
    declared = mapping('[columns]\n"Weld No" = "joint"\n')
    with pytest.raises(UseError, match="a suggested mapping is in"):
        yard("examinations", HIS, name="his.csv", mapping=declared)
    suggestion = tmp_path / "his.examinations.mapping.toml"
    assert tomllib.loads(suggestion.read_text())["columns"]["Weld No"] == "joint"
    suggestion.write_text("# checked\n")
    with pytest.raises(UseError):
        yard("examinations", HIS, name="his.csv", mapping=declared)
    assert suggestion.read_text() == "# checked\n"


def test_a_data_row_is_not_taken_for_unknown_headings(yard, tmp_path):
    text = "Weld,,Result,Day\nB-1,0,ok,1.4.2026\nB-2,0,ok,1.4.2026\n"
    with pytest.raises(UseError):
        yard("examinations", text, name="few.csv")
    assert '"Weld" = "joint"' in (tmp_path / "few.examinations.mapping.toml").read_text()
