"""Season answers, one module a question: what the numbers of a season show, and how sure that is."""
