"""How the program ends when its surroundings do not let it work: in words, with the status of bad input."""

import os
import subprocess
import sys

import pytest

from bomaudit.cli import main


@pytest.mark.parametrize("out", ["taken", "taken/within"])
def test_a_file_where_the_folder_out_should_be_is_no_error_of_ours(out, sample_folder, tmp_path, monkeypatch, capsys):
    (tmp_path / "taken").write_text("mine", encoding="utf-8")
    monkeypatch.setattr(
        sys, "argv", ["bomaudit", "requote", str(sample_folder), "--top", "1", "--out", str(tmp_path / out)]
    )
    with pytest.raises(SystemExit) as ended:
        main()
    said = capsys.readouterr().err
    assert ended.value.code == 2
    assert "a file or folder could not be used" in said
    assert str(tmp_path / "taken") in said
    assert "internal error" not in said
    assert (tmp_path / "taken").read_text(encoding="utf-8") == "mine"
    assert [p.name for p in tmp_path.iterdir()] == ["taken"]


def test_init_finishes_its_folder_when_nobody_reads_what_it_says(tmp_path):
    """As ``bomaudit init … | head -1``: the pipe is gone before all is said."""
    (tmp_path / "bom.csv").write_text("part_no,description,qty,unit_cost\nA1,Bearing,2,5.00\n", encoding="utf-8")
    command = [sys.executable, "-c", "from bomaudit.cli import main; main()", "init", "folder", "--bom", "bom.csv"]
    deaf, said = os.pipe()
    os.close(deaf)
    try:
        done = subprocess.run(command, cwd=tmp_path, stdin=subprocess.DEVNULL, stdout=said, stderr=subprocess.PIPE,
                              text=True, check=False)  # fmt: skip
    finally:
        os.close(said)
    templates = ("quotes", "volumes", "input_prices", "decisions", "standards")
    wanted = {"audit.toml", *(f"{t}_template.csv" for t in templates)}
    assert {p.name for p in (tmp_path / "folder").iterdir()} == wanted
    assert {p.name for p in tmp_path.iterdir()} == {"bom.csv", "folder"}
    assert "Traceback" not in done.stderr
    assert "internal error" not in done.stderr
