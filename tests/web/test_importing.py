import re

from doe.model.setup import Setup
from doe.project import Project
from doe.web import Settings, create_app
from tests.web.client import Visitor

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


def test_of_a_long_file_the_beginning_is_shown_and_every_line_to_put_right(visitor):
    """Lines are numbered from the headings on: 60 of 70 stand there, and line 69 beside them."""
    lines = [f"v{number},{99 if number == 69 else 2},9,0,paper,1" for number in range(2, 72)]
    page = upload(visitor, "\n".join(["variant,vents,rings,wool,driver,bass", *lines]))
    shown = [int(number) for number in re.findall(r"<bdi>v(\d+)</bdi>", page.html)]
    assert shown == [*range(2, 62), 69]
    assert "9 more lines below." in page.text


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
    gone = visitor.send(page, "/import/store", sheet="pushed out by others")
    assert (gone.status, "The file is no longer kept here; choose it again." in gone.text) == (422, True)
    stored = visitor.send(page, "/import/store")
    assert stored.status == 200
    assert "Stored: Imported 2 variants and 2 readings from log.csv. Take it back" in stored.text
    assert [item.name for item in project.file.variants()] == ["1", "2", "3", "7", "8"]
    assert project.file.readings()[-1]["rater"] == "Ann"
    again = upload(visitor, "variant,vents\n")
    assert again.status == 422


def test_a_file_that_was_imported_already_is_told_so_instead_of_at_each_cell(visitor, project):
    text = "variant,vents,rings,wool,driver,bass\n7,1,9,0,paper,3.2\n8,2,9,5,poly,3.0\n"
    assert visitor.send(upload(visitor, text), "/import/store").status == 200
    page = upload(visitor, text)
    entry = project.file.history()[-1].id
    assert page.status == 422
    assert f"log.csv was imported already, as entry {entry}; take that back to import it again." in page.text
    assert "is in the project already" not in page.text
    assert "wrong-cell" not in page.html
    page = upload(visitor, f"{text}9,3,9,5,poly,2.9\n")  # the log went on
    assert page.text.count("is in the project already") == 2 * 2  # in the list, and at the cell


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


TRIES = "Try,vents,rings,wool,driver,bass,Who\n7,1,9,0,paper,3.2,Ann\n8,2,9,5,poly,3.0,Bo\n"


def chosen(page, **targets):
    """What each column is said to be, in the order of the file."""
    headings = [value for name, value in page.form("/import")["fields"] if name == "heading"]
    return [targets.get(heading, "") for heading in headings]


def sent_again(visitor, page, text):
    """Choose another file on a page that shows one; the form for that is the last."""
    fields: dict[str, list[str]] = {}
    for name, value in page.forms[-1]["fields"]:
        fields.setdefault(name, []).append(value)
    return visitor.request("POST", "/import", data=fields, files=[("file", ("mended.csv", text.encode()))])


def test_columns_that_are_not_read_are_named_above_the_button(visitor, project):
    """Nothing is green while a column is left out or each line would be a build; where that is said, it is chosen."""
    page = upload(visitor, TRIES)
    assert page.status == 200
    assert "verdict-good" not in page.html
    assert "as it is" not in page.text
    said = "Not read, since nothing in the project has that name: 'Try' and 'Who'. Say here what each is, or set it to 'not"
    assert page.text.count("nothing in the project has that name") == 1
    assert said in page.text
    assert "No column names the variant, so each line is taken for a build of its own." in page.text
    assert page.html.index("<details open><summary>Which column is what") < page.html.index("Store it all the same")
    page = visitor.send(page, "/import", target=chosen(page, Try="variant"))
    assert "verdict-good" not in page.html
    assert "has that name: 'Who'. Say here what it is," in page.text
    for who in ("rater", "-"):
        good = visitor.send(page, "/import", target=chosen(page, Try="variant", Who=who))
        assert "verdict-good" in good.html
        assert "It can be read as it is: 2 variants, 2 readings" in good.text
        assert "<details open>" not in good.html
    visitor.send(good, "/import/store")
    assert [item.name for item in project.file.variants()] == ["1", "2", "3", "7", "8"]


def test_what_was_chosen_holds_for_the_file_put_right(visitor):
    page = upload(visitor, TRIES.replace("3.2", "loud"))
    page = visitor.send(page, "/import", target=chosen(page, Try="variant", Who="rater"))
    assert page.status == 422
    mended = sent_again(visitor, page, TRIES)
    assert "It can be read as it is: 2 variants, 2 readings" in mended.text
    assert chosen(mended, Try="variant", Who="rater") == [
        value for name, value in mended.form("/import/store")["fields"] if name == "target"
    ]


def test_what_was_chosen_does_not_hold_for_other_columns(visitor):
    page = upload(visitor, TRIES)
    page = visitor.send(page, "/import", target=chosen(page, Try="variant", Who="rater"))
    fewer = TRIES.replace(",Who", "").replace(",Ann", "").replace(",Bo", "")
    more = TRIES.replace("Who", "Who,Oven").replace("Ann", "Ann,A").replace("Bo", "Bo,B")
    for other in (TRIES.replace("Who", "Whose"), fewer, more):
        answer = sent_again(visitor, page, other)
        assert answer.status == 200
        assert "has that name: 'Try'" in answer.text


def test_without_factors_and_outcomes_the_page_leads_to_them(tmp_path):
    """Else every column of a first spreadsheet would be unknown, and nothing on the page would say why."""
    project = Project.create(tmp_path / "bare.duckdb", Setup(title="Bare"))
    visitor = Visitor(create_app(project.path, Settings(folder=tmp_path)))
    told = "This project has no factors and outcomes yet, so no column can be one."
    page = visitor.get("/import")
    assert told in page.text
    assert '<a href="/setup">Define them first</a>' in page.html
    assert told in visitor.send(page, "/import", files=[("file", ("log.csv", b"hole,loud\n40,3\n"))]).text


def test_with_both_nothing_is_missing(visitor):
    assert "so no column can be one" not in visitor.get("/import").text
