import io
import tempfile
from zipfile import ZipFile

from doe.project import Project
from doe.store import ProjectFile


def test_the_copy_is_the_whole_project_with_its_files(visitor, project, tmp_path):
    """Unpacked elsewhere it is sound, and everything that counts is the same."""
    project.file.attach("1", "back.jpg", b"not really a photo")
    answer = visitor.get("/backup.zip")
    assert answer.headers["content-disposition"] == 'attachment; filename="rig.zip"'
    ZipFile(io.BytesIO(answer.content)).extractall(tmp_path / "elsewhere")
    found = Project.open(tmp_path / "elsewhere" / "rig.duckdb").file
    assert found.check() == []
    assert found.fingerprint() == project.file.fingerprint()
    assert [item["path"].read_bytes() for item in found.attachments()] == [b"not really a photo"]


def test_the_copy_leaves_nothing_behind(visitor, monkeypatch, tmp_path):
    """Neither when it is sent nor when it cannot be made."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    before = sorted(tmp_path.iterdir())
    assert visitor.get("/backup.zip").status == 200

    def full(*_, **__):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("doe.web.files.ZipFile", full)
    answer = visitor.get("/backup.zip")
    assert answer.status == 503
    assert "No space left on device" in answer.text
    assert sorted(tmp_path.iterdir()) == before


def test_of_the_spreadsheet_the_project_can_be_made_again(visitor, project, tmp_path):
    """As of the command's export; where there are photos, they are in the copy only."""
    project.file.take_back(project.file.history()[-1].id)
    (tmp_path / "rig.xlsx").write_bytes(visitor.get("/export.xlsx").content)
    again = ProjectFile.restore(tmp_path / "again.duckdb", tmp_path / "rig.xlsx")
    assert again.fingerprint() == project.file.fingerprint()


def test_history_leads_to_both(visitor):
    page = visitor.get("/history")
    assert 'href="/backup.zip"' in page.html and 'href="/export.xlsx"' in page.html
