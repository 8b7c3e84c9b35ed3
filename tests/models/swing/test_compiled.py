"""Compiled code is kept, and never outlives a change of any source it was made from."""

from models.swing.compiled import KEPT, kept_code


def test_a_change_in_any_file_of_the_package_moves_the_kept_code(tmp_path):
    (tmp_path / "kernel.py").write_text("import helper\n")
    (tmp_path / "helper.py").write_text("LIMIT = 47\n")
    before = kept_code(tmp_path)
    assert kept_code(tmp_path) == before
    assert before.is_dir()
    (tmp_path / "helper.py").write_text("LIMIT = 49\n")
    after = kept_code(tmp_path)
    assert after != before
    assert after.is_dir()
    assert not before.exists()


def test_a_folder_that_cannot_be_written_is_left_to_the_users_cache(tmp_path):
    (tmp_path / "__pycache__").write_text("a file stands in the way")
    assert kept_code(tmp_path) is None


def test_the_kernel_is_kept_there(reduced, good_plan):
    reduced(good_plan.columns(500.0))
    assert KEPT is not None
    assert any(file.name.startswith("kernel.reduce_swings") for file in KEPT.rglob("*.nbi"))
