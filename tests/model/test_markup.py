from html.parser import HTMLParser

import pytest

from doe.model import markup

NASTY = '<script>alert("x")</script> & <b>'


@pytest.mark.parametrize(
    "made",
    [
        markup.headline(NASTY),
        markup.paragraphs([NASTY]),
        markup.listing([NASTY]),
        markup.table([NASTY], [[NASTY]]),
        markup.facts(NASTY, [(NASTY, NASTY)]),
    ],
)
def test_text_is_escaped_everywhere(made):
    whole = markup.shown(made)
    assert "<script" not in whole
    assert "<b>" not in whole
    assert "&lt;script&gt;alert(&quot;x&quot;)&lt;/script&gt; &amp; &lt;b&gt;" in whole


def test_columns_of_numbers_stand_to_the_right_and_text_to_the_left():
    """A column counts as numbers only where every cell is one; ranges and intervals are text."""
    made = markup.table(["run", "share", "from - to"], [[1, "<1 %", "7 to 12"], [12, "-", "0 to 6"]])
    assert made.count('class="n"') == 2 * 3
    assert "<td>7 to 12</td>" in made
    assert '<td class="n">12</td>' in made
    assert "<th>empty</th>" in markup.table(["empty"], [])


def test_what_is_shown_is_whole_html_without_scripts_or_addresses():
    """Every tag that opens is closed, and nothing is fetched."""
    whole = markup.shown(markup.headline("a"), markup.listing(["b"], is_ranked=True), markup.table(["c"], [[1]]))

    class Balance(HTMLParser):
        def __init__(self):
            super().__init__()
            self.open_tags = []

        def handle_starttag(self, tag, attrs):
            self.open_tags.append(tag)

        def handle_endtag(self, tag):
            assert self.open_tags.pop() == tag

    parser = Balance()
    parser.feed(whole)
    assert parser.open_tags == []
    assert not any(word in whole for word in ("<script", "url(", "http", "@import"))


def test_nothing_to_say_leaves_nothing():
    assert markup.headline("") == markup.paragraphs([]) == ""
