"""The text of a scene as the app edits it: comments stay, and no text reaches a file outside its folder."""

from __future__ import annotations

from pathlib import Path

import pytest

pytest.importorskip("nicegui")

from underlit.app.document import MOST_CHARACTERS, MOST_THINGS, Document, DocumentError, adopted, read_scene
from underlit.scene import load_scene

SCENES = Path(__file__).resolve().parents[2] / "scenes"
BARE = (SCENES / "bare-box.toml").read_text(encoding="utf-8")
STONE = '[[stone]]\nname = "s"\nat = ["5 cm", "5 cm"]\nmesh = '


def checked(text: str, folder: Path) -> None:
    """Read a text as a session does."""
    path = folder / "A-draft.toml"
    path.write_text(text, encoding="utf-8")
    try:
        read_scene(Document(text), path)
    finally:
        path.unlink()


@pytest.mark.parametrize("name", sorted(path.name for path in SCENES.glob("*.toml")))
def test_what_is_only_opened_is_saved_to_the_letter(name: str) -> None:
    text = (SCENES / name).read_text(encoding="utf-8")
    assert Document(text).text == text


def test_an_edit_changes_its_line_and_no_other() -> None:
    document = Document(BARE)
    document.set("fixture", 0, "above_rim", value="12 cm")
    assert document.text == BARE.replace('above_rim = "5 cm"', 'above_rim = "12 cm"')
    document.set("zone", 1, "why", value=None)
    assert "where taller plants will end" not in document.text
    assert "# A small bare tank with one little light" in document.text


def test_things_are_added_doubled_and_taken_out() -> None:
    document = Document(BARE)
    assert document.duplicate("fixture", 0, "second light") == 1
    document.set("fixture", 1, "above_rim", value="9 cm")
    assert document.get("fixture", 0, "above_rim") == "5 cm"
    assert document.get("fixture", 1, "channel", 0, "spectrum") == "LED-B3"
    assert document.add("stone", {"name": "s", "at": ["5 cm", "5 cm"]}) == 0
    document.remove("stone", 0)
    document.remove("fixture", 1)
    assert Document(document.text).get("stone") is None
    assert len(document.get("fixture")) == 1


@pytest.mark.parametrize("name", sorted(path.name for path in SCENES.glob("*.toml")))
def test_an_adopted_scene_is_the_same_scene(tmp_path: Path, name: str) -> None:
    """Laid on its bases, with copies of the files it names: equal to what the file itself means."""
    text = adopted(SCENES / name, tmp_path)
    scene = read_scene(Document(text), _written(tmp_path / "here.toml", text))
    said = load_scene(SCENES / name)
    leave_out = {"base": True, "rack": {"__all__": {"file"}}}
    assert scene.model_dump_json(exclude=leave_out) == said.model_dump_json(exclude=leave_out)
    assert [tank.scene.title for tank in scene.rack] == [tank.scene.title for tank in said.rack]


def _written(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path


def test_adopting_keeps_comments_and_never_writes_over_a_file(tmp_path: Path) -> None:
    here, there = tmp_path / "session", tmp_path / "owner"
    here.mkdir()
    there.mkdir()
    (here / "root.stl").write_bytes(b"another visitor's root")
    (there / "root.stl").write_bytes(b"mine")
    (there / "low.toml").write_text(f"# the tank as it stands\n{BARE}", encoding="utf-8")
    scene = _written(there / "high.toml", 'base = "low.toml"\n# a stone is tried\n' + STONE + '"root.stl"\n')
    text = adopted(scene, here)
    assert "# the tank as it stands" in text
    assert Document(text).get("stone", 0, "mesh") == "root-2.stl"
    assert (here / "root.stl").read_bytes() == b"another visitor's root"
    assert (here / "root-2.stl").read_bytes() == b"mine"


def test_scenes_that_lead_back_to_themselves_are_refused(tmp_path: Path) -> None:
    folder = tmp_path / "session"
    folder.mkdir()
    loop = _written(tmp_path / "loop.toml", 'base = "loop.toml"\n')
    rack = _written(tmp_path / "rack.toml", '[[rack]]\nname = "r"\nfile = "rack.toml"\nat = ["1 m", "0 m"]\n')
    for path in (loop, rack):
        with pytest.raises(DocumentError, match="back to itself"):
            adopted(path, folder)


@pytest.mark.parametrize(
    "text",
    [
        BARE + STONE + '"/etc/passwd"\n',
        BARE + STONE + '"../secret"\n',
        BARE + STONE + '"session/../../secret.stl"\n',
        BARE + STONE + '"link.stl"\n',
        BARE + STONE + '"A-draft.toml"\n',
        BARE + STONE + '"missing.stl"\n',
        'base = "../x.toml"\n' + BARE,
        'base = "table.csv"\n',
        'base = ["table.csv"]\n' + BARE,
        BARE + '[[rack]]\nname = "r"\nfile = "table.csv"\nat = ["1 m", "0 m"]\n',
        BARE + '[[rack]]\nname = "r"\nfile = "rack.toml"\nat = ["1 m", "0 m"]\n',
        BARE.replace('spectrum = "LED-B3"', 'spectrum = { file = "/etc/passwd" }'),
        BARE.replace('lens = "lambertian"', 'photometric_file = "../secret"'),
        BARE.replace('depth = "2 cm"', 'heights = { file = "/etc/passwd" }'),
    ],
    ids=range(14),
)  # fmt: skip
def test_no_scene_reaches_a_file_outside_its_folder(tmp_path: Path, text: str) -> None:
    """Neither by itself nor by another file that is among the visitor's own."""
    (tmp_path / "secret.stl").write_text("solid secret\nendsolid\n")
    folder = tmp_path / "session"
    folder.mkdir()
    (folder / "link.stl").symlink_to(tmp_path / "secret.stl")
    outside = STONE + f'"{tmp_path}/secret.stl"\n'
    (folder / "table.csv").write_text(BARE + outside)
    (folder / "rack.toml").write_text(BARE + outside)
    with pytest.raises(DocumentError, match=r"not uploaded|cannot have a base|must end in") as refused:
        checked(text, folder)
    assert "root:" not in str(refused.value), "nothing of the file is told"


@pytest.mark.parametrize(
    "text",
    [
        "title = " + "[" * 5000 + "]" * 5000, "a = " + "{ a = " * 3000 + "1" + "}" * 3000, ".".join("a" * 3000) + " = 1",
        "[" + ".".join("a" * 3000) + "]", "x = '" + "a" * 5_000_000 + "'", "[[tank]]\n[tank]", "\0", "[tank", "tank = 1",
        BARE.replace('"5 cm"', '"1e999 cm"'), BARE.replace('"5 cm"', "nan"), BARE.replace('"5 cm"', '"-0x5 cm"'), "",
        BARE + '[[zone]]\nname = "z"\n' * (MOST_THINGS + 1),
    ],
    ids=range(14),
)  # fmt: skip
def test_hostile_texts_are_refused_in_words(tmp_path: Path, text: str) -> None:
    with pytest.raises(DocumentError):
        checked(text, tmp_path)


def test_the_longest_text_is_taken() -> None:
    Document("#" * MOST_CHARACTERS)
    with pytest.raises(DocumentError, match="the limit is"):
        Document("#" * (MOST_CHARACTERS + 1))


def test_a_key_under_a_former_name_is_read_and_set_where_it_stands() -> None:
    document = Document("[tank.left]\ngives_back = 0.4\n[[fixture]]\n[fixture.kept]\nwarm = 0.9\n")
    assert document.get("tank", "left", "returned_per_reflection") == 0.4
    assert document.get("fixture", 0, "light_loss_factors", "temperature") == 0.9
    document.set("tank", "left", "returned_per_reflection", value=0.2)
    document.set("fixture", 0, "light_loss_factors", "dirt", value=0.7)
    assert document.text == "[tank.left]\ngives_back = 0.2\n[[fixture]]\n[fixture.kept]\nwarm = 0.9\ndirt = 0.7\n"
    document.lay_on(Document("[tank.left]\nreturned_per_reflection = 0.1\n"))
    assert document.get("tank") == {"left": {"returned_per_reflection": 0.1}}
