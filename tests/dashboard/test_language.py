"""The page in another language: found, recognised, put on the page, and nothing else changed.

The whole of it is read in a made-up language: each word of each message the catalogue has stands
in ⟨brackets⟩. What is then without brackets on a page is a name, a number or a forgotten word.
"""

from __future__ import annotations

import os
import re
from contextlib import closing
from html.parser import HTMLParser
from io import BytesIO

import pytest
from addresses import pages_of
from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po, write_po
from house import House
from hypothesis import given
from hypothesis import strategies as st

from dashboard import catalogue
from dashboard.catalogue import extracted, pot
from dashboard.language import ENGLISH, DateNames, Language
from dashboard.languages import languages
from dashboard.patterns import FIELD, TEMPLATE_FIELD
from dashboard.translating import READ_ALOUD
from dashboard.wording import Local
from monitor.store import connection, names, resins, settings
from monitor.store.connection import writing

LANGUAGE = "de"  # names its days and months by Babel; its sentences here are made up
# Stays as it is in any language, each for its reason.
NAMES = (
    "Pourside", "MQTT", "DHT22", "RFC 8428", "RFC",  # the program, protocols, a sensor
    "Deutsch", "English",  # what languages call themselves
    "Europe/Lisbon",  # the zone, as it is configured
)  # fmt: skip
SIGNS = frozenset(
    ["C", "F", "g", "h", "d", "ml", "mm", "cm", "cm²", "in²", "kg", "RH", "fl", "oz", "in", "min"]
)
# Attributes that are read; the last are words for scripts.
READ = (*READ_ALOUD, "data-now", "data-then", "data-begin")


def bracketed(message):
    """A message in the made-up language: its words in brackets, its fields and tags as they are."""
    parts = re.split(r"(%\(\w+\)s|\{\w+\}|<[^>]*>|&\w+;|%%|\s+)", message)
    return "".join(
        part if number % 2 or not re.search(r"[^\W\d_]", part) else f"⟨{part}⟩"
        for number, part in enumerate(parts)
    )


def write_catalogue(file, sentences, plurals=None):
    book = Catalog(locale="de")
    for message, said in sentences.items():
        many = (plurals or {}).get(message)
        book.add((message, many) if many else message, said)
    file.parent.mkdir(exist_ok=True)
    with file.open("wb") as opened:
        write_po(opened, book, width=0)
    return file


def made_up(folder):
    """The made-up language as a catalogue beside the store."""
    found = extracted()
    sentences = {
        one: (bracketed(one), bracketed(found.plural[one])) if one in found.plural
        else bracketed(one)
        for one in found.places
    }  # fmt: skip
    return write_catalogue(folder / "languages" / f"{LANGUAGE}.po", sentences, found.plural)


def choose(house, code, **more):
    with closing(connection.open_owner(house.path)) as con, writing(con):
        for key, value in {"language": code, **more}.items():
            settings.put(con, key, value, house.now_s)


class Seen(HTMLParser):
    """What a person reads or hears of a page, and what the program reads."""

    def __init__(self, text):
        super().__init__()
        self.texts, self.program = [], []
        self._code = 0
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self._code += tag in ("script", "style", "code", "textarea")
        for key, value in attrs:
            spoken = key in READ or (tag == "template" and key.startswith("data-"))
            if spoken and value:
                self.texts.append(value)
            elif not spoken and key not in ("data-title", "data-read", "lang", "x", "y"):
                self.program.append((tag, key, value))

    def handle_endtag(self, tag):
        self._code -= tag in ("script", "style", "code", "textarea")

    def handle_data(self, data):
        if data.strip() and not self._code:
            self.texts.append(data.strip())


def page(house, path):
    return house.app.test_client().get(path).get_data(as_text=True).replace("\u00a0", " ")


def english_left(text, typed):
    """The words outside brackets, but for names, numbers and signs."""
    text = re.sub(r"⟨[^⟩]*⟩", " ", text)
    for name in sorted([*typed, *NAMES], key=len, reverse=True):
        text = re.sub(rf"(?<!\w){re.escape(name)}(?!\w)", " ", text)
    dates = languages_of_dates()
    return [w for w in re.findall(r"[^\W\d_]+", text) if w not in SIGNS and w not in dates]


def languages_of_dates():
    """Days and months as German has them."""
    from dashboard.languages import _of_locale

    dates, _, _ = _of_locale(LANGUAGE)
    return {*dates.days, *dates.months}


def typed_in(house):
    """All that a person gave a name, and the keys of the sensors."""
    with closing(connection.open_reader(house.path)) as con:
        keys = [row[0] for row in con.execute("SELECT key FROM sensors")]
        return [*names.given(con), *keys]


@pytest.fixture(scope="module")
def lived_in(tmp_path_factory):
    """A house with two pieces, in which the made-up language may be chosen."""
    one = House(tmp_path_factory.mktemp("lived"))
    one.live_in()
    made_up(one.path.parent)
    yield one
    one.close()


@pytest.fixture
def house(tmp_path):
    """A house with nothing in it but the shelf."""
    one = House(tmp_path)
    yield one
    one.close()


# --- the whole page


IMPERIAL = {"temperature": "F", "volume": "floz", "weight": "oz", "length": "in"}
METRIC = {"temperature": "C", "volume": "ml", "weight": "g", "length": "mm"}


@pytest.mark.parametrize("units", [METRIC, IMPERIAL], ids=["metric", "imperial"])
def test_no_word_of_any_page_is_left_in_english(lived_in, units):
    choose(lived_in, LANGUAGE, **units)
    typed, left, read = typed_in(lived_in), {}, 0
    for path, status in pages_of(lived_in.app):
        assert status == 200, path
        for text in Seen(page(lived_in, path)).texts:
            read += "⟨" in text
            if words := english_left(text, typed):
                left[f"{path}: {text}"] = words
    # A new sentence reaches the page untranslated: wrap it in its template; if it is made in
    # Python, see there whether its words stand whole in one string or f-string.
    assert left == {}
    assert read > 1000


def test_an_empty_house_is_in_the_language_too(house):
    made_up(house.path.parent)
    choose(house, LANGUAGE)
    left = {}
    for path, _ in pages_of(house.app):
        for text in Seen(page(house, path)).texts:
            if words := english_left(text, ()):
                left[f"{path}: {text}"] = words
    assert left == {}


def test_what_the_program_reads_of_a_page_is_the_same_in_every_language(lived_in):
    different = {}
    for path, _ in pages_of(lived_in.app):
        seen = []
        for code in ("en", LANGUAGE):
            choose(lived_in, code, **METRIC)
            # The page of the settings has the chosen one marked.
            seen.append([
                one for one in Seen(page(lived_in, path)).program
                if one[1] != "selected" and one[1:] != ("lang", None) and one[0] not in SVG
            ])  # fmt: skip
        if seen[0] != seen[1]:
            different[path] = [pair for pair in zip(*seen, strict=False) if pair[0] != pair[1]][:3]
    assert different == {}


# A longer word moves its neighbours in a drawing.
SVG = ("text", "line", "rect", "svg", "circle", "path", "polyline", "polygon")


def test_refusals_are_in_the_language(lived_in):
    choose(lived_in, LANGUAGE, **METRIC)
    client = lived_in.app.test_client()
    typed = [*typed_in(lived_in), "deep", "late"]
    for path, fields in (
        ("/pour", {"resin": "coating_2_1", "depth_mm": "deep", "when": "past"}),
        ("/resins", {"name": "x" * 90, "ref_temp_c": "80"}),
        ("/settings", {"quiet_from": "late"}),
        ("/bottles", {"resin": "coating_2_1", "held": "-3"}),
    ):
        answer = client.post(path, data=fields)
        assert answer.status_code == 422
        body = answer.get_data(as_text=True)
        faults = [text for text in Seen(body).texts if english_left(text, typed)]
        assert faults == []


# --- English


def test_without_a_choice_every_page_is_english(house):
    before = page(house, "/settings")
    assert '<html lang="en">' in before
    assert 'name="language"' not in before
    made_up(house.path.parent)
    after = page(house, "/settings")
    assert "⟨" not in after
    assert '<option value="de" lang="de">Deutsch</option>' in after


def test_a_language_is_chosen_in_the_settings_and_left_again(house):
    write_catalogue(house.path.parent / "languages" / "de.po", {"Settings": "Einstellungen"})
    client = house.app.test_client()
    client.post("/settings", data={"language": "de"})
    chosen = page(house, "/settings")
    assert '<html lang="de">' in chosen
    assert "<h1>Einstellungen</h1>" in chosen
    assert "<h2>Calendar</h2>" in chosen  # not translated yet
    # A form without the field leaves it.
    client.post("/settings", data={"temperature": "F"})
    assert "<h1>Einstellungen</h1>" in page(house, "/settings")
    assert client.post("/settings", data={"language": "fr"}).status_code == 422
    client.post("/settings", data={"language": "en"})
    assert "<h1>Settings</h1>" in page(house, "/settings")


def test_a_catalogue_that_is_gone_leaves_english(house):
    file = write_catalogue(house.path.parent / "languages" / "de.po", {"Settings": "x"})
    choose(house, "de")
    file.unlink()
    assert "<h1>Settings</h1>" in page(house, "/settings")
    assert house.app.test_client().post("/settings", data={}).status_code == 302


def test_programs_are_answered_in_english(lived_in):
    answers = []
    for code in ("en", LANGUAGE):
        choose(lived_in, code, **METRIC)
        client = lived_in.app.test_client()
        answers.append([
            client.get(path).get_data(as_text=True)
            for path in ("/api/v1/layers", "/api/v1/alarms", "/api/v1/plans", "/metrics",
                         "/pieces/1/export.json", "/calendar.ics")
        ])  # fmt: skip
    assert answers[0] == answers[1]
    assert "⟨" not in "".join(answers[1])


def test_a_language_from_right_to_left_says_so(house):
    write_catalogue(house.path.parent / "languages" / "ar.po", {"Settings": "الإعدادات"})
    choose(house, "ar")
    assert '<html lang="ar" dir="rtl">' in page(house, "/settings")


# --- what a translator may get wrong


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (b'msgid "Settings"\nmsgstr "x"\nand so on', "de.po is not a catalogue in line 3"),
        (b'msgid "Settings"\nmsgstr "\xff\xfe"', "de.po is not UTF-8 text; save it as UTF-8."),
        (
            b'msgid ""\nmsgstr "Plural-Forms: nplurals=2; plural=n +* 1;\\n"\n'
            b'msgid "a"\nmsgstr "b"',
            "de.po is not a catalogue",
        ),
        (
            b'msgid ""\nmsgstr "Plural-Forms: nplurals=2; plural=n/0;\\n"\nmsgid "a"\nmsgstr "b"',
            "de.po is not a catalogue",
        ),
        (
            b'msgid ""\nmsgstr "Plural-Forms: nplurals=2; plural=n;\\n"\nmsgid "a"\nmsgstr "b"',
            "a count of 2 has form 2, and nplurals is 2",
        ),
    ],
    ids=["no-key", "not-utf-8", "plural-rule", "no-form", "form-too-many"],
)
def test_a_broken_catalogue_is_told_and_english_stays(house, body, words):
    folder = house.path.parent / "languages"
    folder.mkdir()
    (folder / "de.po").write_bytes(body)
    choose(house, "de")
    text = page(house, "/settings")
    assert words in text
    assert "<h1>Settings</h1>" in text


def test_a_catalogue_needs_a_language_for_its_name(house):
    write_catalogue(house.path.parent / "languages" / "My words.po", {"Settings": "x"})
    assert "My words.po is not named by a language" in page(house, "/settings")


def test_without_babel_a_catalogue_is_told_and_english_stays(house, monkeypatch):
    write_catalogue(house.path.parent / "languages" / "de.po", {"Settings": "x"})
    monkeypatch.setitem(__import__("sys").modules, "babel.messages.pofile", None)
    choose(house, "de")
    text = page(house, "/settings")
    assert "without Babel: pip install &#39;pourside[language]&#39;" in text
    assert "<h1>Settings</h1>" in text


def test_a_lost_field_leaves_the_sentence_english_and_is_told(tmp_path):
    write_catalogue(
        tmp_path / "languages" / "de.po",
        {
            "The room falls below {limit} at {when}.": "Der Raum wird zu kalt.",
            "In {place}": "In {ort}",
            "Soon": "Bald",
        },
    )
    found = languages(tmp_path / "pourside.db")
    (fault,) = found.faults
    assert "'The room falls below {limit} at {when}.' and 1 more" in fault
    german = found.known["de"]
    assert german.said("The room falls below 18 °C at 14:10.") == (
        "The room falls below 18 °C at 14:10."
    )
    assert german.said("Soon") == "Bald"


def test_a_template_message_that_would_not_format_stays_english():
    german = Language("de", {"Stages of %(name)s": "%(name)s: 50 % der Stufen", "Near": "100 %d"})
    assert german.message("Stages of %(name)s") == "Stages of %(name)s"
    assert german.message("Near") == "Near"


@pytest.mark.parametrize(
    ("english", "odd"),
    [
        ("Stages of %(name)s", "%(name)s%(name)400000000s"),
        ("Stages of %(name)s", "%(name)s %(name)d"),
        ("Stages of %(name)s", "%(name)s %%%"),
        ("At 50 %% it slows", "Bei 50 % wird es langsam"),
        ("<b>%(name)s</b> is there", "<b>%(name)s</b> ist <script>alert(1)</script> da"),
        ("<b>%(name)s</b> is there", "%(name)s ist da"),
        ("<b>%(name)s</b> is there", '<b onclick="alert(1)">%(name)s</b> ist da'),
        ("Resins", "Harze <img src=x onerror=alert(1) "),
        ("Resins", 'Harze</h1><meta http-equiv="refresh" content="0">'),
        ("Resins", "Harze >"),
    ],
)
def test_a_translation_that_would_do_more_than_say_it_is_not_used(english, odd):
    german = Language("de", {english: odd, "Soon": "Bald"})
    assert german.message(english) == english
    assert german.said(english) == english
    assert german.unusable == [english]
    assert german.message("Soon") == "Bald"


def test_tags_may_change_their_places():
    english, german = "<b>Now</b> or <i>then</i>, 5 %%", "<i>Dann</i> oder <b>jetzt</b>, 5 %%"
    assert Language("de", {english: german}).message(english) == german


@pytest.mark.parametrize(
    "odd",
    ["%(num)s%(num)400000000s", "%(num)s Schichten %", "<u>%(num)s</u> Schichten", "%(ort)s"],
)
def test_one_form_of_a_message_that_counts_may_be_english(odd):
    german = Language("de", {"x": "y"}, {LAYERS: ("%(num)s Schicht", odd)})
    assert german.plural(*LAYERS, 1) == "%(num)s Schicht"
    assert german.plural(*LAYERS, 3) == "%(num)s layers"
    assert german.unusable == ["%(num)s layer"]


def test_settings_tell_of_translations_that_are_not_used(house):
    write_catalogue(
        house.path.parent / "languages" / "de.po",
        {"Settings": "<script>alert(1)</script>", "Resins": "Harze"},
    )
    choose(house, "de")
    text = page(house, "/settings")
    assert "de.po: the translation of &#39;Settings&#39; does not keep the fields, tags" in text
    assert "alert(1)" not in text
    assert "Harze" in text


# --- what is no catalogue at all


def fault_of(folder, name="de.po"):
    """What is said of the one file there; English alone is offered."""
    found = languages(folder.parent / "pourside.db")
    assert [*found.known] == ["en"]
    (fault,) = found.faults
    assert fault.startswith(f"{name} ")
    return fault


@pytest.fixture
def folder(tmp_path):
    made = tmp_path / "languages"
    made.mkdir()
    return made


def test_a_file_without_an_end_and_a_pipe_are_refused_unread(folder):
    (folder / "de.po").symlink_to("/dev/zero")
    assert "not a file of text" in fault_of(folder)
    (folder / "de.po").unlink()
    os.mkfifo(folder / "de.po")
    assert "not a file of text" in fault_of(folder)
    (folder / "de.po").unlink()
    (folder / "de.po").mkdir()
    assert "not a file of text" in fault_of(folder)


def test_a_file_too_large_is_refused(folder):
    (folder / "de.po").write_bytes(b'msgid "Soon"\nmsgstr "Bald"\n' + b"# \n" * 1_400_000)
    assert "larger than 4 MB" in fault_of(folder)


@pytest.mark.parametrize("nplurals", ['"nplurals=400000000', '"npl"\n"urals=7'])
def test_a_file_that_asks_for_room_without_end_is_refused(folder, nplurals):
    head = f'msgid ""\nmsgstr ""\n"Plural-Forms: "\n{nplurals}; plural=n;\\n"\n'
    (folder / "de.po").write_text(head + 'msgid "Soon"\nmsgstr "Bald"\n')
    assert "over 6 forms of a plural" in fault_of(folder)


@pytest.mark.parametrize(
    "body",
    [b"", b"\n\n", b'msgid "Soon"\nmsgstr ""\n', b'#, fuzzy\nmsgid "Soon"\nmsgstr "Bald"\n'],
    ids=["empty", "blank", "nothing-translated", "all-doubtful"],
)
def test_a_file_without_a_translation_says_so(folder, body):
    (folder / "de.po").write_bytes(body)
    assert "has no translation in it" in fault_of(folder)


def test_a_doubtful_translation_is_not_used(tmp_path):
    book = Catalog(locale="de")
    book.add("Soon", "Bald", flags=["fuzzy"])
    book.add("Late", "Spät")
    out = BytesIO()
    write_po(out, book)
    (tmp_path / "languages").mkdir()
    (tmp_path / "languages" / "de.po").write_bytes(out.getvalue())
    assert languages(tmp_path / "pourside.db").known["de"].said("Soon") == "Soon"


# --- recognition


GERMAN = Language(
    "de",
    {
        "The room falls below {limit} at {when}.": "Um {when} fällt der Raum unter {limit}.",
        "The room is damp.": "Der Raum ist feucht.",
        "tomorrow {time}": "morgen {time}",
        "{low} to {high}": "{low} bis {high}",
        "Tack-free": "Klebfrei",
        "below the label": "unter dem Etikett",
        "{n} % RH in the jar": "im Glas {n} % r. F.",
        "{depth} mm deep": "{depth} mm tief",
        "Poured {when}, {resin}": "Gegossen {when}, {resin}",
        "too cold": "zu kalt",
        "since {when}": "seit {when}",
        "Resin": "Harz",
    },
)


@pytest.mark.parametrize(
    ("english", "german"),
    [
        ("Tack-free", "Klebfrei"),
        ("tack-free", "klebfrei"),
        ("Tack-free.", "Klebfrei."),
        ("The room is damp", "Der Raum ist feucht"),
        ("The room falls below 18 °C at 14:10.", "Um 14:10 fällt der Raum unter 18 °C."),
        (
            "The room falls below 18 °C at tomorrow 14:10.",
            "Um morgen 14:10 fällt der Raum unter 18 °C.",
        ),
        (
            "The room is damp. The room falls below 64 °F at 9:00. Unheard of. The room is damp.",
            "Der Raum ist feucht. Um 9:00 fällt der Raum unter 64 °F. Unheard of. "
            "Der Raum ist feucht.",
        ),
        ("Tack-free: tomorrow 9:00 to 10:00; too cold", "Klebfrei: morgen 9:00 bis 10:00; zu kalt"),
        ("Poured tomorrow 9:00, Resin", "Gegossen morgen 9:00, Harz"),
        ("too cold since 12:48", "zu kalt seit 12:48"),
        ("Tack-free (too cold)", "Klebfrei (zu kalt)"),
        ("33 %RH in the jar", "im Glas 33 % r. F."),
        ("0.12 in deep", "0.12 in tief"),
        ("3 mm deep", "3 mm tief"),
    ],
)
def test_a_sentence_is_recognised(english, german):
    assert GERMAN.said(english) == german


@pytest.mark.parametrize(
    "text",
    [
        "", " ", "14:10", "Gift to Anna", "Boats to Lisbon and back", "<b>bold</b>", "{limit}",
        "%(name)s", "100 %d", "The room falls below", "⟦1790000000⟧", "{0.__class__}",
    ],
)  # fmt: skip
def test_what_is_not_of_the_program_stays(text):
    assert GERMAN.said(text) == text


def test_what_stands_in_a_field_is_put_in_as_it_is():
    said = GERMAN.said("The room falls below {limit} at <i>%s</i> {when}.")
    assert said == "Um <i>%s</i> {when} fällt der Raum unter {limit}."


def test_a_name_that_is_a_word_of_the_program_stays_as_it_was_typed():
    kept = GERMAN.keeping(frozenset({"Resin", "too cold"}))
    assert kept.said("Resin") == "Resin"
    assert kept.said("Poured tomorrow 9:00, Resin") == "Gegossen morgen 9:00, Resin"
    assert GERMAN.said("Resin") == "Harz"
    assert GERMAN.keeping(frozenset({"Resin", "too cold"})) is kept


LAYERS = ("%(num)s layer", "%(num)s layers")


def test_a_message_that_counts_has_the_forms_of_its_language():
    polish = Language(
        "pl",
        {"x": "y"},
        {LAYERS: ("%(num)s warstwa", "%(num)s warstwy", "%(num)s warstw")},
        lambda n: 0 if n == 1 else 1 if 2 <= n % 10 <= 4 else 2,
    )
    said = [polish.plural(*LAYERS, n) % {"num": n} for n in (1, 3, 5)]
    assert said == ["1 warstwa", "3 warstwy", "5 warstw"]
    assert ENGLISH.plural(*LAYERS, 3) == "%(num)s layers"


MESSAGES = st.dictionaries(
    st.text(max_size=30) | st.sampled_from(["{a} is {b}", "{a}{b}", "{a} {b} c", "{a}: {a}"]),
    st.text(max_size=30) | st.sampled_from(["{b} {a}", "{a}", "{a}{b}", "{a} %(x)s {b}", "%d"]),
    max_size=8,
)


@given(MESSAGES, st.text(max_size=200))
def test_any_text_in_any_catalogue_comes_to_some_text(messages, text):
    language = Language("xx", messages)
    assert isinstance(language.said(text), str)
    assert ENGLISH.said(text) is text
    for source in messages:
        fields = dict.fromkeys(TEMPLATE_FIELD.findall(source), "")
        try:
            source % fields
        except (ValueError, TypeError):
            continue  # no template would have it
        assert isinstance(language.message(source) % fields, str)


def test_a_text_made_to_match_slowly_is_done_with():
    # Each field may begin at any of a thousand places.
    source = " ".join(f"{{f{n}}} and" for n in range(30)) + " end"
    language = Language("xx", {source: source})
    assert language.said("a and " * 300 + "and") == "a and " * 300 + "and"


# --- on the page


def test_a_translation_is_put_on_the_page_as_text_and_keeps_its_marks(house):
    write_catalogue(
        house.path.parent / "languages" / "de.po",
        {
            "coating or casting": 'Guss & "Überzug"',
            "Pages": 'Alle "Seiten"',
        },
    )
    choose(house, "de")
    assert "Guss &amp; &#34;Überzug&#34;" in page(house, "/resins")
    assert '<nav aria-label="Alle &#34;Seiten&#34;">' in page(house, "/resins")


def test_what_a_person_typed_stays_as_typed(house):
    made_up(house.path.parent)
    house.pour("Tacky", house.now_s - 3600)
    house.think()
    choose(house, LANGUAGE)
    text = page(house, "/pieces")
    assert ">Tacky</a>" in text


def test_days_and_months_have_the_names_of_the_language():
    french = Language("fr", {"a": "b"}, names=DateNames(tuple("lmwjvsd"), tuple("abcdefghijkl")))
    here = Local("Europe/Lisbon", 1_790_000_000.0, language=french)
    assert here.full(1_790_000_000.0) == "l 21 i 2026, 15:13"
    assert here.on_paper().short(1_790_000_000.0) == "21 i 15:13"
    assert Local("Europe/Lisbon", 0.0).full(1_790_000_000.0) == "Mon 21 Sep 2026, 15:13"


# --- the catalogue


def in_python(places):
    return not any(place.endswith(".html") for place in places)


def test_the_catalogue_has_the_sentences_and_not_the_keys():
    found = extracted().places
    for message in (
        "Skip to the content",  # a template
        "tomorrow {time}",  # an f-string
        "Until {to_s}", "Overnight, until {to_s}",  # both ways through its condition
        "Room too cold",  # an alarm by its key
        "By the forecast it is right from {value}.",  # for `format`
        "Tack-free",  # a constant
    ):  # fmt: skip
        assert message in found, message
    sentences = [FIELD.sub("", one) for one, places in found.items() if in_python(places)]
    noise = re.compile("SELECT|<svg|_id|application/|%-d|_mm |href=|^/|stringy tacky")
    assert [one for one in sentences if noise.search(one)] == []
    # Each message stands once, whatever its fields are called.
    shapes = [FIELD.sub("{}", one) for one in found if not TEMPLATE_FIELD.search(one)]
    assert len(shapes) == len({*shapes})


def undated(text):
    return re.sub(r'"POT-Creation-Date.*', "", text)


def test_the_catalogue_is_written_as_a_gettext_template(tmp_path, capsys, monkeypatch):
    found = extracted()
    monkeypatch.setattr(catalogue, "extracted", lambda: found)
    file = tmp_path / "words.pot"
    assert catalogue.main([str(file)]) == 0
    with file.open("rb") as opened:
        book = read_po(opened, abort_invalid=True)
    assert {one.id if isinstance(one.id, str) else one.id[0] for one in book if one.id} == {
        *found.places
    }
    assert f"{len(found.places)} messages" in capsys.readouterr().err
    assert catalogue.main([]) == 0
    assert undated(capsys.readouterr().out) == undated(pot(found))
    assert catalogue.main(["--help"]) == 2


def test_the_shelf_is_no_name_of_a_person(house):
    with closing(connection.open_reader(house.path)) as con:
        assert {one.name for one in resins.resins(con)}.isdisjoint(names.given(con))
