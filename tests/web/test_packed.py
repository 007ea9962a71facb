import asyncio
import gzip

import httpx
import pytest

from doe.web.packed import unpacks

NAMES = ("plotly.js", "app.js", "app.css", "mark.svg")


def fetched(app, path, accepted):
    """Return an answer as it comes over the wire, still packed."""

    async def ask():
        transport = httpx.ASGITransport(app)
        async with (
            httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as client,
            client.stream("GET", path, headers={"Accept-Encoding": accepted}) as answer,
        ):
            return answer, b"".join([part async for part in answer.aiter_raw()])

    return asyncio.run(ask())


@pytest.mark.parametrize("name", NAMES)
def test_scripts_and_style_sheets_come_packed_to_who_can_unpack_them(app, name):
    plain, body = fetched(app, f"/static/{name}", "identity")
    packed, small = fetched(app, f"/static/{name}", "gzip, deflate, br")
    assert "content-encoding" not in plain.headers
    assert packed.headers["content-encoding"] == "gzip"
    assert gzip.decompress(small) == body
    for answer, sent in ((plain, body), (packed, small)):
        assert answer.headers["vary"] == "Accept-Encoding"
        assert answer.headers["content-length"] == str(len(sent))
        assert answer.headers["cache-control"] == "max-age=3600"
    assert packed.headers["content-type"] == plain.headers["content-type"]


def test_the_library_that_draws_is_a_third_of_its_size_and_packed_once(app, monkeypatch):
    """Under a third: deflate on minified script (from memory, 3 to 4 times)."""
    _, body = fetched(app, "/static/plotly.js", "identity")
    _, small = fetched(app, "/static/plotly.js", "gzip")
    assert len(small) < len(body) / 3
    monkeypatch.setattr(gzip, "compress", None)
    assert fetched(app, "/static/plotly.js", "gzip")[1] == small


def test_pages_are_not_packed_and_a_wrong_name_says_so(app):
    """A page holds a token beside what others typed: packed together, its size would tell about the token (BREACH, 2013)."""
    assert "content-encoding" not in fetched(app, "/variants", "gzip")[0].headers
    answer, body = fetched(app, "/static/nothing.js", "gzip")
    assert answer.status_code == 404
    assert "content-encoding" not in answer.headers
    assert b"There is no such page" in body


@pytest.mark.parametrize(
    ("accepted", "can"),
    [("gzip", True), ("br, GZIP;q=0.5", True), ("*", True), ("", False), ("br", False), ("gzip;q=0", False),
     ("gzip; q=0.0, *", False), ("*;q=0", False), ("identity, *;q=0.1", True)],
)  # fmt: skip
def test_who_can_unpack_says_so(accepted, can):
    """RFC 9110, 12.5.3: a weight of nothing means no, a star stands for what is not named."""
    assert unpacks(accepted) is can
