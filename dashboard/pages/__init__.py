"""One package a page: what it says (content), how it is laid out (screen), and what it prints (paper)."""
