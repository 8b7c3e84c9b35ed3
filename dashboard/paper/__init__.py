"""Pages that leave the screen: self-contained HTML, no script, nothing fetched."""
