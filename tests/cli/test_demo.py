"""The demo and the report, through the real command."""

import re
from html.parser import HTMLParser

import pytest

import doe
from doe.store import ProjectFile
from tests.cli.running import command

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def walked(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo")
    return folder, command("demo", cwd=folder)


def test_the_demo_tells_what_its_script_planted(walked):
    """The driver moves bass, the inner air (rings and wool) moves echo, vents and feet are too small to matter."""
    _, done = walked
    assert (done.code, done.err) == (0, "")
    answers = {line.split()[0]: line for line in done.out.splitlines() if re.match(r"(Bass|Echo|Decay) follows", line)}
    assert answers["Bass"].startswith("Bass follows driver; ")
    assert answers["Echo"].startswith("Echo follows rings and wool; ")
    for answer in (answers["Bass"], answers["Echo"]):
        assert "vents" in answer.split(";")[1]
        assert "feet" in answer.split(";")[1]
        assert answer.endswith("too small to matter.")
    assert "  Echo follows inner air; " in done.out


def test_the_demo_names_the_next_change_and_what_to_open(walked):
    _, done = walked
    assert re.search(r"^Next: .+; best so far is variant \d+\.$", done.out, re.M)
    assert re.search(r"^1\. \w+: ", done.out, re.M)
    assert "\n  radio-demo/reports/radio.html  the whole story with charts; open it in a browser\n" in done.out


def test_the_demo_leaves_a_sound_project_with_its_advice_on_record(walked):
    folder, _ = walked
    file = ProjectFile.open(folder / "radio-demo" / "radio.duckdb")
    assert file.check() == []
    assert [entry.kind for entry in file.history()] == ["create", "import", "suggestion"]
    assert sorted(path.name for path in (folder / "radio-demo").iterdir()) == [
        "log.csv", "radio.duckdb", "reports", "setup.toml",
    ]  # fmt: skip


def test_what_the_demo_proposes_to_try_works(walked):
    folder, done = walked
    words = re.search(r"Then try: cd radio-demo && fettle (.+) && fettle (.+)$", done.out, re.M)
    for line in words.groups():
        assert command(*line.split(), cwd=folder / "radio-demo").code == 0


def test_a_demo_never_goes_into_a_folder_that_holds_something(walked):
    folder, _ = walked
    before = (folder / "radio-demo" / "radio.duckdb").read_bytes()
    done = command("demo", cwd=folder)
    sentence = "'radio-demo' exists and is not empty; give the demo another folder: 'fettle demo FOLDER'.\n"
    assert (done.code, done.out, done.err) == (1, "", sentence)
    assert (folder / "radio-demo" / "radio.duckdb").read_bytes() == before


class Links(HTMLParser):
    """Collect everything that a page would fetch."""

    def __init__(self):
        super().__init__()
        self.found = []

    def handle_starttag(self, tag, attrs):
        self.found += [
            value for name, value in attrs if name in ("src", "href") and not value.startswith(("#", "data:"))
        ]


def test_the_report_is_one_page_that_fetches_nothing(walked):
    folder, _ = walked
    page = (folder / "radio-demo" / "reports" / "radio.html").read_text(encoding="utf-8")
    links = Links()
    links.feed(page)
    assert links.found == []
    assert "Tabletop radio" in page


def seen(path):
    """Return a page without the data of its charts, whose last digits depend on the number of threads."""
    return re.sub(r"<script.*?</script>", "", path.read_text(encoding="utf-8"), flags=re.DOTALL)


def test_the_command_gives_the_report_of_the_python_interface_and_over_no_other_file(walked):
    """Refused until told to replace; then every word and every rounded number is the same."""
    folder, _ = walked
    here = folder / "radio-demo"
    written = doe.report(doe.open(here / "radio.duckdb"), here / "again.html")
    before, python = written.read_bytes(), seen(written)
    done = command("report", "again.html", cwd=here)
    assert (done.code, done.out) == (1, "")
    assert "again.html" in done.err
    assert written.read_bytes() == before
    written.write_text("another", encoding="utf-8")
    done = command("report", "again.html", "--replace", cwd=here)
    assert done.out == "Written: again.html. Open it in a browser.\n"
    assert seen(written) == python
    assert "Bass follows driver" in python


def test_the_second_demo_walks_too(tmp_path):
    done = command("demo", "two fans", "--fan", cwd=tmp_path)
    assert (done.code, done.err) == (0, "")
    assert done.out.startswith("Desk fan. ")
    assert "\nWhine follows blades" in done.out
    assert '\nThen try: cd "two fans" && fettle show 17 ' in done.out
    assert (tmp_path / "two fans" / "reports" / "fan.html").exists()
