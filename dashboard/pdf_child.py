"""Lay out HTML documents as PDF, in a process of its own (see dashboard/pdf.py).

Standard input is a list of documents as JSON; standard output is one PDF a line, in Base64.
"""

import base64
import io
import json
import sys

import plutoprint

SIZES = {"A4": plutoprint.PAGE_SIZE_A4, "Letter": plutoprint.PAGE_SIZE_LETTER}


class Nothing(plutoprint.ResourceFetcher):  # type: ignore[misc,unused-ignore]
    """What a document may fetch from elsewhere."""

    def fetch_url(self, _url: str) -> plutoprint.ResourceData:
        """Nothing: our documents hold all that they show."""
        return plutoprint.ResourceData(b"", "text/plain")


def main() -> None:
    """Write each document as PDF."""
    for document in json.load(sys.stdin):
        book, pdf = plutoprint.Book(SIZES[sys.argv[1]]), io.BytesIO()
        book.custom_resource_fetcher = Nothing()
        book.load_html(document.replace("\0", "\N{REPLACEMENT CHARACTER}"))  # it takes no null
        book.write_to_pdf_stream(pdf)
        print(base64.b64encode(pdf.getvalue()).decode(), flush=True)


if __name__ == "__main__":
    main()
