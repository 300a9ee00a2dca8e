"""Hostile and broken files: a sentence or findings, in bounded time and memory, never a crash."""

import importlib.util
import os
import resource
import time
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import openpyxl
import pytest

from ndtstats.errors import UseError
from ndtstats.intake import load
from ndtstats.intake.readers import read_grids
from ndtstats.unpacking import limits

NOW = datetime(2026, 6, 1, tzinfo=UTC)
HEAD = "job,zone,joint,category,joint_type,length_mm\n"
GOOD = "H1,TANK 1,N-1,A,butt,1000\n"

#: Seconds of computing and bytes of memory that refusing a hostile file may take here.
TIME_S, MEMORY_KIB = 10, 700 * 1024


@pytest.fixture(autouse=True)
def bounded() -> Iterator[None]:
    """Fail what computes too long or takes too much memory, here or in a process of its own."""
    started = time.process_time()
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    yield
    assert time.process_time() - started < TIME_S
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < MEMORY_KIB


@pytest.fixture
def file(tmp_path: Path) -> Callable[..., Path]:
    def write(content: str | bytes, name: str = "joints.csv") -> Path:
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    return write


NAMES = "http://schemas.openxmlformats.org"
PARTS = {
    "[Content_Types].xml": (
        f'<Types xmlns="{NAMES}/package/2006/content-types">'
        '<Default Extension="xml" ContentType="application/xml"/></Types>'
    ),
    "_rels/.rels": (
        f'<Relationships xmlns="{NAMES}/package/2006/relationships"><Relationship Id="rId1" '
        f'Type="{NAMES}/officeDocument/2006/relationships/officeDocument" '
        'Target="xl/workbook.xml"/></Relationships>'
    ),
    "xl/workbook.xml": (
        f'<workbook xmlns="{NAMES}/spreadsheetml/2006/main" '
        f'xmlns:r="{NAMES}/officeDocument/2006/relationships">'
        '<sheets><sheet name="joints" sheetId="1" r:id="rId1"/></sheets></workbook>'
    ),
    "xl/_rels/workbook.xml.rels": (
        f'<Relationships xmlns="{NAMES}/package/2006/relationships"><Relationship Id="rId1" '
        f'Type="{NAMES}/officeDocument/2006/relationships/worksheet" '
        'Target="worksheets/sheet1.xml"/></Relationships>'
    ),
}


def cell(place: str, text: str) -> str:
    return f'<c r="{place}" t="inlineStr"><is><t>{text}</t></is></c>'


@pytest.fixture
def workbook(tmp_path: Path) -> Callable[..., Path]:
    """Write a workbook whose sheet holds raw rows, repeated, whatever they are."""

    def write(*rows: str, times: int = 1) -> Path:
        path = tmp_path / "joints.xlsx"
        heads = "".join(cell(f"{'ABCDEF'[n]}1", t) for n, t in enumerate(HEAD.strip().split(",")))
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as book:
            for name, text in PARTS.items():
                book.writestr(name, text)
            with book.open("xl/worksheets/sheet1.xml", "w") as part:
                opening = f'<worksheet xmlns="{NAMES}/spreadsheetml/2006/main"><sheetData>'
                part.write(f'{opening}<row r="1">{heads}</row>'.encode())
                for _ in range(times):
                    for row in rows:
                        part.write(row.encode())
                part.write(b"</sheetData></worksheet>")
        return path

    return write


@contextmanager
def said(words: str) -> Iterator[None]:
    with pytest.raises(UseError, match=words) as told:
        yield
    assert len(str(told.value)) < 1000
    assert str(told.value).replace("\n", "").isprintable()


# ------------------------------------------------------------------ text files


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (HEAD + "H1,Z,B\x00-1,A,butt,10\n", "is not a text file"),
        (HEAD + GOOD + "x," * 1_000_000 + "\n", "row 3 has 1,000,000 columns"),
        (HEAD + f"H1,Z,{'x' * 10_000_000},A,butt,10\n", "row 2: .* a cell is far too long"),
        (HEAD + f"H1,Z,{'x' * 110_000},A,butt,10\n", "row 2 has a cell of 110,000 characters"),
        (HEAD + 'H1,Z,"B-1,A,butt,10\n' + GOOD * 20_000, "row 2: a quotation mark is not closed"),
        (HEAD.encode() + b"H1,Z,B\xed\xa0\x80-1,A,butt,10\n", "row 2: a character cannot be read"),
        (
            (HEAD + "H1,Z,B").encode("utf-16") + b"\x00\xd8" + "-1\n".encode("utf-16-le"),
            "a character cannot be read",
        ),
        (b"\xff\xfe", "is empty|holds no rows"),
        (b"\xef\xbb\xbf", "holds no rows|no heading"),
        (b"", "is empty"),
        ("(" * 90_000 + ",zone\n" + GOOD, "needs job"),
    ],
    ids=range(11),
)
def test_a_text_file_that_is_no_table_is_refused(file, register, content, words):
    with said(words):
        load(register, "joints", file(content), now=NOW)


def test_blank_cells_to_the_far_right_are_no_columns(file, yard, register):
    path = file(HEAD + GOOD * 1 + "," * 1_000_000 + "\n")
    assert load(register, "joints", path, now=NOW).counts.new == 1


NO_NUMBERS = [
    "1e308", "1e999", "NaN", "nan", "inf", "-Infinity", "-0", "-0.0", "9" * 400, "1e-400", "0x10",
    "1_000", "١٠٠", "½", "１２", "1e",
]  # fmt: skip
NO_DAYS = [
    "0000-01-01", "01.01.0000", "0026-03-01", "9999-12-31", "99999", "2026-02-30", "2026-13-01",
    "99999999999-01-01", "1e308", "٢٠٢٦-٠١-٠١", "-2026-01-01",
]  # fmt: skip


def test_no_number_that_is_none_comes_in(file, yard, register):
    rows = "".join(f"H1,TANK 1,X-{n},A,butt,{text}\n" for n, text in enumerate(NO_NUMBERS))
    found = load(register, "joints", file(HEAD + GOOD + rows), now=NOW, take_good=True)
    wrong = [(row, "length_mm") for row in range(3, 3 + len(NO_NUMBERS))]
    assert [(f.row, f.column) for f in found.errors] == wrong
    assert register.table("joints")["joint"].tolist()[-1] == "N-1"


def test_no_day_that_is_none_comes_in(file, register):
    rows = "".join(f"H{n},{text}\n" for n, text in enumerate(NO_DAYS))
    found = load(register, "jobs", file("job,started\n" + rows, "jobs.csv"), now=NOW)
    wrong = [(row, "DATE") for row in range(2, 2 + len(NO_DAYS))]
    assert [(f.row, f.code) for f in found.errors] == wrong


def test_what_nobody_sees_does_not_make_another_joint(file, yard, register):
    names = ["W\u202e-1", "\u200bW-1", "W-1\u200f", "W\x07-1", "\ufeffW-1"]
    rows = "".join(f"H1,TANK 1,{name},A,butt,1000\n" for name in names)
    found = load(register, "joints", file(HEAD + rows), now=NOW)
    assert found.counts.new == 1
    assert register.table("joints")["joint"].tolist()[-1] == "W-1"


def test_other_scripts_stay_as_they_are(file, yard, register):
    names = ["لحام-٣", "ריתוך-1", "焊缝-1", "Näht-1", "\U0001f525-1", "क्\u200dष-1"]
    rows = "".join(f"H1,TANK 1,{name},A,butt,1000\n" for name in names)
    assert load(register, "joints", file(HEAD + rows), now=NOW).counts.new == len(names)
    assert register.table("joints")["joint"].tolist()[-len(names) :] == names


def test_sql_in_a_cell_is_text(file, yard, register):
    names = ["'); DROP TABLE joints; --", '"; DELETE FROM batches; x', "%s %(a)s ? :x {0}", "\\'"]
    rows = "".join(f'H1,TANK 1,"{name.replace(chr(34), chr(34) * 2)}",A,butt,9\n' for name in names)
    assert load(register, "joints", file(HEAD + rows), now=NOW).counts.new == len(names)
    assert register.table("joints")["joint"].tolist()[-len(names) :] == names
    assert len(register.table("joints", job="' OR '1'='1")) == 0


def test_a_file_of_strangers_is_told_in_bounded_time(file, yard, register):
    rows = "".join(f"H1,X{n:06d},K7,2026-03-02\n" for n in range(3000))
    path = file("job,joint,welder,date\n" + rows, "deposits.csv")
    assert len(load(register, "deposits", path, now=NOW).errors) == 3000


# ------------------------------------------------------------------ paths


def test_what_is_no_file_is_not_read(tmp_path):
    os.mkfifo(tmp_path / "pipe.csv")
    (tmp_path / "endless.csv").symlink_to("/dev/zero")
    (tmp_path / "folder.csv").mkdir()
    for name, words in (("pipe", "not a file"), ("endless", "not a file"), ("folder", "a folder")):
        with said(words):
            read_grids(tmp_path / f"{name}.csv")


def test_a_file_too_large_to_be_a_table_is_not_read(tmp_path):
    with (tmp_path / "huge.csv").open("wb") as huge:
        huge.truncate(50 * 2**30)  # holes: it takes no room on the disk
    with said("50.0 GB"):
        read_grids(tmp_path / "huge.csv")


@pytest.mark.parametrize("name", ["a\udcff.csv", "a\n\x1b[31m.csv", "a\u202egnp.csv", "--help.csv"])
def test_a_file_of_any_name_is_loaded_and_named_harmlessly(yard, register, tmp_path, name):
    path = tmp_path / name
    path.write_text(HEAD + GOOD)
    load(register, "joints", path, now=NOW)
    assert register.batches()["source"].iloc[-1].isprintable()


def test_names_that_climb_out_of_a_folder_are_only_names(file, yard, register, tmp_path):
    before = sorted(tmp_path.parent.iterdir())
    rows = "H1,TANK 1,../../etc/passwd,A,butt,10\nH1,TANK 1,C:\\x\\y,A,butt,rejcet\n"
    found = load(register, "joints", file(HEAD + rows), now=NOW, take_good=True)
    assert found.corrections.parent == tmp_path
    assert sorted(tmp_path.parent.iterdir()) == before


# ------------------------------------------------------------------ spreadsheets


@pytest.mark.parametrize("ending", [".xlsx", ".xls", ".xlsb", ".ods"])
def test_a_text_named_like_a_spreadsheet_is_refused(file, ending):
    with said("is not a spreadsheet that can be read"):
        read_grids(file(HEAD + GOOD, "joints" + ending))


def test_a_spreadsheet_named_like_a_text_is_refused(workbook):
    path = workbook()
    with said("name it .xlsx"):
        read_grids(path.rename(path.with_suffix(".csv")))


def test_an_encrypted_workbook_is_refused(file):
    # A compound file that holds the stream of an encrypted package ([MS-OFFCRYPTO] 1.3.3).
    content = bytes.fromhex("D0CF11E0A1B11AE1") + bytes(3000)
    content += "EncryptedPackage".encode("utf-16-le") + bytes(1000)
    with said("is encrypted; save it without a password"):
        read_grids(file(content, "joints.xlsx"))


#: How far into an entry of a directory its fields begin (APPNOTE.TXT 4.3.12).
CHECKSUM, SIZE = 16, 24


def declare(path: Path, value: int, field: int = SIZE) -> Path:
    """Let the directory of a workbook say that its sheet has another size when unpacked."""
    content = bytearray(path.read_bytes())
    at = content.rindex(b"PK\x01\x02") + field  # the directory's last entry
    content[at : at + 4] = value.to_bytes(4, "little")
    path.write_bytes(content)
    return path


def test_a_workbook_that_unpacks_to_gigabytes_is_refused(workbook):
    with said("unpacks to 3.0 GB"):
        read_grids(declare(workbook(), 3 * 2**30))


def test_a_workbook_that_says_it_is_small_does_no_harm(workbook):
    path = declare(workbook("<row>" + " " * 2**20 + "</row>", times=50), 10)
    with said("is not a spreadsheet that can be read"):
        read_grids(path)


@pytest.mark.parametrize(
    ("written", "row"),
    [
        ('sheetId="1" d3p1:id="rId1"', '<row r="2"><c r="A2" t="e"><v>#REF!</v></c></row>'),
        ("sheetId='1' r:id='rId1'", "<row r='2'><c r='A2' t='e'><v>#REF!</v></c></row>"),
    ],
)
def test_what_failed_is_found_however_a_program_spells_it(workbook, monkeypatch, written, row):
    usual = PARTS["xl/workbook.xml"]
    prefix = "xmlns:d3p1" if "d3p1" in written else "xmlns:r"
    spelled = usual.replace('sheetId="1" r:id="rId1"', written).replace("xmlns:r", prefix)
    monkeypatch.setitem(PARTS, "xl/workbook.xml", spelled)
    (grid,) = read_grids(workbook(row))
    assert grid.cells.iloc[1, 0] == "#REF!"


def test_a_damaged_sheet_is_refused_for_what_failed_in_it_would_be_blank(workbook):
    path = workbook('<row r="2"><c r="A2" t="e"><v>#REF!</v></c></row>')
    (grid,) = read_grids(path)
    assert grid.cells.iloc[1, 0] == "#REF!"
    with said("is not a spreadsheet that can be read: Bad CRC-32"):
        read_grids(declare(path, 0, CHECKSUM))


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (f'<row r="1048576">{cell("XFD1048576", "x")}</row>', "cannot be unpacked within"),
        (
            f'<row r="4294967295">{cell("ZZZZZZ4294967295", "x")}</row>',
            "that can be read: capacity",
        ),
        (f'<row r="2">{cell("XFD2", "x")}</row>', "row 2 has 16,384 columns"),
        (f'<row r="2">{cell("A2", "x" * 10_000_000)}</row>', "a cell of 10,000,000 characters"),
        (f'<row r="2">{cell("A2", "&unknown;")}</row>', "can be read: .*entity"),
    ],
    ids=["last corner", "beyond", "last column", "long cell", "entity"],
)
def test_a_sheet_that_no_table_needs_is_refused(workbook, row, words):
    with said(words):
        read_grids(workbook(row))


def test_a_cell_far_down_is_only_far_down(workbook):
    (grid,) = read_grids(workbook(f'<row r="60000">{cell("A60000", "x")}</row>'))
    assert grid.rows[-1] == 60000


def test_the_process_that_reads_has_bounds():
    pid = os.fork()
    if pid == 0:
        limits.limit_process()
        memory = resource.getrlimit(resource.RLIMIT_AS)[0]
        seconds = resource.getrlimit(resource.RLIMIT_CPU)[0]
        os._exit(0 if (memory, seconds) == (limits.MEMORY_BYTES, limits.COMPUTING_S) else 1)
    assert os.waitpid(pid, 0)[1] == 0


def test_no_number_of_a_sheet_that_is_none_comes_in(workbook, yard, register):
    values = ["1e308", "1e999", "NaN", "-0", "-1", "Infinity"]
    rows = []
    for row, value in enumerate(values, start=2):
        texts = ["H1", "TANK 1", f"X-{row}", "A", "butt"]
        cells = "".join(cell(f"{'ABCDE'[n]}{row}", text) for n, text in enumerate(texts))
        rows.append(f'<row r="{row}">{cells}<c r="F{row}"><v>{value}</v></c></row>')
    found = load(register, "joints", workbook(*rows), now=NOW)
    wrong = [(row, "length_mm") for row in range(2, 2 + len(values))]
    assert [(f.row, f.column) for f in found.errors] == wrong


# ------------------------------------------------------------------ what goes out


def test_no_formula_comes_out_of_a_correction_file(file, yard, register):
    risky = ["=1+1", "+1+1", "-1+1", "@SUM(1)", "=cmd|' /C calc'!A0", "＝1+1"]
    rows = "".join(f'H1,TANK 1,"{text}",A,butt,none\n' for text in risky)
    found = load(register, "joints", file(HEAD + rows), now=NOW, take_good=True)
    lines = found.corrections.read_text(encoding="utf-8-sig").splitlines()[1:]
    assert len(lines) == len(risky)
    for line in lines:
        for text in line.split(","):
            assert not text.strip('"').startswith(("=", "+", "-", "@", "＝"))


def test_no_formula_comes_out_of_a_correction_workbook(yard, register, tmp_path):
    book = openpyxl.Workbook()
    book.active.title = "joints"
    book.active.append(HEAD.strip().split(","))
    for text in ("=1+1", "@SUM(1)", "+1"):
        book.active.append(["H1", "TANK 1", text, "A", "butt", "none"])
    for row in book.active.iter_rows(min_row=2, min_col=3, max_col=3):
        row[0].data_type = "s"
    book.save(tmp_path / "in.xlsx")
    found = load(register, "joints", tmp_path / "in.xlsx", now=NOW, take_good=True)
    written = openpyxl.load_workbook(found.corrections)["joints"]
    assert {c.data_type for row in written.iter_rows() for c in row} <= {"s", "n"}


# ------------------------------------------------------------------ whatever it is


def test_mutated_files_are_answered_by_rows_findings_or_a_sentence(tmp_path, monkeypatch):
    path = Path(__file__).parents[1] / "benchmarks" / "fuzz.py"
    spec = importlib.util.spec_from_file_location("fuzz", path)
    fuzz = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(fuzz)
    monkeypatch.chdir(tmp_path)  # where it writes an input that went wrong
    told, longest = fuzz.run(150, 7, tmp_path)
    assert told.total() == 150
    assert {outcome.split()[-1] for outcome in told} == {"read", "refused"}
    assert longest.keys() == {"text", "small", "rules", "mapping", "workbook"}
