"""The configuration folder: what staff write is taken, what is wrong is named."""

import pytest
from pydantic import ValidationError

from pipeline.conditions import as_text
from pipeline.errors import LanguageError, SettingsError
from pipeline.settings import Settings, load_settings


def test_an_empty_folder_gives_the_defaults(tmp_path):
    assert load_settings(tmp_path) == Settings()


def test_a_value_is_taken_and_the_rest_stays(tmp_path):
    (tmp_path / "settings.toml").write_text("[actions.drive]\ngain_ft = 9\n[night]\npiece_s = 2.5\n")
    (tmp_path / "faults").mkdir()
    crowded = next(one for one in Settings().faults.files if one.name == "crowded_paint.fault").text
    (tmp_path / "faults" / "crowded_paint.fault").write_text(crowded.replace("count >= 5", "count >= 4"))
    settings = load_settings(tmp_path)
    assert settings.actions.drive.gain_ft == 9
    assert settings.actions.drive.speed_ft_s == Settings().actions.drive.speed_ft_s
    assert settings.night.piece_s == 2.5
    (rule,) = settings.faults.library
    assert as_text(rule.where) == "count >= 4"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[actions.drive]\ngain = 9", "did you mean 'actions.drive.gain_ft'"),
        ("[action]\n", "did you mean 'actions'"),
        ("[actions.drive]\ngain_ft = -1", "actions.drive.gain_ft"),
        ("[actions.drive]\ngain_ft = 'far'", "cannot be 'far'"),
        ("[actions.drive\n", "not valid TOML"),
        ("[faults.crowded_paint]\nothers_at_least = 4", "files in faults/"),
        ("actions = 3", "actions"),
    ],
)
def test_a_mistake_is_named(tmp_path, text, message):
    (tmp_path / "settings.toml").write_text(text)
    with pytest.raises(SettingsError, match=message) as caught:
        load_settings(tmp_path)
    assert "settings.toml" in str(caught.value)


def test_a_mistake_in_the_fault_library_is_named(tmp_path):
    (tmp_path / "faults").mkdir()
    file = tmp_path / "faults" / "crowded_paint.fault"
    file.write_text('fault crowded_paint "Crowded paint"\n  frm arrival\n')
    with pytest.raises(LanguageError, match=r"crowded_paint\.fault, line 2, column 3.*did you mean 'from'"):
        load_settings(tmp_path)
    file.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(SettingsError, match="UTF-8"):
        load_settings(tmp_path)


def test_the_fault_file_of_earlier_versions_is_refused(tmp_path):
    (tmp_path / "faults.toml").write_text("[crowded_paint]\nothers_at_least = 4\n")
    with pytest.raises(SettingsError, match="no longer read"):
        load_settings(tmp_path)


def test_a_missing_folder_is_named(tmp_path):
    with pytest.raises(SettingsError, match="does not exist"):
        load_settings(tmp_path / "no")


def test_settings_do_not_change():
    with pytest.raises(ValidationError):
        Settings().night.piece_s = 9
