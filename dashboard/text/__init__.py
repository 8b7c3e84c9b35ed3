"""Every sentence a person reads: the catalogue and its languages, labels of codes, numbers, sentences."""
