"""Season answers: what the numbers of a season may claim, and with what doubt."""
