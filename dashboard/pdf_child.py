"""Lay out HTML documents as PDF, in a process of its own (see dashboard/pdf.py).

Standard input is a list of documents as JSON; standard output is one PDF a line, in Base64.
"""

import base64
import io
import json
import sys

import plutoprint

SIZES = {"A4": plutoprint.PAGE_SIZE_A4, "Letter": plutoprint.PAGE_SIZE_LETTER}


class NothingFetched(plutoprint.ResourceFetcher):  # type: ignore[misc,unused-ignore]
    """Keeps a document from loading files and addresses: ours hold all that they show."""

    def fetch_url(self, _url: str) -> plutoprint.ResourceData:
        """Empty, whatever is asked for."""
        return plutoprint.ResourceData(b"", "text/plain")


def main() -> None:
    """Write each document as PDF."""
    for document in json.load(sys.stdin):
        book, pdf = plutoprint.Book(SIZES[sys.argv[1]]), io.BytesIO()
        book.custom_resource_fetcher = NothingFetched()
        book.load_html(document.replace("\0", "\N{REPLACEMENT CHARACTER}"))  # a null would be refused
        book.write_to_pdf_stream(pdf)
        print(base64.b64encode(pdf.getvalue()).decode(), flush=True)


if __name__ == "__main__":
    main()
