"""A tongue in which every letter of ours is another one: what stays Latin was never translated."""

import html
import re

from pipeline.tongue.tongue import Tongue

_KEPT = re.compile(r"(\{\w+\}|<[^>]*>|&\w+;)")
_HEARD = re.compile(r'(?:data-label|aria-label|title|alt|placeholder)="([^"]*)"')


class _Strange:
    def words(self, message, many="", number=1):
        said = many if many and number != 1 else message
        return "".join(
            part if _KEPT.fullmatch(part) else re.sub(r"[A-Za-z]", "ж", part)
            for part in _KEPT.split(said)
        )

    def digits(self, number):
        return number.translate(str.maketrans(".,", ",."))

    def amount(self, currency, sum_):
        return f"{sum_} {currency}"

    def day(self, day, *, with_year):
        return day.isoformat()

    def stored(self, text):
        return self.words(text)


class StrangeTongue(Tongue):
    """As any tongue, with words made by rule."""

    @property
    def catalogue(self):
        return _Strange()

    @property
    def chart_locales(self):
        return {}


STRANGE = StrangeTongue("xx", "xx")


def left_in_english(page, allowed=()):
    """Latin words of three letters or more in a page or text, but for those that are allowed."""
    if "<html" in page:
        heard = _HEARD.findall(page)
        page = re.sub(r"(?s)<style.*?</style>|<script.*?</script>|<code.*?</code>", "", page)
        page = html.unescape(re.sub(r"<[^>]*>", " ", page) + " ".join(["", *heard]))
    page = " ".join(page.split())
    for text in sorted(allowed, key=len, reverse=True):
        page = page.replace(text, "")
    return set(re.findall(r"[A-Za-z]{3,}", page))
