"""Keys under former names: the scene is the same, one line says the new name, and nothing stops."""

from __future__ import annotations

from pathlib import Path

import pytest

from underlit.catalogue import FOLDER_VARIABLE
from underlit.cli import main
from underlit.scene import SceneError, load_scene, scene_from_dict
from underlit.scene.keys import models

SCENE = """\
[tank]
inside_size = ["30 cm", "20 cm", "20 cm"]
panes = "overgrown"
[tank.left]
gives_back = 0.4
[[fixture]]
output = { ppf = "12 umol/s" }
[fixture.kept]
warm = 0.9
age = 0.8
[[plants]]
name = "stems"
kind = "stems"
rectangle = [["2 cm", "2 cm"], ["9 cm", "9 cm"]]
height = "5 cm"
grows = "1 cm"
grown = "2 weeks"
"""
RENAMED = {
    ("Wall", "gives_back"): ("tank.left.gives_back", "returned_per_reflection", 5),
    ("Fixture", "kept"): ("fixture[0].kept", "light_loss_factors", 8),
    ("LightLossFactors", "warm"): ("fixture[0].kept.warm", "temperature", 9),
    ("Plants", "grows"): ("plants[0].grows", "grows_per_week", 16),
}
"""Model and former key: where the scene above has it, its name now, its line."""


def present(text: str) -> str:
    """The scene above with the names that the keys have now."""
    for (_, old), (_, new, _) in RENAMED.items():
        text = text.replace(f"{old} =", f"{new} =").replace(f".{old}]", f".{new}]")
    return text


def written(folder: Path, text: str, name: str = "tank.toml") -> Path:
    file = folder / name
    file.write_text(text, "utf-8")
    return file


def test_every_former_name_is_tried_here() -> None:
    assert {(model.__name__, old) for model in models() for old in model.renamed} == set(RENAMED)
    assert "gives_back" not in present(SCENE)


def test_the_scene_is_the_same_and_each_key_is_told_in_one_line(tmp_path: Path) -> None:
    file = written(tmp_path, SCENE)
    scene, new = load_scene(file), load_scene(written(tmp_path, present(SCENE), "new.toml"))
    assert scene.model_dump() == new.model_dump()
    assert new.notes == []
    assert set(scene.notes) == {
        f"{file}:{line}: {key}: this key is now called {name}; the old name still works"
        for key, name, line in RENAMED.values()
    }
    assert scene.fixtures[0].light_loss_factors.total == pytest.approx(0.72)


def test_both_names_at_once_are_refused(tmp_path: Path) -> None:
    both = SCENE.replace("gives_back = 0.4", "gives_back = 0.4\nreturned_per_reflection = 0.3")
    with pytest.raises(SceneError) as refused:
        load_scene(written(tmp_path, both))
    (line,) = str(refused.value).splitlines()
    assert line.endswith(
        "tank.toml:5: tank.left.gives_back: is given twice (gives_back, returned_per_reflection): "
        "remove gives_back, the former name"
    )


def test_what_is_wrong_with_a_renamed_key_has_its_line(tmp_path: Path) -> None:
    with pytest.raises(SceneError) as refused:
        load_scene(written(tmp_path, SCENE.replace("warm = 0.9", "warm = 9.0")))
    assert "tank.toml:9: fixture[0].light_loss_factors.temperature: must be at most 1" in str(refused.value)


@pytest.mark.parametrize(("below", "above"), [(SCENE, "returned_per_reflection"), (present(SCENE), "gives_back")])
def test_a_file_changes_its_base_by_either_name(tmp_path: Path, below: str, above: str) -> None:
    written(tmp_path, below, "base.toml")
    scene = load_scene(written(tmp_path, f'base = "base.toml"\n[tank.left]\n{above} = 0.6\n'))
    assert scene.returned_per_reflection("left") == 0.6
    assert any("tank.left.gives_back" in note for note in scene.notes)


def test_an_own_entry_may_use_a_former_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    entry = '[[tank]]\nname = "mine"\nabout = "Mine."\nsource = "own"\nsets.inside_size = ["30 cm", "20 cm", "20 cm"]\n'
    own = written(tmp_path, entry + "sets.left = { gives_back = 0.5 }\n", "own.toml")
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path))
    scene = scene_from_dict({"tank": {"from": "mine"}})
    assert scene.returned_per_reflection("left") == 0.5
    assert [note for note in scene.notes if note.startswith(f"{own}:6: tank.left.gives_back: ")]


def test_the_tanks_of_a_rack_tell_theirs(tmp_path: Path) -> None:
    other = SCENE.split("[[fixture]]")[0]
    written(tmp_path, other, "other.toml")
    rack = '[[rack]]\nname = "other"\nfile = "other.toml"\nat = ["50 cm", "0 cm"]\n'
    scene = load_scene(written(tmp_path, present(SCENE) + rack))
    (note,) = scene.notes
    assert note.startswith(f"{tmp_path / 'other.toml'}:5: tank.left.gives_back: ")


def test_a_check_says_so_and_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["check", str(written(tmp_path, SCENE))]) == 0
    said = " ".join("".join(capsys.readouterr()).split())
    assert "this key is now called light_loss_factors" in said
