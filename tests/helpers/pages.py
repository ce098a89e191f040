"""A page of a report, taken apart."""

from html.parser import HTMLParser


class Words(HTMLParser):
    """Elements, names of attributes and visible text of a page, the text with single blanks."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.text, self.tags, self.attributes = "", [], []
        self.feed(html)
        self.text = " ".join(self.text.split())

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [name for name, _ in attrs]

    def handle_data(self, data):
        self.text += data
