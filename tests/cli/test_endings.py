"""How the program ends when its surroundings do not let it work: in words, with the status of bad input."""

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
