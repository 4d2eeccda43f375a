"""Hostile input of every class, a few seeds each, and every small input that fuzzing once found fault with.

``fuzz_readers.py`` and ``damage.py`` in this folder try thousands more, outside of the suite.
"""

from pathlib import Path

import pytest
import targets
from damage import CLASSES, try_one
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

KEPT = sorted((Path(__file__).parent / "kept").glob("*"))
FEW = settings(max_examples=12, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))

# ASCII digits, marks and words that steer a reader, and whatever else there is
awkward = st.text(
    st.sampled_from("0123456789.,;:|\t\n\r\"' €$%-+()/=ABab\u0301\u05d0\u202e🔧\ufeff\x00")
    | st.characters(codec="utf-8"),
    max_size=200,
)
tables = st.lists(
    st.lists(st.one_of(awkward, st.floats().map(str), st.dates().map(str)), min_size=1, max_size=8), max_size=9
)


@pytest.mark.parametrize("kind", CLASSES)
def test_a_damaged_audit_is_audited_or_refused_in_words(kind, tmp_path):
    for seed in (1, 2):
        assert try_one(kind, seed, tmp_path) in ("audited", "refused")


@pytest.mark.parametrize("path", KEPT, ids=lambda p: p.name)
def test_what_was_found_once_stays_mended(path):
    assert targets.attempt(path.name.split("-")[0], path.read_bytes()) == ""


@FEW
@given(first=st.integers(0, 7), rows=tables, delimiter=st.sampled_from(",;|\t"))
def test_text_tables(first, rows, delimiter):
    text = "\n".join(delimiter.join(r) for r in rows)
    assert targets.attempt("text", bytes([first]) + text.encode("utf-8", "replace")) == ""


@FEW
@given(st.binary(max_size=400))
def test_bytes_of_any_kind(data):
    for head in (b"", b"PK\x03\x04", b"PAR1", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", b"\xff\xfe"):
        assert targets.attempt("raw", head + data) == ""


@FEW
@given(st.integers(0, 3), st.binary(max_size=300), st.integers(0, 100))
def test_parts_of_a_workbook(part, data, cut):
    import io  # noqa: PLC0415
    import zipfile  # noqa: PLC0415

    with zipfile.ZipFile(io.BytesIO(targets.base_workbook())) as archive:
        whole = archive.read(targets.PARTS[part]) if targets.PARTS[part] in archive.namelist() else b"<x/>"
    at = len(whole) * cut // 100
    for content in (data, whole[:at] + data + whole[at:], whole[:at]):
        assert targets.attempt("part", bytes([part]) + content) == ""


@FEW
@given(st.lists(awkward, max_size=20))
def test_cells_of_every_kind(cells):
    assert targets.attempt("cells", "\n".join(cells).encode("utf-8", "replace")) == ""


@FEW
@given(awkward)
def test_settings_and_files_that_people_edit(text):
    data = text.encode("utf-8", "replace")
    for target in ("toml", "edited", "ods"):
        for head in (b"", b"[files]\nbom = ", b"part_no,proposed,approved\n", b"about,name,state\npart,"):
            assert targets.attempt(target, head + data) == ""
