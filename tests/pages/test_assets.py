"""What is sent of the pages' own files."""

from __future__ import annotations

from app.pages.assets import FOLDER, PHONE, assets, without_comments


def test_scripts_go_without_comments_on_the_lines_that_they_have_in_their_files() -> None:
    script = b"// why\nconst a = 'http://b'; // stays\n/** What\n *  it is. */\nexport { a };\n"
    assert without_comments(script) == b"\nconst a = 'http://b'; // stays\n\n\nexport { a };\n"
    for name, asset in assets().items():
        if name.endswith(".js") and name != PHONE:
            written = (FOLDER / name).read_bytes().split(b"\n")
            sent = asset.plain.split(b"\n")
            assert len(sent) == len(written)
            assert all(line in (b"", written[at]) for at, line in enumerate(sent)), name
