"""A file is there whole, or as it was; what the disk refuses is a sentence."""

import pytest

from edgewheel.cli.main import main
from edgewheel.errors import BenchError
from edgewheel.wholefile import make_folder, whole_file, write_whole


def test_a_file_cut_short_is_as_it_was_and_leaves_nothing_beside_it(tmp_path):
    path = tmp_path / "table.csv"
    write_whole(path, "tick\n")
    with pytest.raises(RuntimeError), whole_file(path) as file:
        file.write("half of")
        raise RuntimeError
    assert path.read_text() == "tick\n"
    assert list(tmp_path.iterdir()) == [path]


def test_a_file_in_no_folder_and_a_folder_in_a_file_are_refused_in_a_sentence(tmp_path):
    with pytest.raises(BenchError, match="cannot be written: No such file"):
        write_whole(tmp_path / "no" / "table.csv", "tick\n")
    write_whole(tmp_path / "file", "")
    with pytest.raises(BenchError, match="cannot be made: Not a directory"):
        make_folder(tmp_path / "file" / "folder")


@pytest.mark.parametrize("command", [["faults", "--svg"], ["draw", "36-minus-1", "--svg"]])
def test_the_disk_is_the_benchs_fault_whatever_was_to_be_written(tmp_path, capsys, command):
    (tmp_path / "file").write_text("")
    assert main([*command, str(tmp_path / "file" / "x.svg")]) == 3
    assert "cannot be" in capsys.readouterr().err
