LOG = "variant,vents,rings,wool,driver,bass,Who\n7,1,9,0,paper,3.2,Ann\n8,9,9,5,papre,loud,Bo\n"


def upload(visitor, text, name="log.csv"):
    page = visitor.get("/import")
    return visitor.send(page, "/import", files=[("file", (name, text.encode()))])


def test_each_problem_is_shown_at_its_cell(visitor, project):
    page = upload(visitor, LOG)
    assert page.status == 422
    assert "Nothing can be stored yet: 3 cells to put right." in page.text
    for cell in ("9", "papre", "loud"):
        assert f'<td class="wrong-cell"><bdi>{cell}</bdi><small>' in page.html
    assert "Store it all" not in page.text
    assert len(project.file.variants()) == 3


def test_a_sound_file_is_looked_at_mapped_and_stored_once(visitor, project):
    page = upload(
        visitor, "variant,vents,rings,wool,driver,Bass in dB,Who\n7,1,9,0,paper,3.2,Ann\n8,2,9,5,poly,3.0,Ann\n"
    )
    headings = [value for name, value in page.form("/import")["fields"] if name == "heading"]
    targets = ["bass" if heading == "Bass in dB" else "rater" if heading == "Who" else "" for heading in headings]
    page = visitor.send(page, "/import", target=targets)
    assert page.status == 200
    assert "2 variants, 2 readings" in page.text
    assert len(project.file.variants()) == 3
    stored = visitor.send(page, "/import/store")
    assert stored.status == 200
    assert [item.name for item in project.file.variants()] == ["1", "2", "3", "7", "8"]
    assert project.file.readings()[-1]["rater"] == "Ann"
    again = upload(visitor, "variant,vents\n")
    assert again.status == 422


def test_what_is_no_spreadsheet_is_told(visitor, project):
    before = project.file.fingerprint()
    for name, text in (
        ("log.csv", ""),
        ("log.xlsx", "no workbook"),
        ("log.csv", "\0\0\0\1"),
        ("x" * 500 + ".csv", "a,b\n"),
    ):
        page = upload(visitor, text, name)
        assert page.status in (413, 422), name
    assert visitor.send(visitor.get("/import"), "/import").status == 422
    assert project.file.fingerprint() == before
