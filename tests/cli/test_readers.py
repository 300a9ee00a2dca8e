import json


def readings(tmp_path):
    verdicts = {"A": "aaarra", "B": "aaarrr"}
    words = {"a": "accept", "r": "reject"}
    lines = [f"{n},{reader},{words[v]}" for reader, given in verdicts.items()
             for n, v in enumerate(given)]  # fmt: skip
    path = tmp_path / "double.csv"
    path.write_text("image,reader,verdict\n" + "\n".join(lines) + "\n")
    return path


def test_a_sentence_and_a_table(tmp_path, ndtstats):
    code, out, _ = ndtstats("readers", readings(tmp_path))
    assert code == 0
    # 5 of 6 agree; by chance 4/6 x 3/6 + 2/6 x 3/6 = 1/2, so kappa is 2/3.
    assert out.startswith("Readers A and B, 6 images: 83.3 % of readings agree")
    assert "kappa 0.67" in out
    _, out, _ = ndtstats("readers", readings(tmp_path), "--format", "json")
    assert round(json.loads(out)[0]["kappa"], 6) == 0.666667


def test_problems_of_the_file_are_told_at_once(tmp_path, ndtstats):
    path = tmp_path / "double.csv"
    path.write_text("image,reader,verdict\n1,A,acept\n1,B,rejcet\n")
    code, out, err = ndtstats("readers", path)
    assert (code, out) == (2, "")
    assert "row 2, column verdict" in err
    assert "row 3, column verdict" in err
    assert "Traceback" not in err
