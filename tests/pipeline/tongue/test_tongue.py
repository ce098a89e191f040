"""Texts said in other tongues: words, numbers, dates, units; foreign text stays as it stands."""

import re
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from babel.dates import format_date
from babel.numbers import format_currency, format_decimal
from jinja2 import DictLoader, Environment

from features.replay import Change
from pipeline.base import ConfigError
from pipeline.period.moments import moment_of
from pipeline.replay import change_words
from pipeline.tongue import Units, messages, tongue_of, translated
from pipeline.tongue.grammar import prepositions, signed
from pipeline.tongue.template import Writing
from pipeline.words import (
    Said,
    against_targets,
    amount,
    clean,
    counted,
    day_words,
    duration_words,
    figure,
    joined,
    money,
    packed,
    place_within,
    point_words,
    price_words,
    said,
    section_words,
    span_words,
    stored,
    tonnes,
    unpacked,
    within_line,
    words_of,
    worth_against_targets,
)
from pipeline.words.rounding import fact_value

ES, PT, FR = tongue_of("es"), tongue_of("pt"), tongue_of("fr")


def test_english_is_the_text_itself():
    text = tonnes(1234.5, 1000.0, 1500.0)
    assert tongue_of("en")(text) is text
    assert text == "1,230 t (1,000 to 1,500)"


@pytest.mark.parametrize(("tag", "locale"), [("es", "es"), ("pt", "pt_BR"), ("fr", "fr"),
                                             ("es-GT", "es_GT"), ("es-MX", "es_MX")])  # fmt: skip
def test_numbers_are_parted_as_the_country_does(tag, locale):
    # Against Babel's own formatter (CLDR).
    for value in (0.07, 12.5, 12345.678):
        wanted = format_decimal(value, "#,##0.###", locale=locale).replace("\u202f", "\u00a0")
        digits = len(str(value).partition(".")[2])
        assert tongue_of(tag)(figure(value, f",.{digits}f")) == wanted


def test_dates_are_those_of_the_language():
    # Names by Babel (CLDR); day, month, year is the order of all three.
    day = date(2025, 10, 6)
    for tongue, locale in ((ES, "es"), (PT, "pt_BR"), (FR, "fr")):
        assert tongue(day_words(day)) == format_date(day, "EEE d MMM y", locale)
    span = span_words(datetime(2025, 10, 6, 5, tzinfo=UTC), None, ZoneInfo("UTC"))
    assert ES(span) == "lun 6 oct 2025 05:00, sigue en curso"


def test_money_and_intervals():
    assert ES(money(1219.4, 624, 2028, "USD")) == "1.200\u00a0USD (600 a 2.000)"
    assert PT(money(1219.4, 624, 2028, "USD")) == "USD\u00a01.200 (600 a 2.000)"
    assert FR(price_words(520.0, "USD")) == "520\u00a0USD la tonne"
    # An end that is better than the targets takes the code with it; without a code none is set.
    told = FR(worth_against_targets(30, -50, 110, "USD"))
    assert told == "30\u00a0USD (50 de mieux à 110)"
    assert FR(worth_against_targets(-70, -110, -30, "USD")) == "70\u00a0USD mieux (30 à 110)"
    assert FR(amount("USD", against_targets(30, -50, 110).split(" (", 1)[1].rstrip(")"))) == (
        "50 de mieux à 110\u00a0USD"
    )
    assert money(1219.4, None, None, "") == "1,200 (no interval)"
    assert FR(tonnes(2.345, 1.2, 3.9)) == "2,3\u00a0t (1,2 à 3,9)"
    assert PT(against_targets(-0.49, -0.7, -0.28)) == "0,49 t melhor (0,28 a 0,70)"


@pytest.mark.parametrize(("tag", "locale", "currency"), [
    ("es", "es", "GTQ"), ("pt", "pt_BR", "MZN"), ("fr", "fr", "GTQ"), ("fr-CA", "fr_CA", "MUR"),
    ("es-MX", "es_MX", "GTQ"), ("pt-PT", "pt_PT", "MZN"),
])  # fmt: skip
def test_a_currency_stands_where_the_country_writes_it(tag, locale, currency):
    # Against Babel's own formatter (CLDR), of currencies that it writes with their code; it leaves
    # out the space that CLDR sets between letters and digits.
    wanted = format_currency(1200, currency, locale=locale, format_type="standard")
    wanted = re.sub(r"[.,]00", "", wanted).replace("\u202f", "\u00a0")
    wanted = re.sub(rf"^{currency}(?=\d)", f"{currency}\u00a0", wanted)
    assert tongue_of(tag)(money(1200, None, None, currency).split(" (", 1)[0]) == wanted


def test_plurals_follow_the_language():
    one, many = (counted(n, "{n} day", "{n} days") for n in (1, 3))
    assert (FR(one), FR(many), ES(many)) == ("1 jour", "3 jours", "3 días")
    # French counts nothing as one (CLDR).
    assert FR(counted(0, "{n} day", "{n} days")) == "0 jour"


def test_what_is_done_to_a_text_is_done_to_its_words():
    name = words_of("microbial").name
    assert ES(within_line(name)) == "sacarosa consumida por microorganismos"
    # In English this begins with a small letter already.
    probe = within_line(words_of("ph_probe_high").name)
    assert probe.startswith("pH probe")
    assert ES(probe).startswith("la sonda de pH")
    assert FR(name.upper()) == "SUCRE CONSOMMÉ PAR DES MICROBES"
    told = PT(joined("; ", [name, "LT.AI212"]) + ".")
    assert told == "Sacarose consumida por microrganismos; LT.AI212."
    assert ES(tonnes(2.3, 1.2, 3.9).split(" (", 1)[0]) == "2,3 t"


def test_names_of_the_mill_are_never_translated():
    # A vessel or a tag may be called like a word of ours.
    assert ES(clean("settler")) == "settler"
    assert ES(said("{first} to {last}", first="settler", last="today")) == "settler a today"
    assert ES(section_words("vieux decanteur", {})) == "vieux decanteur"
    assert ES(section_words("settler", {"settler": "settler"})) == "clarificador"
    assert FR(stored("limed juice{tag}", tag=" (clear juice)")) == "jus chaulé (clear juice)"


def test_article_and_preposition_become_one():
    place = place_within("settler:mud")
    assert (ES(place), PT(place), FR(place)) == (
        "la cachaza del clarificador", "o lodo do decantador", "les boues du décanteur",
    )  # fmt: skip


def test_points_and_vessels_of_common_names_are_said_with_their_article():
    outlet = point_words("temperature", "primary_heater", "out")
    assert outlet == "temperature out of the primary heater"
    assert (ES(outlet), PT(outlet), FR(outlet)) == (
        "temperatura a la salida del calentador primario",
        "temperatura na saída do aquecedor primário",
        "température à la sortie du réchauffeur primaire",
    )
    assert ES(section_words("first_evaporator", {})) == "primer evaporador"
    lever = change_words(Change("temp_degc", "by", -2.0, "first_evaporator"))
    assert lever == "temperature in the first evaporator 2 °C lower"
    assert FR(lever) == "température dans la première caisse d'évaporation 2 °C de moins"
    assert ES(change_words(Change("flow", "factor", 5.0))) == "caudal de jugo 5 % más alto"


@pytest.mark.parametrize(
    ("english", "spanish"),
    [
        (
            "The ordinary daily balance sees losses above 1.30 t in this period: it would have "
            "seen this one (by reducing sugars, 15 samples before and 16 after the station).",
            "El balance diario ordinario ve pérdidas mayores de 1,30 t en este período: "
            "habría visto esta (por azúcares reductores, 15 muestras antes y 16 después de la "
            "estación).",
        ),
        ("silent for 5.0 h", "en silencio 5,0 h"),
        ("silent for 68 min; 12 spikes", "en silencio 68 min; 12 picos"),
        (
            "LT.LI213: level up by 14 m³, but the flow meters brought in 3 m³ more than left. "
            "Compare it with a gauge on the spot; were it right, about 1.4 t of sucrose would have "
            "been lost.",
            "LT.LI213: el nivel sube 14 m³, pero los medidores trajeron 3 m³ más de lo "
            "que salió. Compárelo con un indicador en sitio; de ser cierto, se habrían perdido "
            "unas 1,4 t de sacarosa.",
        ),
        ("pump swapped by the night shift", "pump swapped by the night shift"),
    ],
)
def test_sentences_of_the_lake_are_known_again(english, spanish):
    assert ES(stored(english)) == spanish


def test_how_a_text_was_made_can_be_kept_and_read_back():
    made = said("{first} to {last}", first=duration_words(timedelta(days=1)),
                last=within_line(words_of("microbial").name))  # fmt: skip
    again = unpacked(packed(made), str(made))
    assert again == made
    assert PT(again) == PT(made)
    bare = tonnes(1234.5, 1000.0, 1500.0).split(" (", 1)[0]
    assert ES(unpacked(packed(bare), str(bare))) == "1.230 t"
    worth = money(1219.4, 624, 2028, "USD")
    assert (
        FR(unpacked(packed(worth), str(worth)))
        == FR(worth)
        == "1\u00a0200\u00a0USD (600 à 2\u00a0000)"
    )
    assert ES(unpacked({"edit": "format", "of": "x", "by": []}, "no readings")) == "sin lecturas"
    assert unpacked({"say": "other words"}, "what stands there") == "what stands there"


def test_degrees_and_short_tons_where_a_mill_says_so():
    own = tongue_of("en", Units("degF", "short ton"))
    # 97.2 degC is 206.96 degF by definition; a tonne is 1.1023 short tons (NIST Handbook 44).
    assert own(fact_value(97.2, "degC")) == "207 °F"
    assert own(said("held at {temp} °C", temp=figure(97.2, ".1f"))) == "held at 207.0 °F"
    assert own(tonnes(100.0, 90.0, 110.0)) == "110 short tons (99 to 121)"
    assert tongue_of("es", Units("degF"))(fact_value(97.25, "degC")) == "207,1 °F"


def test_a_language_without_words_is_refused():
    with pytest.raises(ConfigError, match="no words for the language"):
        tongue_of("xx")


def test_templates_are_translated_before_they_are_compiled():
    source = (
        '<p title="Say">{{ n }} of <b>{{ row.mass }}</b> lost{% if more %}, and more{% endif %}</p>'
    )
    assert messages(source) == ["Say", "{n} of <b>{mass}</b> lost", ", and more"]
    words = {"{n} of <b>{mass}</b> lost": "<b>{mass}</b> perdues sur {n}"}
    made = translated(source, lambda message: words.get(message, message))
    page = Environment(autoescape=True, loader=DictLoader({"p": made})).get_template("p")
    text = page.render(n=3, row={"mass": "<script>"}, more=False)
    assert text == '<p title="Say"><b>&lt;script&gt;</b> perdues sur 3</p>'


def test_a_price_is_of_the_mass_that_a_reader_counts_in():
    short = tongue_of("en", Units(mass="short ton"))
    # 520 a tonne is 520 x 0.90718474 a short ton (NIST Handbook 44, appendix C; memory).
    assert str(price_words(520.0, "USD")) == "USD 520 a tonne"
    assert short(price_words(520.0, "USD")) == "USD 472 a short ton"
    assert tongue_of("fr", Units(mass="short ton"))(tonnes(1.0, None, None)).startswith(
        "1,1\u00a0t co"
    )


def test_french_parts_its_signs_and_nothing_of_an_export():
    # Colon, semicolon, marks and per cent behind a space (Lexique des règles typographiques en
    # usage à l'Imprimerie nationale; memory); a time of day and an entity have none.
    assert FR(joined(": ", ("a: b", "05:28; c"))) == "a: b\u00a0: 05:28; c"
    assert signed("fr", "Vu : 3 % à 05:28; et &nbsp; ?") == (
        "Vu\u00a0: 3\u00a0% à 05:28\u00a0; et &nbsp;\u00a0?"
    )
    assert signed("es", "Visto: 3\u00a0%") == "Visto: 3\u00a0%"


@pytest.mark.parametrize(
    ("language", "form", "value", "told"),
    [
        ("es", "alrededor de {x}", "el período", "alrededor del período"),
        ("pt", "em {x}", "este período", "neste período"),
        ("pt", "horas de {x}", "o achado", "horas do achado"),
        ("fr", "autour de {x}", "le constat", "autour du constat"),
    ],
)
def test_a_preposition_of_a_template_takes_in_the_article(language, form, value, told):
    source = Writing(before=prepositions(language)).placed(form, "x", "{{ x }}")
    made = Environment(autoescape=True)
    made.filters["met"] = tongue_of(language).met
    assert made.from_string(source).render(x=Said(value)) == told
    # What people typed keeps its article.
    apart = f"{form.replace('{x}', '')}{value}"
    assert made.from_string(source).render(x=value) == apart


def test_an_error_is_said_in_the_tongue_of_the_command():
    with pytest.raises(ConfigError) as met:
        moment_of("soon", ZoneInfo("UTC"), datetime(2026, 1, 1, tzinfo=UTC), where="--from")
    assert ES(met.value.what) == "No se puede leer esta hora."
    assert "yesterday 02:00" in ES(met.value.next_step)
    assert met.value.what == "This time cannot be read."


def test_a_sentence_that_begins_with_ph_and_a_value_without_its_unit():
    begun = said(
        "{point} fell", point=said("{stream} {said}", stream=said("limed juice"), said="pH")
    )
    assert FR(begun[:1].upper() + begun[1:]).startswith("pH de jus chaulé")
    measured = fact_value(6.74, "pH")
    assert FR(measured) == "6,74\u00a0pH"
    assert FR(measured.removesuffix(" pH")) == "6,74"
