"""Compiled code is kept, and never outlives a change of any source it was made from."""

from models.swing.compiled import KEPT, kept_code


def test_a_change_in_any_file_that_compiled_code_is_made_from_moves_it(tmp_path):
    (tmp_path / "kernel.py").write_text(
        "from models.swing.helper import LIMIT\n\n\n@compiled\ndef f(x): ...\n"
    )
    (tmp_path / "helper.py").write_text("from models.swing import words as w\nLIMIT = 47\n")
    (tmp_path / "words.py").write_text("FOOT = 1\n")
    (tmp_path / "faults.py").write_text("from models.swing import kernel\n")
    before = kept_code(tmp_path)
    assert kept_code(tmp_path) == before
    assert before.is_dir()
    (tmp_path / "faults.py").write_text("from models.swing import kernel  # only calls it\n")
    assert kept_code(tmp_path) == before
    for name, text in (("helper", "LIMIT = 49\nfrom models.swing import words\n"), ("words", "FOOT = 2\n")):
        (tmp_path / f"{name}.py").write_text(text)
        after = kept_code(tmp_path)
        assert after != before
        assert after.is_dir()
        assert not before.exists()
        before = after


def test_a_change_of_the_metric_section_moves_it_as_well(tmp_path):
    (tmp_path / "kernel.py").write_text("@compiled\ndef f(x): ...\n")
    assert kept_code(tmp_path, "row[0] = v0") != kept_code(tmp_path, "row[0] = v1")


def test_compiled_code_of_a_folder_that_cannot_be_written_is_kept_in_the_users_cache(tmp_path, monkeypatch):
    folder = tmp_path / "installed"
    folder.mkdir()
    (folder / "__pycache__").write_text("a file in the way")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    kept = kept_code(folder)
    assert kept.is_relative_to(tmp_path / "cache")
    assert kept.is_dir()
    (tmp_path / "full").write_text("a file in the way")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "full"))
    assert kept_code(folder) is None


def test_the_kernel_is_kept_there(reduced, good_plan):
    reduced(good_plan.columns(500.0))
    assert KEPT is not None
    assert any(file.name.startswith("kernel.reduce_swings") for file in KEPT.rglob("*.nbi"))
