import json

import pytest


def test_presets_are_listed(ndtstats):
    code, out, _ = ndtstats("rules", "list", "--format", "json")
    assert code == 0
    assert [row["preset"] for row in json.loads(out)] == [
        "aluminium-hull", "power-piping", "pressure-vessel", "process-piping", "steel-hull",
        "steel-structure", "tank-shell",
    ]  # fmt: skip


def test_a_preset_is_shown_with_the_source_of_each_value(ndtstats):
    code, out, _ = ndtstats("rules", "show", "pressure-vessel")
    assert code == 0
    assert "1 spot in 15.2 m or a fraction of it" in out
    assert "6 in: ASME VIII-1 UW-52(c), edition not noted; from memory" in out


def test_with_whom_the_extent_was_agreed_is_shown(ndtstats, tmp_path):
    path = tmp_path / "ours.toml"
    ndtstats("rules", "copy", "aluminium-hull", str(path))
    assert "Not agreed with anybody." in ndtstats("rules", "show", str(path))[1]
    agreed = 'agreed_with = "the surveyor"\nagreed_on = 2026-01-15'
    path.write_text(path.read_text().replace('agreed_with = ""', agreed))
    assert "Agreed with the surveyor on 2026-01-15." in ndtstats("rules", "show", str(path))[1]


def test_rules_and_sources_for_machines(ndtstats):
    _, out, _ = ndtstats("rules", "show", "steel-hull", "--format", "json")
    assert [row["rule"] for row in json.loads(out)] == ["midship 0.6 L", "outside 0.6 L"]
    _, out, _ = ndtstats("rules", "show", "steel-hull", "--sources", "--format", "json")
    assert {row["key"] for row in json.loads(out)} >= {"structure.length_m", "extent.amount"}


def test_a_preset_is_copied_once_and_the_copy_is_in_order(ndtstats, tmp_path):
    path = tmp_path / "ours.toml"
    code, out, _ = ndtstats("rules", "copy", "steel-hull", str(path))
    assert code == 0
    assert 'marked "chosen here, edit": lines' in out
    code, _, err = ndtstats("rules", "copy", "steel-hull", str(path))
    assert code == 2
    assert "exists already" in err
    code, _, err = ndtstats("rules", "check", str(path))
    assert code == 0
    assert "nothing is wrong; 2 rules, 2 categories" in err


def test_a_copy_into_no_folder_is_wrong_use(ndtstats, tmp_path):
    code, _, err = ndtstats("rules", "copy", "steel-hull", str(tmp_path / "none" / "ours.toml"))
    assert code == 2
    assert "cannot be written" in err


@pytest.mark.parametrize("fmt", ["table", "json", "csv"])
def test_a_wrong_file_is_told_with_every_line_and_exit_code_1(ndtstats, tmp_path, fmt):
    path = tmp_path / "ours.toml"
    ndtstats("rules", "copy", "process-piping", str(path))
    text = path.read_text().replace("percent = 5.0", "percent = 500").replace("[risk]", "[rsk]")
    path.write_text(text)
    code, out, err = ndtstats("rules", "check", str(path), "--format", fmt)
    assert code == 1
    assert "rsk" in out
    assert "give a number not greater than 100" in out
    assert "3 problems" in err


def test_a_missing_file_is_wrong_use(ndtstats, tmp_path):
    code, _, err = ndtstats("rules", "check", str(tmp_path / "none.toml"))
    assert code == 2
    assert "there is no rules file" in err


def test_rules_are_adopted_for_a_job(ndtstats, tmp_path):
    ndtstats("init")
    jobs = tmp_path / "jobs.csv"
    jobs.write_text("job,title\nP1,an invented line\n")
    assert ndtstats("load", "jobs", str(jobs))[0] == 0
    code, out, _ = ndtstats("rules", "adopt", "process-piping", "--job", "P1")
    assert code == 0
    assert "are in force" in out
    code, out, _ = ndtstats("rules", "adopt", "process-piping", "--job", "P1")
    assert code == 0
    assert "were in force already" in out
    code, _, err = ndtstats("rules", "adopt", "process-piping", "--job", "P9")
    assert code == 2
    assert "P9" in err
