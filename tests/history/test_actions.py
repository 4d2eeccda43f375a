"""The file of actions belongs to the people who edit it."""

from history_case import snapshot

from bomaudit.edited import EditedRows, read_edited
from bomaudit.history.actions import FILE, read_actions, rows_to_add, start_actions, state_of

EDITED = (
    "about;name;state;on;by;reason;our ticket\r\n"
    "part;A-2;asked;03.04.2026;Müller;;77\r\n"
    "part;A-2;quoted;20.05.2026;Müller;;77\r\n"
    "decision;pump-kind;rejected;2026-05-21;Board;line ends 2027;\r\n"
    "decision;motor-kind;rejected;;;;\r\n"
    "part;B-1;waiting;32.13.2026;;;\r\n"
).encode("cp1252")


def test_file_is_made_once_and_never_written_again(tmp_path):
    path = start_actions(tmp_path)
    assert path.read_text() == "about,name,state,on,by,reason\n"
    path.write_bytes(EDITED)
    start_actions(tmp_path)
    read_actions(tmp_path)
    assert path.read_bytes() == EDITED


def test_file_edited_in_a_spreadsheet_is_read(tmp_path):
    (tmp_path / FILE).write_bytes(EDITED)
    actions, findings = read_actions(tmp_path)
    assert state_of(actions, about="part").loc["A-2", ["state", "on", "by"]].tolist() == [
        "quoted",
        "2026-05-20",
        "Müller",
    ]
    assert state_of(actions, about="decision").loc["pump-kind", "reason"] == "line ends 2027"
    assert [(f.code, f.row) for f in findings] == [("H022", 5), ("H021", 6), ("H023", 6)]


def test_edited_file_may_hold_blank_rows_and_guarded_cells():
    got = read_edited(b"\xef\xbb\xbf\n about , Name \n\n part,'=A1\n")
    assert got.header == ("about", "name")
    assert got.rows == ((4, {"about": "part", "name": "=A1"}),)
    assert read_edited(b"") == EditedRows((), (), False)


def test_no_file_no_actions(tmp_path):
    actions, findings = read_actions(tmp_path)
    assert actions.empty
    assert findings == []


def test_file_without_its_columns_is_said(tmp_path):
    (tmp_path / FILE).write_text("what,who\nx,y\n")
    actions, findings = read_actions(tmp_path)
    assert actions.empty
    assert [f.code for f in findings] == ["H020"]


def test_rows_to_add_leave_out_what_has_been_acted_on(tmp_path):
    said = snapshot()
    requotes, decisions = said.tables["requotes"], said.tables["decisions"].assign(verdict=["reopen", "stands"])
    before, _ = read_actions(tmp_path)
    assert rows_to_add(before, requotes=requotes, decisions=decisions)["name"].tolist() == ["A-2", "pump-kind"]
    (tmp_path / FILE).write_bytes(EDITED)
    after, _ = read_actions(tmp_path)
    assert rows_to_add(after, requotes=requotes, decisions=decisions).empty
