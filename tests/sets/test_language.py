"""The language of set files: reading, printing back, errors that point."""

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.actions.vocabulary import KIND, trait_names
from pipeline.court.places import PLACES
from pipeline.errors import LanguageError, LibraryError, SettingsError
from pipeline.sets.definition import Need, Side, Window
from pipeline.sets.library import read_set_file, read_sets, set_path
from pipeline.sets.phrases import BY_FOLD, PHRASES, PREPOSITIONS, roles_by_word
from pipeline.sets.printing import set_text
from pipeline.sets.reading import read_set

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
FILES = sorted((CONFIGS / "sets").glob("*.set"))
EXAMPLE = (CONFIGS / "sets" / "weak_side_motion.set").read_text(encoding="utf-8")

SMALL = """
set give_and_go "Give and go"
  says "Pass, cut, pass back."
  source "common practice, no source"
  lasts up to 8 s
  must end

players   # two will do
  1 guard starts at slot or top on the right, with the ball
  2 wing  usually starts at wing

phase entry: pass from guard to wing
  or handoff from guard to wing where gap_ft < 6 and giver_dribbled = yes
  ends at wing on the right
optional phase cut: basket cut by guard off someone
  from 1 s before to 3 s after end of entry
  ideally top_speed_ft_s > 12
forbidden phase screen: ball screen by wing for guard
  at any time
also wing goes to short corner on the same side as entry

ending return
  phase back: pass from wing to guard
    within 2 s of cut
    happens on the opposite side from start

emphasis speed "How fast he cuts"
  measure top_speed_ft_s of cut
  good from 15 ft/s
  poor below 10
  say poor "{guard} cuts at {value} only."
"""


@pytest.mark.parametrize("path", FILES, ids=[path.stem for path in FILES])
def test_every_set_of_the_library_reads_and_prints_back(path):
    definition = read_set_file(path)
    text = set_text(definition)
    assert read_set(text) == definition
    assert set_text(read_set(text)) == text


def test_the_library_reads():
    assert {one.name for one in read_sets(CONFIGS)} == {path.stem for path in FILES}


def test_a_file_says_what_it_says():
    definition = read_set(SMALL)
    assert definition.name == "give_and_go"
    assert definition.must_end
    assert definition.longest_s == 8.0
    guard, wing = definition.players
    assert guard.with_ball
    assert guard.starts.places == ("slot", "top")
    assert guard.starts.side is Side.RIGHT
    assert wing.usually
    entry, cut, screen = definition.main.phases
    assert [a.kind for a in entry.actions] == ["pass", "handoff"]
    assert entry.actions[0].roles == (("passer", "guard"), ("receiver", "wing"))
    assert cut.need is Need.OPTIONAL
    assert cut.times == (Window(-1.0, 3.0, cut.times[0].anchor),)
    assert cut.actions[0].player("screener") is None
    assert screen.need is Need.FORBIDDEN
    assert screen.any_time
    assert read_set(set_text(definition)) == definition


def test_every_kind_can_be_asked_for():
    for kind in KIND:
        phrase = BY_FOLD[kind]
        assert phrase.kind == kind
        words = roles_by_word(kind)
        assert set(words.values()) <= set(KIND[kind].roles)
    assert set(PREPOSITIONS) <= set(KIND)
    for phrase in PHRASES:
        for trait, value in phrase.traits:
            assert trait in trait_names(phrase.kind)
            values = next(t.values for t in KIND[phrase.kind].traits if t.name == trait)
            assert value in values, phrase


def test_every_place_can_be_named():
    for place in PLACES:
        said = SMALL.replace("at wing on the right", f"at {place.replace('_', ' ')} on the right")
        assert read_set(said).main.phases[0].ends.places == (place,)


MISTAKES = [
    ("phase entry: pass from", "phase entry: pas from", 12, 14, "'pas' is no action; did you mean 'pass'"),
    ("ball screen by", "bal screen by", 18, 25, "'bal screen' is no action; did you mean 'ball screen'"),
    ("pass from guard to wing", "pass from gaurd to wing", 12, 24, "'gaurd' is no player; did you mean 'guard'"),
    ("pass from guard to wing", "pass by guard to wing", 12, 19, "takes 'from' or 'to', not 'by'"),
    ("end of entry", "end of entrance", 16, 39, "'entrance' is no phase here; did you mean 'entry'"),
    ("short corner", "shrt corner", 20, 19, "did you mean 'short corner'"),
    ("ends at wing on the right", "ends at wing on the rihgt", 14, 23, "did you mean 'right'"),
    ("gap_ft < 6", "gapp_ft < 6", 13, 39, "did you mean 'gap_ft'"),
    ("giver_dribbled = yes", "giver_dribbled = yep", 13, 71, "did you mean 'yes'"),
    ("optional phase", "optinal phase", 15, 1, "did you mean 'optional'"),
    ("  source", "  sorce", 4, 3, "did you mean 'source'"),
    ('  source "common practice, no source"\n', "", 2, 5, "has no source"),
    ("2 wing  usually", "7 wing  usually", 10, 3, "numbered 1 to 5"),
    ("2 wing  usually", "1 wing  usually", 10, 5, "two players with the number 1"),
    ("2 wing  usually", "2 guard  usually", 10, 5, "two of the player 'guard'"),
    ("measure top_speed_ft_s of cut", "measure top_sped_ft_s of cut", 28, 11, "did you mean 'top_speed_ft_s'"),
    (
        "measure top_speed_ft_s of cut",
        "measure receiver_speed_ft_s of cut",
        27,
        10,
        "'receiver_speed_ft_s' is no measure of 'cut'",
    ),
    ("good from 15 ft/s", "good from 15 s", 29, 16, "measured in ft/s, not in s"),
    ("poor below 10", "poor below 16", 27, 10, "the same values good and poor"),
    ("good from 15 ft/s", "good is fast", 29, 8, "a number is good or poor"),
    ("phase back", "phase entry", 23, 9, "two phases 'entry' on one way"),
    ("within 2 s of cut", "within 2 ft of cut", 24, 14, "expected 's'"),
    ("phase entry: pass from guard to wing", "phase entry pass from guard to wing", 12, 13, "expected ':'"),
    ("guard off someone", "guard off guard", 15, 21, "cannot be both"),
]


@pytest.mark.parametrize(("right", "wrong", "line", "column", "says"), MISTAKES, ids=[m[1][:30] for m in MISTAKES])
def test_an_error_points_and_suggests(right, wrong, line, column, says):
    assert right in SMALL
    with pytest.raises(LanguageError) as caught:
        read_set(SMALL.replace(right, wrong, 1), "give.set")
    shown = str(caught.value)
    assert says in shown
    assert (caught.value.line, caught.value.column) == (line, column), shown
    assert shown.startswith(f"give.set, line {line}, column {column}: ")


def test_a_file_is_named_after_its_set(tmp_path):
    path = tmp_path / "other.set"
    path.write_text(SMALL)
    with pytest.raises(SettingsError, match="name it give_and_go"):
        read_set_file(path)
    with pytest.raises(SettingsError, match="There is no set file"):
        read_set_file(tmp_path / "none.set")
    path.write_bytes(b"set \xff\xfe")
    with pytest.raises(SettingsError, match="UTF-8"):
        read_set_file(path)


def test_the_nearest_set_is_named():
    with pytest.raises(LibraryError, match="did you mean 'weak_side_motion'"):
        set_path(CONFIGS, "weak_side_moton")


def test_a_set_yields_only_to_sets_that_are_there(tmp_path):
    (tmp_path / "sets").mkdir()
    (tmp_path / "sets" / "give_and_go.set").write_text(SMALL.replace("  must end", "  yields to horns"))
    with pytest.raises(SettingsError, match="'horns' is no set"):
        read_sets(tmp_path)


# ---- any text ------------------------------------------------------------------------------------


def outcome(text):
    try:
        return read_set(text)
    except LanguageError as error:
        return error


def is_a_set_or_one_clear_error(text):
    found = outcome(text)
    if isinstance(found, LanguageError):
        lines = str(found).split("\n")
        assert len(lines) == 3
        assert re.match(r"the set, line \d+, column \d+: .+[.?]$", lines[0]), lines[0]
        assert lines[2].strip().strip("^") == ""
        assert 1 <= found.line <= len(text.split("\n"))
        assert "Token(" not in lines[0]
        assert "__" not in lines[0].replace(lines[1], "") or "__" in text
    else:
        assert read_set(set_text(found)) == found


@given(st.text(max_size=80))
def test_any_text(text):
    is_a_set_or_one_clear_error(text)


WORDS = re.findall(r"\S+|\n", EXAMPLE + SMALL)


@given(st.lists(st.sampled_from(WORDS), max_size=40))
def test_any_words_of_the_language(words):
    is_a_set_or_one_clear_error(" ".join(words))


@given(st.sampled_from([SMALL, EXAMPLE]), st.data())
def test_a_good_file_with_one_place_spoilt(text, data):
    start = data.draw(st.integers(0, len(text)))
    end = data.draw(st.integers(start, min(len(text), start + 12)))
    put = data.draw(st.one_of(st.text(max_size=4), st.sampled_from(WORDS)))
    is_a_set_or_one_clear_error(text[:start] + put + text[end:])


@given(st.sampled_from([SMALL, EXAMPLE]), st.data())
def test_a_good_file_with_lines_lost_doubled_or_moved(text, data):
    lines = text.split("\n")
    first = data.draw(st.integers(0, len(lines) - 1))
    second = data.draw(st.integers(0, len(lines) - 1))
    kind = data.draw(st.sampled_from(["lose", "double", "swap"]))
    if kind == "lose":
        del lines[first]
    elif kind == "double":
        lines.insert(second, lines[first])
    else:
        lines[first], lines[second] = lines[second], lines[first]
    is_a_set_or_one_clear_error("\n".join(lines))


def test_the_description_shows_a_file_that_reads_and_names_everything():
    text = (CONFIGS / "sets" / "README.md").read_text(encoding="utf-8")
    example = text.split("```")[1]
    assert read_set(example).name == "give_and_go"
    for place in PLACES:
        assert place.replace("_", " ") in text
    for side in Side:
        assert side.value.split(" as")[0].split(" from")[0] in text.replace("\n", " ")
    told = text.lower()
    for phrase in PHRASES:
        assert phrase.words.lower().removesuffix(" screen").removesuffix(" cut").replace(" ", "-") in told.replace(
            " ", "-"
        ), phrase.words
