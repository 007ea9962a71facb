"""Which project a command works on."""

import shutil


def title_of(fettle, *words):
    return fettle("history", *words).out.splitlines()[1].partition("'")[2].partition("'")[0]


def made(fettle, name, title):
    assert fettle("init", name, "--title", title).code == 0


def test_the_only_project_in_the_folder_is_meant(rig, fettle):
    assert title_of(fettle) == "Test rig"


def test_the_option_goes_before_the_environment_and_that_before_the_folder(rig, tmp_path, fettle, monkeypatch):
    (tmp_path / "elsewhere").mkdir()
    made(fettle, "elsewhere/one", "One")
    made(fettle, "elsewhere/two", "Two")
    monkeypatch.setenv("FETTLE_PROJECT", "elsewhere/one.duckdb")
    assert title_of(fettle) == "One"
    assert title_of(fettle, "--project", "elsewhere/two.duckdb") == "Two"


def test_the_ending_may_be_left_out_and_a_folder_stands_for_its_only_project(rig, tmp_path, fettle):
    (tmp_path / "elsewhere").mkdir()
    made(fettle, "elsewhere/one", "One")
    assert title_of(fettle, "--project", "elsewhere/one") == "One"
    assert title_of(fettle, "--project", "elsewhere") == "One"


def test_the_option_may_stand_in_front_of_the_command(rig, fettle):
    assert fettle("--project", "rig", "variants").code == 0
    assert fettle("--project=rig.duckdb", "variants").code == 0


def test_several_projects_in_a_folder_are_named(rig, fettle):
    shutil.copy(rig, rig.with_name("copy.duckdb"))
    done = fettle("variants")
    assert (done.code, done.out) == (2, "")
    assert done.err == (
        "There are 2 projects in this folder, copy.duckdb and rig.duckdb; say which with --project FILE.\n"
        "'fettle variants --help' shows what it takes.\n"
    )


def test_no_project_is_told_so(fettle):
    sentence = "There is no project in this folder; start one with 'fettle init', or name one with --project FILE.\n"
    done = fettle("variants")
    assert (done.code, done.out, done.err) == (1, "", sentence)


def test_a_new_file_is_named_after_title_or_folder(tmp_path, fettle, monkeypatch):
    assert "in desk-fan-no-2.duckdb" in fettle("init", "--title", "Desk fan: no. 2").out
    folder = tmp_path / "Kettle lid"
    folder.mkdir()
    monkeypatch.chdir(folder)
    assert "in kettle-lid.duckdb" in fettle("init").out


def test_a_setup_that_cannot_be_read_is_named(tmp_path, fettle):
    """The sentence names the file; nothing is made."""
    keys = "name, kind, low, high, step, levels, unit, way, minutes, minutes_per_step, price, prices and note"
    written = 'text stands in quotes, a list in brackets, and each key on a line of its own: levels = ["felt", "cork"]'
    texts = {
        "title = Radio": f"bad.toml is no TOML that can be read: line 1, column 9, 'title = Radio'; {written}.",
        '[[factor]]\nname = "a"\nname = "b"': (
            "bad.toml is no TOML that can be read: its last line; a key stands a second time."
        ),
        '[[factor]]\nname = "a"\nname = "b"\n': (
            "bad.toml is no TOML that can be read: line 3, column 11, 'name = \"b\"'; a key stands a second time."
        ),
        '[[factor]]\nlevels = ["a",': f"bad.toml is no TOML that can be read: it ends too early; {written}.",
        '[[factor]]\nname = "a"\nlow = 0\nhihg = 2': (
            f"bad.toml: [[factor]] a has an unknown key 'hihg'; it may have {keys}. Did you mean 'high'?"
        ),
        '[[factor]]\nname = "a"\nlow = 3\nhigh = 2': "bad.toml: Factor 'a': low (3) must be below high (2).",
        '[[limit]]\nrule = "a > 2"': "bad.toml: Limit 'a > 2' uses 'a', which is no factor; none is defined yet.",
    }
    for text, sentence in texts.items():
        (tmp_path / "bad.toml").write_text(text, encoding="utf-8")
        done = fettle("init", "new", "--setup", "bad.toml")
        assert (done.code, done.out, done.err) == (1, "", f"{sentence}\n")
    assert fettle("init", "new", "--setup", "none.toml").err == "There is no setup file 'none.toml'.\n"
    assert not (tmp_path / "new.duckdb").exists()
